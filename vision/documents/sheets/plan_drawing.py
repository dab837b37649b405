"""The layout to scale, seen from above, ahead of the vehicle up the page."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from reportlab.lib.units import mm

from vision.documents.sheets.drawing import (
    BLACK,
    CHAIN_DOTTED,
    GREY,
    LIGHT,
    SMALLEST_PT,
    WHITE,
    Anchor,
    Bounds,
    Picture,
    Point,
    fitted,
    meet,
    text_box,
    text_width,
)
from vision.job.job import Strip
from vision.planning.setting_out.running_marks import SettingOut
from vision.planning.setting_out.supplies import extent_m, tape_corners
from vision.units.arrays import Array

SCALES = (10, 20, 25, 50, 75, 100, 125, 150, 200, 250, 500)
"""Those of a scale rule, and some between; common practice, no source."""

BADGE_MM, BADGE_PT = 2.6, 10.0
"""Half the height of a badge: its text fits with air."""
LONGEST_BADGE_MM = 36.0
"""A longer name is cut: the key beside the plan has it whole."""
POINT_MM = 1.6
"""How far the box round a single mark's name is pointed at its ends."""
AIR_MM = 0.3
UNIT_VECTORS = [
    np.array([math.cos(angle), math.sin(angle)]) for angle in np.arange(0, 2 * math.pi, math.pi / 4)
]


def least_scale(length_m: float, width_m: float, room: tuple[float, float]) -> float:
    """The scale, 1 to so much, at which the ground just fits into a width and height."""
    return max(length_m / room[1], width_m / room[0]) * 1000


def usual_scale(least: float) -> int:
    """The scale of a rule, or a round one, that is next smaller than 1 to `least`."""
    return next((scale for scale in SCALES if scale >= least), math.ceil(least / 500) * 500)


@dataclass(slots=True, kw_only=True)
class PlanView:
    """A drawing of the ground in a picture: `place` takes ground coordinates to the picture's.

    `taken` holds what labels and badges must keep clear of, `lines` what labels must alone: a
    badge is opaque.
    """

    picture: Picture
    setting: SettingOut
    scale: float
    middle: Point
    taken: list[Bounds] = field(default_factory=list)
    lines: list[Bounds] = field(default_factory=list)

    @classmethod
    def small(
        cls, setting: SettingOut, size: tuple[float, float], shown: Iterable[str] = (),
        margin: float = 0.0,
    ) -> PlanView:  # fmt: skip
        """Draw body and tapes alone, as large as `size` allows; the strips `shown` in black."""
        view = cls.of(setting, size, shown_reach(setting), (margin,) * 4, usual=False)
        view.body()
        for line in setting.strips:
            corners = [view.place(corner) for corner in tape_corners(line.strip)]
            fill = BLACK if line.strip.name in set(shown) else LIGHT
            view.picture.polygon(corners, fill=fill, width=0.2)
        return view

    @classmethod
    def of(
        cls, setting: SettingOut, size: tuple[float, float], reach: tuple[Array, Array],
        around: Sequence[float], *, usual: bool = True,
    ) -> PlanView:  # fmt: skip
        """A new picture of the ground from `reach` low to high, at the largest scale that fits.

        `around`: what is kept free at the left, above, at the right and below; `usual`: only a
        scale that a rule has.
        """
        left, above, right, below = around
        room = size[0] - left - right, size[1] - above - below
        length, width = (float(each) for each in reach[1] - reach[0])
        scale = least_scale(length, width, room)
        if usual:
            scale = usual_scale(scale)
        x, y = (reach[0] + reach[1]) / 2 * 1000 / scale
        middle = left + room[0] / 2 + float(y), below + room[1] / 2 - float(x)
        return cls(picture=Picture(*size), setting=setting, scale=scale, middle=middle)

    def place(self, ground_m: Sequence[float] | Array) -> Point:
        """Where a ground point (x ahead, y left) is drawn."""
        mm = 1000 / self.scale
        return self.middle[0] - float(ground_m[1]) * mm, self.middle[1] + float(ground_m[0]) * mm

    def beside(self, ground_m: Sequence[float] | Array, way: Array, away_mm: float) -> Point:
        """Where something is drawn that lies so far from a ground point, on paper."""
        x, y = self.place(ground_m)
        return x - float(way[1]) * away_mm, y + float(way[0]) * away_mm

    def body(self) -> None:
        """The body as a heavy outline, with an arrow towards its front."""
        vehicle = self.setting.job.vehicle
        front, side = vehicle.length_m / 2, vehicle.width_m / 2
        ground = ((front, side), (front, -side), (-front, -side), (-front, side))
        corners = [self.place(point) for point in ground]
        self.picture.polygon(corners, fill=WHITE, width=0.6)
        (left, top), _, (right, low), _ = corners
        self.lines += [(x, low, x, top) for x in (left, right)]
        self.lines += [(left, y, right, y) for y in (low, top)]
        reach = min(0.35 * vehicle.width_m, 0.15 * vehicle.length_m)
        # Behind the front camera's badge.
        tip = front - 0.25 * vehicle.length_m
        wings = tip - reach
        chevron = [self.place(p) for p in ((wings, reach), (tip, 0.0), (wings, -reach))]
        self.picture.line(*chevron, width=0.6)

    def datums(self, lot: Bounds) -> None:
        """Centre line and mid line, chain dotted, with their names at the lot's edge."""
        x, y = self.middle
        left, low, right, top = lot
        self.picture.line((x, low), (x, top), dash=CHAIN_DOTTED)
        self.picture.line((right, y), (left, y), dash=CHAIN_DOTTED)
        self._write(x, low - 3.4, "centre line", "middle")
        # Where the free ground beside the strips is too narrow on paper, beyond the lot's edge.
        free = right - self.place(shown_reach(self.setting)[0])[0]
        if free > text_width("mid line", SMALLEST_PT) + 4.0:
            self._write(right - 2, y + 1.0, "mid line", "end")
        else:
            self._write(right + 1.5, y - 1.1, "mid line", "start")
        self.lines += [(x, low, x, top), (left, y, right, y)]

    def strip(self, strip: Strip) -> None:
        """One strip: its tape to scale, its marks as dots that stay visible."""
        corners = [self.place(corner) for corner in tape_corners(strip)]
        self.picture.polygon(corners, fill=LIGHT, width=0.2)
        self.taken += _stretches(corners)
        across = float(extent_m(strip.shape)[1])
        size = max(0.45, min(0.9, 350 * across / self.scale))
        for at in strip.at_m:
            self.picture.disc(self.place(strip.from_m + at * strip.along), size, fill=BLACK)

    def numbers(self, strip: Strip) -> None:
        """Numbers of the first and last mark and of some between, on the far side of the body."""
        out = outward(strip)
        step = _number_step(strip, self.scale)
        last = len(strip.at_m) - 1
        shown = [i for i in range(0, last + 1, step) if last - i >= step or i == last]
        start = 500 * strip.tape_width_m / self.scale + 2.0
        for index in dict.fromkeys([0, last, *shown]):
            mark = strip.from_m + strip.at_m[index] * strip.along
            # Farther off it would be taken for another mark's.
            for away in (start, start + 1.0, start + 2.0):
                x, y = self.beside(mark, out, away)
                if self._free(text_box(x, y - 1.1, str(index), anchor="middle"), self.lines):
                    self._write(x, y - 1.1, str(index), "middle")
                    break

    def _write(self, x: float, y: float, text: str, anchor: Anchor) -> None:
        self.picture.text(x, y, text, anchor=anchor)
        self.taken.append(text_box(x, y, text, anchor=anchor))

    def badge(
        self, text: str, ground_m: Array | Sequence[float], ways: Sequence[Array], *,
        shape: str, start_mm: float,
    ) -> None:  # fmt: skip
        """Put a badge near a ground point, in the first free place, if there is one."""
        for away, way in itertools.product(range(25), ways):
            at = self.beside(ground_m, way, start_mm + BADGE_MM + away)
            left, low, right, top = badge_box(at, badge_text(text))
            more = POINT_MM if shape == "mark" else 0.0
            box = left - more, low, right + more, top
            if self._free(box) and box[0] >= 0 and box[2] <= self.picture.width / mm:
                draw_badge(self.picture, at, text, shape)
                self.taken.append(box)
                return

    def _free(self, box: Bounds, also: Sequence[Bounds] = ()) -> bool:
        return not any(meet(box, other, AIR_MM) for other in (*self.taken, *also))


def shown_reach(setting: SettingOut) -> tuple[Array, Array]:
    """Lowest and highest x and y, (2,) each, of body and tapes."""
    vehicle = setting.job.vehicle
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    corners = [corner for line in setting.strips for corner in tape_corners(line.strip)]
    taken = np.stack([*corners, half, -half])
    return taken.min(axis=0), taken.max(axis=0)


def outward(strip: Strip) -> Array:
    """Unit vector square to the strip, away from the middle of the body."""
    left = np.array([-strip.along[1], strip.along[0]])
    middle = (strip.from_m + strip.to_m) / 2
    return left if float(left @ middle) >= 0 else -left


def _stretches(corners: Sequence[Point]) -> list[Bounds]:
    """Boxes that cover a tape: many short ones, since a free strip lies at an angle."""
    a, b, c, d = np.array(corners)
    shares = np.linspace(0, 1, max(1, int(np.hypot(*(b - a)) / 5)) + 1)
    sides = np.stack([a + np.outer(shares, b - a), d + np.outer(shares, c - d)])
    low = np.minimum(sides[:, :-1], sides[:, 1:]).min(axis=0)
    high = np.maximum(sides[:, :-1], sides[:, 1:]).max(axis=0)
    return [(x0, y0, x1, y1) for (x0, y0), (x1, y1) in zip(low, high, strict=True)]


def badge_box(at: Point, text: str) -> Bounds:
    """What a badge covers."""
    half = max(BADGE_MM, text_width(text, BADGE_PT, bold=True) / 2 + 0.9)
    return at[0] - half, at[1] - BADGE_MM, at[0] + half, at[1] + BADGE_MM


def draw_badge(
    picture: Picture, at: Point, text: str, shape: str, *, turned: bool = False
) -> None:  # fmt: skip
    """A name on black (`strip`), in a box (`camera`), or in a box with points (`mark`).

    `turned`, it reads upward.
    """
    text = badge_text(text)
    left, low, right, top = box = badge_box(at, text)
    if turned:
        half = (right - left) / 2
        box = at[0] - BADGE_MM, at[1] - half, at[0] + BADGE_MM, at[1] + half
    if shape == "mark":
        ends = ((left, low), (right, low), (right + POINT_MM, at[1]), (right, top), (left, top))
        picture.polygon((*ends, (left - POINT_MM, at[1])), fill=WHITE, width=0.35)
    else:
        strip = shape == "strip"
        picture.box(box, fill=BLACK if strip else WHITE, width=0 if strip else 0.35)
    colour = WHITE if shape == "strip" else BLACK
    x, y = (at[0] + 1.3, at[1]) if turned else (at[0], at[1] - 1.3)
    picture.text(
        x, y, text, BADGE_PT, bold=True, anchor="middle", colour=colour, turned=turned
    )  # fmt: skip


def badge_text(name: str) -> str:
    """A name as a badge has it."""
    return fitted(name, LONGEST_BADGE_MM, BADGE_PT, bold=True)


def badge(text: str, shape: str) -> Picture:
    """A badge that flows with text."""
    left, low, right, top = badge_box((0.0, 0.0), badge_text(text))
    if shape == "mark":
        left, right = left - POINT_MM, right + POINT_MM
    picture = Picture(right - left, top - low)
    draw_badge(picture, (-left, -low), text, shape)
    return picture


def camera_symbol(picture: Picture, at: Point, pan_rad: float) -> None:
    """A wedge that opens the way a camera looks."""
    directions = [pan_rad + turn for turn in (-0.5, 0.5)]
    ends = [(at[0] - 3.4 * math.sin(a), at[1] + 3.4 * math.cos(a)) for a in directions]
    picture.polygon((at, *ends), fill=GREY, width=0.3)


def scale_bar(
    picture: Picture, left: float, y: float, scale: float, width: float, *, metric: bool,
    imperial: bool,
) -> None:  # fmt: skip
    """A bar in metres and one in feet, of round lengths that fit into `width` mm."""
    bars = (("m", 1.0, (1, 2, 5, 10, 20)), ("ft", 0.3048, (2, 5, 10, 20, 50)))
    shown = [bar for bar, wanted in zip(bars, (metric, imperial), strict=True) if wanted]
    for row, (unit, metres, lengths) in enumerate(shown):
        mm = metres * 1000 / scale
        step = max((each for each in lengths if 2 * each * mm <= width), default=lengths[0])
        top = y - row * 8.5
        ends = [left + part * step * mm for part in (0, 1, 2)]
        for start, end, fill in zip(ends, ends[1:], (BLACK, WHITE), strict=False):
            picture.box((start, top - 1.8, end, top), fill=fill, width=0.25)
        for part, x in enumerate(ends[:2]):
            picture.text(x, top - 5.2, f"{part * step}", anchor="middle")
        picture.text(ends[2] - 1.5, top - 5.2, f"{2 * step} {unit}")


def _number_step(strip: Strip, scale: float) -> int:
    """Every how many marks a number fits: 7 mm apart on the page."""
    spacing = strip.length_m / (len(strip.at_m) - 1) * 1000 / scale
    steps = (1, 2, 5, 10, 20, 50, 100)
    return next((step for step in steps if step * spacing >= 7.0), len(strip.at_m))

"""The layout to scale, seen from above, ahead of the vehicle up the page."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from vision.documents.sheets.page import (
    BLACK,
    GREY,
    LIGHT,
    SMALLEST_PT,
    WHITE,
    Anchor,
    Box,
    Page,
    Point,
    Text,
    text_width,
)
from vision.job.job import Strip
from vision.planning.setting_out.running_marks import SettingOut
from vision.planning.setting_out.supplies import extent_m, tape_length_m
from vision.units.arrays import Array

SCALES = (10, 20, 25, 50, 75, 100, 125, 150, 200, 250, 500)
"""Those of a scale rule, and some between; common practice, no source."""

BADGE_MM = 2.6
"""Half the size of a badge: its 10 pt letter fits with air."""


def scale_for(length_m: float, width_m: float, box: Box) -> int:
    """The largest usual scale, 1 to so much, at which the ground fits into the box."""
    least = max(length_m / box.height, width_m / box.width) * 1000
    for scale in SCALES:
        if scale >= least:
            return scale
    return math.ceil(least / 500) * 500


def key_letters(index: int, first: str = "A") -> str:
    """A, B ... Z, AA, AB ...; or from `a`."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord(first) + rest) + letters
    return letters


@dataclass(slots=True, kw_only=True)
class PlanView:
    """A drawing of the ground on a page: `place` takes ground coordinates to the page's.

    `taken` holds what labels and badges must keep clear of, `lines` what labels must alone: a
    badge is opaque.
    """

    page: Page
    setting: SettingOut
    scale: float
    middle: Point
    taken: list[Box] = field(default_factory=list)
    lines: list[Box] = field(default_factory=list)

    @classmethod
    def within(
        cls, page: Page, setting: SettingOut, box: Box, scale: int | None = None
    ) -> PlanView:
        """Centre the lot in `box`, at the largest usual scale or at `scale`."""
        lot = setting.lot
        scale = scale or scale_for(lot.length_m, lot.width_m, box)
        mm = 1000 / scale
        return cls(
            page=page,
            setting=setting,
            scale=scale,
            middle=(
                (box.left + box.right) / 2 + (lot.left_m - lot.right_m) / 2 * mm,
                (box.top + box.bottom) / 2 + (lot.ahead_m - lot.behind_m) / 2 * mm,
            ),
        )

    @classmethod
    def small(
        cls, page: Page, setting: SettingOut, box: Box, shown: Iterable[str] = ()
    ) -> PlanView:
        """Draw body and tapes alone, as large as `box` allows; the strips `shown` in black."""
        low, high = shown_reach(setting)
        scale = float(max((high - low) / (box.height, box.width))) * 1000
        middle = (low + high) / 2 * 1000 / scale
        at = (box.left + box.right) / 2 + middle[1], (box.top + box.bottom) / 2 + middle[0]
        view = cls(page=page, setting=setting, scale=scale, middle=(float(at[0]), float(at[1])))
        view.body()
        names = set(shown)
        for line in setting.strips:
            corners = tape_corners(line.strip)
            fill = BLACK if line.strip.name in names else LIGHT
            page.polygon([view.place(corner) for corner in corners], fill=fill, line_mm=0.2)
        return view

    def place(self, ground_m: Sequence[float] | Array) -> Point:
        """Where a ground point (x ahead, y left) is drawn."""
        mm = 1000 / self.scale
        return self.middle[0] - float(ground_m[1]) * mm, self.middle[1] - float(ground_m[0]) * mm

    @property
    def lot_box(self) -> Box:
        """The lot on the page."""
        lot = self.setting.lot
        half = lot.vehicle_length_m / 2, lot.vehicle_width_m / 2
        left, top = self.place((half[0] + lot.ahead_m, half[1] + lot.left_m))
        right, bottom = self.place((-half[0] - lot.behind_m, -half[1] - lot.right_m))
        return Box(left=left, top=top, right=right, bottom=bottom)

    def body(self) -> None:
        """The body as a heavy outline, with an arrow towards its front."""
        vehicle = self.setting.job.vehicle
        x, y = vehicle.length_m / 2, vehicle.width_m / 2
        corners = [self.place(p) for p in ((x, y), (x, -y), (-x, -y), (-x, y))]
        self.page.polygon(corners, fill=WHITE, line_mm=0.6)
        reach = min(0.35 * vehicle.width_m, 0.15 * vehicle.length_m)
        # Behind the front camera's badge.
        tip = x - 0.25 * vehicle.length_m
        wings = tip - reach
        chevron = [self.place(p) for p in ((wings, reach), (tip, 0.0), (wings, -reach))]
        self.page.line(*chevron, line_mm=0.6)

    def datums(self) -> None:
        """Centre line and mid line, chain dotted."""
        for datum in self.setting.datums:
            self.page.line(
                self.place(datum.from_m), self.place(datum.to_m), line_mm=0.25,
                dash_mm=(5, 1.2, 0.8, 1.2),
            )  # fmt: skip
        box = self.lot_box
        x, y = self.place((0.0, 0.0))
        below = self.page.text(x, box.bottom + 3.4, "centre line", SMALLEST_PT, anchor="middle")
        # Where the free ground beside the strips is too narrow on paper, beyond the lot's edge.
        free = box.right - self.place(shown_reach(self.setting)[0])[0]
        if free > text_width("mid line", SMALLEST_PT) + 4.0:
            mid = self.page.text(box.right - 2, y - 1.0, "mid line", SMALLEST_PT, anchor="end")
        else:
            mid = self.page.text(box.right + 1.5, y + 1.1, "mid line", SMALLEST_PT)
        self.taken += [below.box, mid.box]
        self.lines += [
            Box(left=x - 0.3, right=x + 0.3, top=box.top, bottom=box.bottom),
            Box(left=box.left, right=box.right, top=y - 0.3, bottom=y + 0.3),
        ]

    def lot(self) -> None:
        """The edge of the lot, dashed."""
        self.page.rectangle(self.lot_box, line_mm=0.25, dash_mm=(2.5, 1.5))

    def strip(self, strip: Strip) -> None:
        """One strip: its tape to scale, its marks as dots that stay visible."""
        corners = [self.place(corner) for corner in tape_corners(strip)]
        self.page.polygon(corners, fill=LIGHT, line_mm=0.2)
        self.taken += self._stretches(strip)
        across = float(extent_m(strip.shape)[1])
        size = max(0.45, min(0.9, 350 * across / self.scale))
        for at in strip.at_m:
            x, y = self.place(strip.from_m + at * strip.along)
            self.page.disc(x, y, size, fill=BLACK)

    def _stretches(self, strip: Strip) -> list[Box]:
        """Boxes that cover the tape: many short ones, since a free strip lies at an angle."""
        a, b, c, d = (np.array(self.place(corner)) for corner in tape_corners(strip))
        count = max(1, int(np.hypot(*(b - a)) / 5))
        shares = np.linspace(0, 1, count + 1)
        return [
            _around([tuple(p + share * (q - p)) for p, q in ((a, b), (d, c)) for share in pair])
            for pair in itertools.pairwise(shares)
        ]

    def numbers(self, strip: Strip) -> None:
        """Numbers of the first and last mark and of some between, on the far side of the body."""
        out = outward(strip)
        step = _number_step(strip, self.scale)
        last = len(strip.at_m) - 1
        shown = [i for i in range(0, last + 1, step) if last - i >= step or i == last]
        for index in dict.fromkeys([0, last, *shown]):
            centre = strip.from_m + strip.at_m[index] * strip.along
            self.label(str(index), centre, out, start_mm=500 * strip.tape_width_m / self.scale)

    def label(
        self, text: str, ground_m: Array, out: Array, *, start_mm: float, bold: bool = False
    ) -> None:
        """Write `text` beside a ground point, outward, where nothing else is; else leave it out.

        Farther off it would be taken for another mark's.
        """
        for away in np.arange(start_mm + 2.0, start_mm + 5.0, 1.0):
            x, y = self.place(ground_m)
            item = Text(
                x=x - out[1] * away, y=y - out[0] * away + 1.1, text=text, size_pt=SMALLEST_PT,
                anchor="middle", bold=bold,
            )  # fmt: skip
            if self._free(item.box, self.lines):
                self.page.items.append(item)
                self.taken.append(item.box)
                return

    def badge(
        self, text: str, ground_m: Array | Sequence[float], directions: Iterable[Array], *,
        shape: str, start_mm: float,
    ) -> bool:  # fmt: skip
        """Put a badge near a ground point, in the first free place; False where there is none."""
        x, y = self.place(ground_m)
        ways = list(directions)
        for away in np.arange(start_mm + BADGE_MM, start_mm + BADGE_MM + 25.0, 1.0):
            for way in ways:
                at = x - way[1] * away, y - way[0] * away
                box = badge_box(at, text)
                if self._free(box):
                    draw_badge(self.page, at, text, shape)
                    self.taken.append(box)
                    return True
        return False

    def _free(self, box: Box, also: Sequence[Box] = ()) -> bool:
        clear = box.grown(0.3)
        return not any(clear.overlaps(other) for other in (*self.taken, *also))


def shown_reach(setting: SettingOut) -> tuple[Array, Array]:
    """Lowest and highest x and y, (2,) each, of body and tapes."""
    vehicle = setting.job.vehicle
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    corners = [corner for line in setting.strips for corner in tape_corners(line.strip)]
    taken = np.stack([*corners, half, -half])
    return taken.min(axis=0), taken.max(axis=0)


def tape_corners(strip: Strip) -> list[Array]:
    """The four corners of a strip's tape on the ground, in order round it."""
    along, left = strip.along, np.array([-strip.along[1], strip.along[0]])
    beyond = float(tape_length_m(strip) - extent_m(strip.shape)[0]) - float(strip.at_m[-1])
    beyond = beyond / 2 + float(extent_m(strip.shape)[0]) / 2
    aside = strip.tape_width_m / 2 * left
    start, end = strip.from_m - beyond * along, strip.to_m + beyond * along
    return [start + aside, end + aside, end - aside, start - aside]


def outward(strip: Strip) -> Array:
    """Unit vector square to the strip, away from the middle of the body."""
    left = np.array([-strip.along[1], strip.along[0]])
    middle = (strip.from_m + strip.to_m) / 2
    return left if float(left @ middle) >= 0 else -left


def badge_box(at: Point, text: str) -> Box:
    """What a badge covers."""
    half = BADGE_MM + 1.1 * (len(text) - 1)
    return Box(left=at[0] - half, right=at[0] + half, top=at[1] - BADGE_MM, bottom=at[1] + BADGE_MM)


def draw_badge(page: Page, at: Point, text: str, shape: str) -> None:
    """A letter on black (`strip`), in a square (`camera`) or in a rounded mark (`mark`)."""
    x, y = at
    box = badge_box(at, text)
    if shape == "strip":
        page.rectangle(box, fill=BLACK)
    elif shape == "camera":
        page.rectangle(box, fill=WHITE, line_mm=0.35)
    else:
        page.disc(x, y, BADGE_MM, fill=WHITE, line_mm=0.35)
    grey = WHITE if shape == "strip" else BLACK
    page.text(x, y + 1.3, text, 10, bold=True, anchor="middle", grey=grey)


def camera_symbol(page: Page, at: Point, pan_rad: float) -> None:
    """A wedge that opens the way a camera looks."""
    directions = [pan_rad + turn for turn in (-0.5, 0.5)]
    ends = [(at[0] - 3.4 * math.sin(a), at[1] - 3.4 * math.cos(a)) for a in directions]
    page.polygon((at, *ends), fill=GREY, line_mm=0.3)


def scale_bar(page: Page, left: float, y: float, scale: float, width: float) -> None:
    """A bar in metres and one in feet, of round lengths that fit into `width` mm."""
    for row, (unit, metres, steps) in enumerate(
        (("m", 1.0, (1, 2, 5, 10, 20)), ("ft", 0.3048, (2, 5, 10, 20, 50)))
    ):
        mm = metres * 1000 / scale
        fitting = [step for step in steps if 2 * step * mm <= width] or [steps[0]]
        step, base = fitting[-1], y + row * 8.5
        for part in (0, 1):
            box = Box(left=left + part * step * mm, right=left + (part + 1) * step * mm,
                      top=base, bottom=base + 1.8)  # fmt: skip
            page.rectangle(box, fill=BLACK if part == 0 else WHITE, line_mm=0.25)
        for part in (0, 1, 2):
            text = f"{part * step}" + (f" {unit}" if part == 2 else "")
            anchor: Anchor = "start" if part == 2 else "middle"
            x = left + part * step * mm - (1.5 if part == 2 else 0)
            page.text(x, base + 5.2, text, SMALLEST_PT, anchor=anchor)


def _around(points: Sequence[Point]) -> Box:
    return Box(
        left=min(p[0] for p in points),
        right=max(p[0] for p in points),
        top=min(p[1] for p in points),
        bottom=max(p[1] for p in points),
    )


def _number_step(strip: Strip, scale: float) -> int:
    """Every how many marks a number fits: 7 mm apart on the page."""
    spacing = strip.length_m / (len(strip.at_m) - 1) * 1000 / scale
    for step in (1, 2, 5, 10, 20, 50, 100):
        if step * spacing >= 7.0:
            return step
    return len(strip.at_m)

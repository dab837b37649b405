"""Small drawings beside the words of the sheets."""

from __future__ import annotations

import math

from vision.documents.sheets.drawing import BLACK, CHAIN_DOTTED, GREY, LIGHT, WHITE, Picture, Point
from vision.documents.sheets.plan_drawing import PlanView, shown_reach
from vision.planning.setting_out.running_marks import DiagonalPair, SettingOut, StripLine

SKETCH_MM, PAIR_MM, STRIP_MM = (58.0, 92.0), (26.0, 26.0), (34.0, 57.0)
GAUGE_MM = (66.0, 46.0)


def datum(setting: SettingOut) -> Picture:
    """Datum lines and triangles over a small plan, with F, R and both M."""
    view = PlanView.small(setting, SKETCH_MM, margin=11.0)
    picture, vehicle = view.picture, setting.job.vehicle
    x, y = vehicle.length_m / 2, vehicle.width_m / 2
    low, high = shown_reach(setting)
    (left, top), (right, bottom) = view.place(high), view.place(low)
    across, up = view.middle
    picture.line((across, top + 6), (across, bottom - 6), width=0.35, dash=CHAIN_DOTTED)
    picture.line((left - 6, up), (right + 6, up), width=0.35, dash=CHAIN_DOTTED)
    for name, ground, label in (
        ("F", (x, 0.0), right + 4.5),
        ("R", (-x, 0.0), right + 4.5),
        ("M", (0.0, y), left - 4.5),
        ("M", (0.0, -y), right + 4.5),
    ):
        at = view.place(ground)
        picture.disc(at, 1.1, fill=BLACK)
        picture.text(label, at[1] + 1.2, name, 11, bold=True, anchor="middle")
        if name != "M":
            picture.line(at, (right + 6, at[1]), width=0.15)
    for triangle in setting.triangles:
        legs = triangle.metric
        x, y = triangle.corner_m
        aside, out = y + float(legs.along_strip_m), x + triangle.away * float(legs.along_line_m)
        picture.polygon([view.place(p) for p in ((x, y), (x, aside), (out, y))], width=0.5)
    return picture


def pair(setting: SettingOut, pair: DiagonalPair) -> Picture:
    """Both diagonals of a pair, with their strips in black."""
    shown = [name for name in (pair.strip, pair.against) if name]
    view = PlanView.small(setting, PAIR_MM, shown, margin=1.0)
    dashes: tuple[tuple[float, ...], ...] = ((), (1.2, 0.9))
    for diagonal, dash in zip((pair.first, pair.second), dashes, strict=True):
        ends = [view.place(end) for end in diagonal.ends_m]
        view.picture.line(*ends, width=1.0, colour=WHITE)
        view.picture.line(*ends, width=0.5, dash=dash)
    return view.picture


def two_lines() -> Picture:
    """Two lines to write readings on."""
    picture = Picture(26.0, 16.0)
    for low in (11.0, 2.0):
        picture.line((0.0, low), (26.0, low), width=0.3)
    return picture


def strip(setting: SettingOut, line: StripLine) -> Picture:
    """The strip among the others, with a ring at its mark 0."""
    view = PlanView.small(setting, STRIP_MM, (line.strip.name,), margin=2.0)
    view.picture.disc(view.place(line.strip.from_m), 1.5, fill=WHITE, width=0.5)
    return view.picture


def gauge() -> Picture:
    """A camera from its side, looking 45 degrees down, with a gauge at either place."""
    picture, tilt = Picture(*GAUGE_MM), math.radians(45)

    def place(along: float, above: float) -> Point:
        return (
            26.0 + along * math.cos(tilt) + above * math.sin(tilt),
            26.0 - along * math.sin(tilt) + above * math.cos(tilt),
        )

    for a0, a1, b0, b1, fill in (
        (-11, 7, -5, 5, WHITE), (7, 10, -3.5, 3.5, GREY), (-9, 5, 5.4, 7.6, LIGHT),
        (10.4, 12.6, -6, 6, LIGHT),
    ):  # fmt: skip
        corners = [place(a, b) for a, b in ((a0, b0), (a1, b0), (a1, b1), (a0, b1))]
        picture.polygon(corners, fill=fill, width=0.4)
    x, y = place(-9, 0)
    picture.line((x, y), place(26, 0), dash=CHAIN_DOTTED)
    picture.line((x, y), (x + 34, y))
    arc = [tilt * step / 12 for step in range(13)]
    picture.line(*((x + 9 * math.cos(a), y - 9 * math.sin(a)) for a in arc))
    picture.text(x + 35, y - 1.1, "level")
    for (x, y), words in ((place(5, 7.6), "nose down"), (place(12.6, 2), "lens face")):
        picture.line((x, y), (x + 5, y), width=0.15)
        picture.text(x + 6, y - 1.1, words)
    return picture

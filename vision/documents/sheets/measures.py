"""Which lengths the plan shows: body, strips, tapes and lines of marks against the datum lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

import numpy as np

from vision.documents.sheets.dimensions import Measure, Way
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.page import Point
from vision.documents.sheets.plan_drawing import key_letters, tape_corners
from vision.planning.setting_out.lines import same
from vision.planning.setting_out.running_marks import SettingOut, Side, StripLine, exact
from vision.units.arrays import Array

Place = Sequence[float] | Array
"""A ground point, x ahead and y left, in metres."""


def measures_of(setting: SettingOut, words: Figures, mm: float) -> list[Measure]:
    """Every length to show, on each side those nearer the drawing first; `mm` for a metre.

    None repeats another: the pieces of one line of tape lie equally far out.
    """
    kept: dict[tuple[Way, str, float, float], Measure] = {}
    for each in _lengths(setting, words, mm):
        low, high = each.span
        kept.setdefault((each.way, each.above, round(low, 3), round(high, 3)), each)
    return list(kept.values())


def _lengths(setting: SettingOut, words: Figures, mm: float) -> Iterator[Measure]:
    x, y = setting.job.vehicle.length_m / 2, setting.job.vehicle.width_m / 2
    lettered = [
        (key_letters(index), line)
        for index, line in enumerate(setting.strips)
        if line.side != "free"
    ]
    for letter, line in lettered:
        marks = line.strip.from_m, line.strip.to_m
        yield _measure(words, mm, letter, line.side, marks, line.marks[-1].running_m)
    yield _measure(words, mm, "body", "left", ((x, y), (-x, y)), exact(2 * x))
    # The longer first: the figures of the shorter then lie beyond, where nothing crosses them.
    upright = [(letter, line) for letter, line in lettered if parallel(line)]
    upright.sort(key=lambda each: -(each[1].inside_m or (Fraction(0),))[0])
    for letter, line in upright:
        assert line.inside_m is not None
        way: Way = "front" if beside(line) else "left"
        gap, inside = _gap(line, x, y), line.inside_m[0]
        yield _measure(words, mm, f"tape, strip {letter}", way, gap, inside)
    yield _measure(words, mm, "body", "front", ((x, y), (x, -y)), exact(2 * y))
    for letter, line in upright:
        offset = line.first.left_m if beside(line) else line.first.ahead_m
        way = "rear" if beside(line) else "right"
        name = f"marks, strip {letter}"
        yield _measure(words, mm, name, way, _offset(line), abs(offset), from_datum=True)


def _measure(
    words: Figures, mm: float, name: str, way: Side, ends: tuple[Place, Place],
    length_m: Fraction, *, from_datum: bool = False,
) -> Measure:  # fmt: skip
    """A measure between two ground points; its figures begin with the first word of its name."""
    assert way != "free"
    return Measure(
        name=name,
        way=way,
        ends=(place(ends[0], mm), place(ends[1], mm)),
        above=f"{name.split(',')[0]} {words.metres(length_m)}",
        below=f"({words.feet(length_m)})",
        from_datum=from_datum,
    )


def place(ground_m: Place, mm: float) -> Point:
    """A ground point on paper, relative to the ground's origin; `mm` for a metre."""
    return -float(ground_m[1]) * mm, -float(ground_m[0]) * mm


def beside(line: StripLine) -> bool:
    """Whether a strip runs along a side of the body."""
    return line.side in ("left", "right")


def why_not(line: StripLine) -> str:
    """Why a strip that is not `parallel` has no figures here."""
    return "at an angle" if same(line.inside_m) is None else "under the body"


def parallel(line: StripLine) -> bool:
    """Whether one figure says how far a strip lies from the body, outside it."""
    inside = same(line.inside_m)
    return inside is not None and inside > 0


def _gap(line: StripLine, x: float, y: float) -> tuple[Point, Point]:
    """The body's corner and the tape's inside edge, where extension lines towards them begin."""
    assert line.inside_m is not None
    inside, far = float(line.inside_m[0]), np.array(tape_corners(line.strip)).max(axis=0)
    if beside(line):
        sign = 1 if line.side == "left" else -1
        return (x, sign * y), (float(far[0]), sign * (y + inside))
    sign = 1 if line.side == "front" else -1
    return (sign * x, y), (sign * (x + inside), float(far[1]))


def _offset(line: StripLine) -> tuple[Point, Point]:
    """On the datum line, and at the strip's end that is the nearer to where the figure stands."""
    axis = 0 if beside(line) else 1
    ends = (line.strip.from_m, line.strip.to_m)
    end = min(ends, key=lambda each: float(each[axis]))
    x, y = float(end[0]), float(end[1])
    return ((x, 0.0) if beside(line) else (0.0, y)), (x, y)

"""Dimension lines beside a drawing, on lanes of their own, and how they are drawn.

As ISO 129-1 has them, from memory: thin lines, extension lines that run a little past them, closed
arrowheads, which point inward from outside where there is no room between, shorter lengths nearer
the drawing, figures above the line and read from below or from the right. Feet and inches stand
below the line.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import count, groupby
from operator import itemgetter
from typing import Literal

from reportlab.lib.units import mm

from vision.documents.sheets.drawing import ASCENT, BLACK, Picture, Point, arrowhead, text_width

FIGURE_PT = 10.0
"""Capitals of 2.53 mm, above 2.5 mm, the least of ISO 3098's usual sizes; from memory."""
FIRST_MM, LANE_MM = 6.1, 10.0
"""From the drawing to the first dimension line, and from one to the next."""
FIGURE_UP_MM = 1.2
"""Between the line and its figures."""
FIGURE_MM = 4.6
"""How far figures reach from their line, either way."""
MOST_LANES = 5
THIN_MM = 0.18
ARROW_MM, ARROW_HALF_MM = 2.6, 0.42
BEYOND_MM = 1.5
TAIL_MM = 2 * ARROW_MM
AIR_MM = 0.8

Way = Literal["left", "right", "front", "rear"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A length to be shown between two ground points, on the `way` where its line goes.

    Beside the vehicle, "left" or "right", lengths along it are shown; "front" and "rear", lengths
    across. `of` is what it belongs to, `above` and `below` are its figures. `overall`: it spans
    what others divide, and lies outside them. `from_datum`: its first end is on a datum line,
    which serves as its extension line.
    """

    of: str
    way: Way
    ends: tuple[Point, Point]
    above: str
    below: str
    overall: bool = False
    from_datum: bool = False

    @property
    def axis(self) -> int:
        """0 where it is measured along the vehicle, 1 across."""
        return 0 if self.way in ("left", "right") else 1

    @property
    def span_m(self) -> tuple[float, float]:
        """From and to, on its axis of the ground."""
        a, b = (end[self.axis] for end in self.ends)
        return min(a, b), max(a, b)

    @property
    def width(self) -> float:
        """Length of its figures in mm."""
        return max(text_width(text, FIGURE_PT) for text in (self.above, self.below))


def lanes_of(measures: Iterable[Measure]) -> dict[Measure, int]:
    """The lane of each measure, counted outward; without those for which there is none left.

    Chains of lengths lie nearest, the shorter first, then what spans them.
    """
    lanes: dict[Measure, int] = {}
    measures = sorted(measures, key=lambda each: (each.overall, each.span_m[1] - each.span_m[0]))
    for overall, kind in groupby(measures, key=lambda each: each.overall):
        inside = {each.way: lane + 1 for each, lane in sorted(lanes.items(), key=itemgetter(1))}
        for measure in kind:
            taken = {lane for each, lane in lanes.items() if _meet(measure, each)}
            first = inside.get(measure.way, 0) if overall else 0
            lanes[measure] = next(lane for lane in count(first) if lane not in taken)
    return {each: lane for each, lane in lanes.items() if lane < MOST_LANES}


def has_room(measure: Measure, lanes: Mapping[Measure, int], metre_mm: float) -> bool:
    """Whether figures fit between the arrows, with no extension line through them.

    `metre_mm` is a metre at the drawing's scale.
    """
    low, high = measure.span_m
    middle, half = (low + high) / 2, (measure.width / 2 + AIR_MM) / metre_mm
    farther = [
        end
        for each, lane in lanes.items()
        if each.way == measure.way and lane > lanes[measure]
        for end in each.span_m
    ]
    return (high - low) >= 2 * half and all(abs(end - middle) >= half for end in farther)


def out_mm(lane: int) -> float:
    """How far a lane's line lies from the drawing."""
    return FIRST_MM + lane * LANE_MM


def _meet(one: Measure, other: Measure) -> bool:
    """Whether two share more than an end on their way."""
    (a0, a1), (b0, b1) = one.span_m, other.span_m
    return one.way == other.way and a0 < b1 - 1e-6 and b0 < a1 - 1e-6


# ---------------------------------------------------------------------------------------- drawing


def draw_dimension(
    picture: Picture, axis: int, span: tuple[float, float], line: float,
    starts: Sequence[float | None], above: str = "", below: str = "",
) -> None:  # fmt: skip
    """Draw extension lines, dimension line, arrowheads and figures, if any.

    `axis`: 0 where the line goes across the page, 1 where it goes up; `span`: its ends on that
    axis, `line`: where it lies on the other, `starts`: where extension lines begin, on the other.
    """

    def at(along: float, across: float) -> Point:
        return (across, along) if axis else (along, across)

    for end, start in zip(span, starts, strict=True):
        if start is not None:
            sign = math.copysign(1, line - start)
            picture.line(
                at(end, start + sign * AIR_MM), at(end, line + sign * BEYOND_MM), width=THIN_MM
            )
    low, high = span
    tight = high - low < 2 * ARROW_MM + AIR_MM
    tail = TAIL_MM if tight else 0.0
    arrow_line(picture, at(low, line), at(high, line), outside=tight)
    if tight:
        picture.line(at(low - tail, line), at(high + tail, line), width=THIN_MM)
    capitals = ASCENT * FIGURE_PT / mm
    for text, off in ((above, FIGURE_UP_MM), (below, -FIGURE_UP_MM - capitals)):
        if text:
            x, y = at((low + high) / 2, line + (-off if axis else off))
            picture.text(x, y, text, FIGURE_PT, anchor="middle", turned=axis == 1)


def arrow_line(picture: Picture, a: Point, b: Point, *, outside: bool = False) -> None:
    """A line at any angle with an arrowhead at either end, from inside or from `outside`."""
    picture.line(a, b, width=THIN_MM)
    for tip, other in ((a, b), (b, a)):
        shaft = (2 * tip[0] - other[0], 2 * tip[1] - other[1]) if outside else other
        picture.polygon(arrowhead(tip, shaft, ARROW_MM, ARROW_HALF_MM), fill=BLACK)

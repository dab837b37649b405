"""Where dimension lines go beside a drawing, and how they are drawn.

As ISO 129-1 has them, from memory: thin lines, extension lines that run a little past them, closed
arrowheads, which point inward from outside where there is no room between, shorter lengths nearer
the drawing, figures above the line and read from below or from the right. Feet and inches stand
below the line. Coordinates are millimetres on paper, relative to where the drawing's origin will
be, x to the right and y down.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from vision.documents.sheets.page import (
    ASCENT,
    BLACK,
    DESCENT,
    MM_PER_PT,
    Box,
    Page,
    Point,
    text_width,
)

FIGURE_PT = 11.0
"""Capitals of 2.8 mm, above 2.5 mm, the least of ISO 3098's usual sizes; from memory."""
FIRST_MM, LANE_MM = 6.1, 10.4
"""From the drawing to the first dimension line, and from one to the next."""
FIGURE_UP_MM = 1.2
"""Between the line and its figures."""
FIGURE_MM = FIGURE_UP_MM + (ASCENT + DESCENT) * FIGURE_PT * MM_PER_PT
"""How far figures reach from their line, either way."""
MOST_LANES = 5
THIN_MM = 0.18
ARROW_MM, ARROW_HALF_MM = 2.6, 0.42
BEYOND_MM = 1.5
TAIL_MM = 2 * ARROW_MM
AIR_MM = 1.2

Way = Literal["left", "right", "front", "rear"]
Style = Literal["within", "beyond", "aside"]
Span = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A length to be shown between two points of the drawing, on the `way` where its line goes.

    Beside the vehicle, "left" or "right", lengths along it are shown; "front" and "rear", lengths
    across. `above` and `below` are its figures, `name` what to call it where it has no room;
    `from_datum`: its first end is on a datum line, which serves as its extension line.
    """

    name: str
    ends: tuple[Point, Point]
    way: Way
    above: str
    below: str
    from_datum: bool = False

    @property
    def span(self) -> Span:
        """From and to, along its line."""
        axis = axis_of(self.way)
        a, b = (end[axis] for end in self.ends)
        return min(a, b), max(a, b)

    @property
    def width(self) -> float:
        """Length of its figures."""
        return max(text_width(text, FIGURE_PT) for text in (self.above, self.below))

    @property
    def tight(self) -> bool:
        """Whether its arrowheads stand outside."""
        return self.span[1] - self.span[0] < 2 * ARROW_MM + AIR_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A measure with the number of its line, counted outward, and where its figures go.

    `at`: the middle of the figures along the line. `style`: "within" the arrows, "beyond" them on
    the line drawn on, or "aside" at the end of a leader away from the drawing.
    """

    measure: Measure
    lane: int
    at: float
    style: Style

    @property
    def figures(self) -> Span:
        """What the figures take along the line."""
        half = self.measure.width / 2 if self.style != "aside" else FIGURE_MM
        return self.at - half, self.at + half

    @property
    def taken(self) -> Span:
        """What line, arrows and figures on it take along the line."""
        low, high = self.measure.span
        if self.measure.tight:
            low, high = low - TAIL_MM, high + TAIL_MM
        if self.style == "beyond":
            low, high = min(low, self.figures[0]), max(high, self.figures[1])
        return low, high


def axis_of(way: Way) -> int:
    """0 where lines go across the page, 1 where they go up."""
    return 1 if way in ("left", "right") else 0


def outward_of(way: Way) -> int:
    """Sign of the way outward, on the axis that crosses the lines."""
    return -1 if way in ("left", "front") else 1


# -------------------------------------------------------------------------------------- arranging


def arranged(
    measures: Sequence[Measure], crossing: Mapping[Way, Sequence[float]]
) -> tuple[list[Placed], list[Measure]]:
    """Find a place for every measure, in their order, nearest first; and those that have none.

    `crossing`: where datum lines cross the dimension lines of a way. No figure is crossed by an
    extension line, a datum line or another dimension.
    """
    done: list[Placed] = []

    def put(measure: Measure, later: Sequence[Measure]) -> bool:
        own = [each for each in done if each.measure.way == measure.way]
        later = [each for each in later if each.way == measure.way]
        found = _place(measure, own, later, crossing.get(measure.way, ()))
        done.extend([found] if found else [])
        return found is not None

    late = [each for at, each in enumerate(measures) if not put(each, measures[at + 1 :])]
    # Some were only in the way of each other.
    return done, [measure for measure in late if not put(measure, ())]


def _place(
    measure: Measure, done: Sequence[Placed], later: Sequence[Measure], crossing: Sequence[float]
) -> Placed | None:
    for lane in range(MOST_LANES):
        busy = [each.taken for each in done if each.lane == lane]
        # Extension lines of whatever lies, or may come to lie, farther out.
        lines = [*crossing, *measure.span]
        lines += [end for each in done if each.lane > lane for end in each.measure.span]
        lines += [end for each in later for end in each.span]
        for at, style in _candidates(measure):
            found = Placed(measure=measure, lane=lane, at=at, style=style)
            if any(_meet(found.taken, each) for each in busy):
                continue
            if any(_runs_through(measure, each) for each in done if each.lane < lane):
                continue
            if style == "aside" and not _free_aside(found, done, later, crossing):
                continue
            low, high = found.figures
            if style == "aside" or not any(low - AIR_MM < x < high + AIR_MM for x in lines):
                return found
    return None


def _candidates(measure: Measure) -> Iterator[tuple[float, Style]]:
    """Middles of the figures to try, the best first."""
    (low, high), half = measure.span, measure.width / 2
    middle = (low + high) / 2
    room = (high - low) / 2 - half - AIR_MM
    steps = int(room // 2) + 1 if room >= 0 else 0
    for step in range(steps):
        for sign in (1, -1) if step else (1,):
            yield middle + sign * 2.0 * step, "within"
    if axis_of(measure.way) == 1:
        # Up the page, figures beyond the arrows would run into the corners.
        reach = (high - low) / 2 + (TAIL_MM if measure.tight else 0.0)
        for step in range(max(1, int(reach))):
            for sign in (1, -1) if step else (1,):
                yield middle + sign * step, "aside"
        return
    start = (ARROW_MM if measure.tight else 0.0) + AIR_MM + 0.5 + half
    # Away from the middle first: there fewer lines are to be crossed.
    ways = (1, -1) if middle >= -1e-9 else (-1, 1)
    for sign in ways:
        yield (high if sign > 0 else low) + sign * start, "beyond"


def _free_aside(
    found: Placed, done: Sequence[Placed], later: Sequence[Measure], crossing: Sequence[float]
) -> bool:
    """Whether a leader outward meets no other dimension line, and its figures nothing."""
    others = [each.taken for each in done if each.lane > found.lane]
    others += [each.span for each in later]
    others += [each.figures for each in done if each.style == "aside"]
    others += [(x - FIGURE_MM, x + FIGURE_MM) for x in crossing]
    return not any(_meet(found.figures, other) for other in others)


def _runs_through(measure: Measure, nearer: Placed) -> bool:
    """Whether an extension line would cross figures on its way out."""
    low, high = nearer.figures
    return nearer.style != "aside" and any(
        low - AIR_MM < end < high + AIR_MM for end in measure.span
    )


def _meet(a: Span, b: Span) -> bool:
    """Whether two spans share more than an end."""
    return a[0] < b[1] - 0.01 and b[0] < a[1] - 0.01


def line_at(way: Way, lane: int, reach: Box) -> float:
    """Where a lane's line is on the axis that crosses it; `reach` is what the drawing takes."""
    edge = {"left": reach.left, "right": reach.right, "front": reach.top, "rear": reach.bottom}
    return edge[way] + outward_of(way) * (FIRST_MM + lane * LANE_MM)


def outermost(way: Way, done: Sequence[Placed], reach: Box) -> float:
    """Where the last dimension line of a way is; the drawing's edge where there is none."""
    lanes = [each.lane for each in done if each.measure.way == way]
    none = line_at(way, 0, reach) - outward_of(way) * FIRST_MM
    return line_at(way, max(lanes), reach) if lanes else none


def taken_by(done: Sequence[Placed], reach: Box) -> Box:
    """What the drawing takes with all its dimensions."""
    x, y = [reach.left, reach.right], [reach.top, reach.bottom]
    for each in done:
        way = each.measure.way
        sign, out = outward_of(way), outermost(way, done, reach)
        more = 3 * AIR_MM + each.measure.width if each.style == "aside" else FIGURE_MM
        along, across = (x, y) if axis_of(way) == 0 else (y, x)
        along += [*each.taken, *each.figures]
        across.append(out + sign * more)
    return Box(left=min(x), right=max(x), top=min(y), bottom=max(y))


# ---------------------------------------------------------------------------------------- drawing


def draw_dimension(
    page: Page, placed: Placed, line: float, last: float, origin: Point = (0.0, 0.0)
) -> None:
    """Draw extension lines, dimension line, arrowheads and figures.

    `line`: where the dimension line is on the axis that crosses it; `last`: where the outermost
    is, which a leader ends beyond; both relative to `origin`, as the measure is.
    """
    measure = placed.measure
    way, axis = measure.way, axis_of(measure.way)
    sign = outward_of(way)

    def at(along: float, across: float) -> Point:
        x, y = (along, across) if axis == 0 else (across, along)
        return origin[0] + x, origin[1] + y

    for end in measure.ends[measure.from_datum :]:
        start = end[1 - axis] + sign * AIR_MM
        page.line(at(end[axis], start), at(end[axis], line + sign * BEYOND_MM), line_mm=THIN_MM)
    low, high = placed.taken
    page.line(at(low, line), at(high, line), line_mm=THIN_MM)
    inward = -1 if measure.tight else 1
    for tip, ahead in zip(measure.span, (inward, -inward), strict=True):
        back = tip + ahead * ARROW_MM
        corners = ((tip, line), (back, line - ARROW_HALF_MM), (back, line + ARROW_HALF_MM))
        page.polygon([at(*corner) for corner in corners], fill=BLACK)
    if placed.style == "aside":
        near = last + sign * 2 * AIR_MM
        far = near + sign * measure.width
        page.line(at(placed.at, line), at(placed.at, far), line_mm=THIN_MM)
        draw_figures(page, at(placed.at, (near + far) / 2), measure.above, measure.below)
    else:
        draw_figures(page, at(placed.at, line), measure.above, measure.below, turned=axis == 1)


def draw_figures(
    page: Page, at: Point, above: str, below: str = "", *, turned: bool = False
) -> None:
    """Figures above and below a line through their middle `at`; turned, to its left and right."""
    capitals = ASCENT * FIGURE_PT * MM_PER_PT
    for text, off in ((above, -FIGURE_UP_MM), (below, FIGURE_UP_MM + capitals)):
        if text:
            x, y = (at[0] + off, at[1]) if turned else (at[0], at[1] + off)
            page.text(x, y, text, FIGURE_PT, anchor="middle", turned=turned)


def arrow_line(page: Page, ends: tuple[Point, Point], line_mm: float = THIN_MM) -> None:
    """A line at any angle with an arrowhead at either end."""
    page.line(*ends, line_mm=line_mm)
    for tip, other in (ends, ends[::-1]):
        way = other[0] - tip[0], other[1] - tip[1]
        length = max((way[0] ** 2 + way[1] ** 2) ** 0.5, 1e-9)
        x, y = way[0] / length, way[1] / length
        back = tip[0] + ARROW_MM * x, tip[1] + ARROW_MM * y
        wings = [
            (back[0] - s * ARROW_HALF_MM * y, back[1] + s * ARROW_HALF_MM * x) for s in (1, -1)
        ]
        page.polygon((tip, *wings), fill=BLACK)

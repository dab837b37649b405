"""The plan to scale with its dimensions: body, strips, and the diagonals that check them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain, count, islice, pairwise

from vision.documents.sheets.book import Book, Flow
from vision.documents.sheets.dimensions import (
    AIR_MM,
    FIGURE_MM,
    FIGURE_PT,
    FIRST_MM,
    THIN_MM,
    Placed,
    Way,
    arranged,
    arrow_line,
    draw_dimension,
    draw_figures,
    line_at,
    outermost,
    taken_by,
)
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.measures import beside, measures_of, parallel, place, why_not
from vision.documents.sheets.page import SMALLEST_PT, Box, Point, text_width
from vision.documents.sheets.plan_drawing import (
    SCALES,
    PlanView,
    key_letters,
    outward,
    shown_reach,
    tape_corners,
)
from vision.planning.setting_out.running_marks import Diagonal, DiagonalPair, SettingOut

CORRIDOR_MM = 2 * FIGURE_MM + 2 * AIR_MM
"""Beside the side strips, for the figures of the diagonals."""
LABEL_MM = 4.0
"""Below the last figures, for the name of the centre line."""
CROSSING: dict[Way, tuple[float, ...]] = {"right": (0.0,), "rear": (0.0,)}
"""Where the mid line and the centre line cross the dimension lines that begin at them."""
DATUM_NAMES = ("centre line", "mid line")
LEGEND_MM, ELSEWHERE_MM = 13.5, 8.5
SCALE_MM = 36.0
"""At the legend's left, for the scale."""
MOST_NAMED = 6
SCALES_TRIED = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shelf:
    """A diagonal with its figures: a leader from `start` on it to an upright line of figures."""

    diagonal: Diagonal
    start: Point
    corner: Point
    above: str
    below: str

    @property
    def length(self) -> float:
        """How far up the figures reach."""
        return max(text_width(text, FIGURE_PT) for text in (self.above, self.below))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Arrangement:
    """All dimensions at one scale; `reach` is what they lie round, `taken` what all of it takes."""

    scale: float
    reach: Box
    placed: list[Placed]
    shelves: list[_Shelf]
    left_out: list[str]
    taken: Box


def dimension_sheet(book: Book, setting: SettingOut, words: Figures) -> None:
    """Body and strips on a new page, at the largest usual scale at which all figures have room."""
    page = book.new_page("Dimensions, to scale")
    inner = book.inner
    room = Box(left=inner.left, top=inner.top + LEGEND_MM, right=inner.right, bottom=inner.bottom)
    best = _best(setting, words, room)
    if _elsewhere(setting, best):
        room = replace(room, top=room.top + ELSEWHERE_MM)
        best = _best(setting, words, room)
    _legend(Flow(book, page.title, page, inner), setting, best)
    taken = best.taken
    origin = (
        (room.left + room.right) / 2 - (taken.left + taken.right) / 2,
        (room.top + room.bottom) / 2 - (taken.top + taken.bottom) / 2,
    )
    view = PlanView(page=page, setting=setting, scale=best.scale, middle=origin)
    view.body()
    for strip in setting.strips:
        view.strip(strip.strip)
    _datums(view, best)
    for shelf in best.shelves:
        _draw_shelf(view, shelf)
    for placed in best.placed:
        way = placed.measure.way
        line, last = line_at(way, placed.lane, best.reach), outermost(way, best.placed, best.reach)
        draw_dimension(page, placed, line, last, origin)
    _letters(view)


def _checking(setting: SettingOut) -> DiagonalPair | None:
    """The pair of crossing diagonals that shows most: of the side strips, if there are two."""
    return next((pair for pair in setting.pairs if pair.fault == "slide"), None)


# -------------------------------------------------------------------------------------- arranging


def _best(setting: SettingOut, words: Figures, room: Box) -> _Arrangement:
    """The largest scale at which all have a place; else that at which the fewest have none."""
    low, high = shown_reach(setting)
    length, width = (high - low) * 1000
    least = max(length / room.height, width / room.width)
    scales = (float(each) for each in chain(SCALES, count(1000, 500)) if each >= least)
    best = found = None
    for scale in islice(scales, SCALES_TRIED):
        found = _at_scale(setting, words, scale)
        fits = found.taken.width <= room.width and found.taken.height <= room.height
        if fits and (best is None or len(found.left_out) < len(best.left_out)):
            best = found
        if best is not None and not best.left_out:
            break
    assert found is not None
    return best or found


def _at_scale(setting: SettingOut, words: Figures, scale: float) -> _Arrangement:
    mm = 1000 / scale
    low, high = shown_reach(setting)
    drawn = Box(left=-high[1] * mm, top=-high[0] * mm, right=-low[1] * mm, bottom=-low[0] * mm)
    sides = _sides(setting, mm)
    pair = _checking(setting)
    reach = drawn
    if pair is not None:
        aside = CORRIDOR_MM + FIGURE_MM - FIRST_MM
        reach = replace(
            drawn, left=min(drawn.left, sides[0] - aside), right=max(drawn.right, sides[1] + aside)
        )
    placed, left_out = arranged(measures_of(setting, words, mm), CROSSING)
    names = [each.name for each in left_out]
    shelves = []
    for diagonal in (pair.first, pair.second) if pair else ():
        shelf = _shelf(diagonal, words, mm, sides, placed)
        if shelf is None:
            names.append(_between(setting, diagonal))
        else:
            shelves.append(shelf)
    taken = taken_by(placed, reach)
    mid_line = text_width(DATUM_NAMES[1], SMALLEST_PT) + AIR_MM
    taken = replace(taken, right=taken.right + mid_line, bottom=taken.bottom + LABEL_MM)
    return _Arrangement(
        scale=scale, reach=reach, placed=placed, shelves=shelves, left_out=names, taken=taken
    )


def _sides(setting: SettingOut, mm: float) -> tuple[float, float]:
    """How far to the left and to the right body and side strips reach."""
    half = setting.job.vehicle.width_m / 2
    reach = [-half, half]
    for line in setting.strips:
        if line.side in ("left", "right"):
            reach += [float(corner[1]) for corner in tape_corners(line.strip)]
    return -max(reach) * mm, -min(reach) * mm


def _shelf(
    diagonal: Diagonal, words: Figures, mm: float, sides: tuple[float, float],
    placed: Sequence[Placed],
) -> _Shelf | None:  # fmt: skip
    """A place for a diagonal's figures beside the strip at its front end; None without room.

    Between the extension lines that cross there and the mid line, which does on the right; as near
    as may be to the middle of its front half.
    """
    (x0, y0), (x1, y1) = sorted((place(end, mm) for end in diagonal.ends_m), key=_height)
    way: Way = "left" if x0 < x1 else "right"
    shelf = _Shelf(
        diagonal=diagonal,
        start=(0.0, 0.0),
        corner=(0.0, 0.0),
        above=words.metres(diagonal.length_m),
        below=f"({words.feet(diagonal.length_m)})",
    )
    crossing = {y0, y1, *CROSSING.get(way, ())}
    crossing |= {end for each in placed if each.measure.way == way for end in each.measure.span}
    half = shelf.length / 2 + AIR_MM
    middles = [
        min(max(y0 / 2, low + half), high - half)
        for low, high in pairwise(sorted(crossing))
        if low >= y0 and high <= y1 and high - low >= 2 * half
    ]
    if not middles:
        return None
    foot = min(middles, key=lambda at: abs(at - y0 / 2)) + shelf.length / 2
    start = x0 + (foot - y0) / (y1 - y0) * (x1 - x0), foot
    aside = CORRIDOR_MM / 2
    at = sides[0] - aside if way == "left" else sides[1] + aside
    return replace(shelf, start=start, corner=(at, foot))


def _height(at: Point) -> float:
    return at[1]


# ---------------------------------------------------------------------------------------- drawing


def _datums(view: PlanView, best: _Arrangement) -> None:
    """Centre line and mid line, out to the dimensions that begin at them, with their names."""
    x, y = view.middle
    right = x + outermost("right", best.placed, best.reach) + FIGURE_MM
    rear = y + outermost("rear", best.placed, best.reach) + FIGURE_MM
    left = x + _sides(view.setting, 1000 / view.scale)[0] - AIR_MM
    dash = (5, 1.2, 0.8, 1.2)
    for a, b in (((x, y + best.reach.top - AIR_MM), (x, rear)), ((left, y), (right, y))):
        view.page.line(a, b, line_mm=0.25, dash_mm=dash)
    centre, mid = DATUM_NAMES
    view.page.text(x, rear + 3.2, centre, SMALLEST_PT, anchor="middle")
    view.page.text(right + AIR_MM, y + 1.1, mid, SMALLEST_PT)


def _draw_shelf(view: PlanView, shelf: _Shelf) -> None:
    page, (x, y) = view.page, view.middle
    arrow_line(page, (view.place(shelf.diagonal.ends_m[0]), view.place(shelf.diagonal.ends_m[1])))
    start = x + shelf.start[0], y + shelf.start[1]
    corner = x + shelf.corner[0], y + shelf.corner[1]
    page.line(start, corner, (corner[0], corner[1] - shelf.length), line_mm=THIN_MM)
    middle = corner[0], corner[1] - shelf.length / 2
    draw_figures(page, middle, shelf.above, shelf.below, turned=True)


def _letters(view: PlanView) -> None:
    """The strips' letters beside them, clear of all figures: end strips' on the body's side."""
    x, y = view.middle
    view.taken += [text.box for text in view.page.texts]
    view.taken += [
        Box(left=x - 0.3, right=x + 0.3, top=0.0, bottom=view.page.height_mm),
        Box(left=0.0, right=view.page.width_mm, top=y - 0.3, bottom=y + 0.3),
    ]
    for index, line in enumerate(view.setting.strips):
        strip = line.strip
        out = outward(strip) * (1 if beside(line) else -1)
        # At 0.35 the letters of end strips stand clear of the side strips' ends.
        at = strip.from_m + 0.35 * strip.length_m * strip.along
        half = 500 * strip.tape_width_m / view.scale
        view.badge(key_letters(index), at, (out, -out), shape="strip", start_mm=half + 0.8)


def _legend(flow: Flow, setting: SettingOut, best: _Arrangement) -> None:
    """The scale, what the figures' first words mean, and what has no figure here."""
    scale = f"Scale 1 : {best.scale:g}"
    flow.page.text(flow.box.left, flow.y + 4.3, scale, 13, bold=True)
    flow.box = replace(flow.box, left=flow.box.left + SCALE_MM)
    text = (
        "Letter: from the first to the last mark of that strip. Tape: from the body to the tape's "
        "inside edge. Marks: from the datum line to the line of marks. "
    )
    pair = _checking(setting)
    if pair is not None:
        crossed = (_between(setting, each) for each in (pair.first, pair.second))
        text += f"Crossing lines, to check the strips: {' and '.join(crossed)}. "
    flow.paragraph(f"{text}The figures decide, not the drawing.", SMALLEST_PT)
    elsewhere = _elsewhere(setting, best)
    if elsewhere:
        flow.paragraph(f"On the other sheets only: {elsewhere}.", SMALLEST_PT)


def _elsewhere(setting: SettingOut, best: _Arrangement) -> str:
    """What has no figure on this sheet, in words."""
    names = [
        f"strip {key_letters(index)}, {why_not(line)}"
        for index, line in enumerate(setting.strips)
        if not parallel(line)
    ]
    names += best.left_out
    more = len(names) - MOST_NAMED
    return "; ".join(names[:MOST_NAMED] + ([f"{more} more"] if more > 0 else []))


def _between(setting: SettingOut, diagonal: Diagonal) -> str:
    """Which marks a diagonal joins, by their strips' letters."""
    letters = {line.strip.name: key_letters(i) for i, line in enumerate(setting.strips)}
    ends = [name.rsplit("/", 1) for name in diagonal.between]
    return " to ".join(f"{letters[strip]}/{mark}" for strip, mark in ends)

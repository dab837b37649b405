"""Marks true to size on A4, Letter or a roll: several on a page, or one in parts to be joined.

Ahead along the strip is up the page and left is left, as seen from above, whatever the mark.
Where a mark is larger than the paper its parts overlap: each later part is cut on its edge and
laid on the register line of the one before.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm

from vision.documents.cautions import LAW_FIRST
from vision.documents.sheets.drawing import (
    BLACK,
    SMALLEST_PT,
    WHITE,
    Bounds,
    Picture,
    Point,
    arrowhead,
    clipped,
    fitted,
)
from vision.documents.sheets.mark_art import MarkArt, mark_art
from vision.documents.sheets.paper import LONGEST_MM, MARGIN_MM, Paper
from vision.job.job import Job, SingleMark, Strip
from vision.job.mark_id import MarkId

MM_LONG = 100.0
INCHES_LONG = 4
RULER_MM = 11.0
"""What a ruler takes up across: figures, ticks of both systems, figures."""

MIDDLE_MM = RULER_MM / 2

LABEL_AT_MM = RULER_MM + 2 + INCHES_LONG * 25.4 + 5.5
"""From the margin to the words beside the lower ruler."""

OVERLAP_MM = 7.0
"""Of neighbouring parts: what glue or tape holds."""

GAP_MM = 4.0
LABEL_MM = 5.5
"""Between marks on one page, and for the name below each."""

LINE_MM = 0.3
"""Cut and register lines: beside the edge, on what is cut off or covered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """What is printed for one strip or single mark: pages in order, and how they came about."""

    name: str
    ids: tuple[MarkId, ...]
    art: MarkArt
    pages: tuple[Picture, ...]
    parts: tuple[int, int]
    """Rows and columns that one mark is printed in."""


def mark_prints(job: Job, paper: Paper) -> tuple[Print, ...]:
    """Print every mark of the job that can be printed; pages are without their footer yet."""
    prints = []
    laid: tuple[Strip | SingleMark, ...] = (*job.strips, *job.marks)
    for each in laid:
        art = mark_art(each)
        if art is None:
            continue
        if isinstance(each, Strip):
            ids = tuple(MarkId(each.name, index) for index in range(len(each.at_m)))
            ahead = "along from 0"
        else:
            ids, ahead = (MarkId(each.name),), "ahead"
        parts = _parts(art, paper)
        pages = (
            _gridded(ids, art, paper, ahead) if parts == (1, 1) else
            _tiled(ids, art, paper, parts, ahead)
        )  # fmt: skip
        prints.append(Print(name=each.name, ids=ids, art=art, pages=tuple(pages), parts=parts))
    return tuple(prints)


def pages_of(laid: Strip | SingleMark, paper: Paper) -> int:
    """How many pages its marks take, without drawing them."""
    art = mark_art(laid)
    if art is None:
        return 0
    parts, count = _parts(art, paper), len(laid.at_m) if isinstance(laid, Strip) else 1
    if parts == (1, 1):
        return math.ceil(count / math.prod(_grid(art, paper)))
    return math.prod(parts) * count


def room_mm(paper: Paper) -> tuple[float, float]:
    """Width and height that a page has for marks, beside its rulers."""
    return paper.inner_width_mm - RULER_MM - 2.0, paper.inner_height_mm - RULER_MM


def _parts(art: MarkArt, paper: Paper) -> tuple[int, int]:
    """Rows and columns of parts, each with its overlap within the page."""

    def parts(size: float, room: float) -> int:
        if size <= room + 1e-9:
            return 1
        return math.ceil(size / (room - OVERLAP_MM) - 1e-9)

    width, height = room_mm(paper)
    return parts(2 * art.half_along, height), parts(2 * art.half_across, width)


def _page(paper: Paper, height: float, label: str, ahead: str) -> tuple[Picture, Point]:
    """A page with rulers, arrows and label; and the top left corner of its room for marks.

    `height` is that of the marks, which a roll is cut to.
    """
    least = LABEL_AT_MM + 31
    whole = paper.height_mm or max(height + RULER_MM, least) + 2 * MARGIN_MM
    page = Picture(paper.width_mm, whole)
    top = whole - MARGIN_MM
    rulers(page, MARGIN_MM, MARGIN_MM)
    way_arrows(page, MARGIN_MM, top, ahead)
    _below(page, MARGIN_MM + 8.0, label, 11, bold=True)
    _below(page, MARGIN_MM, LAW_FIRST)
    return page, (MARGIN_MM + RULER_MM + 2.0, top)


def footed(pages: Sequence[Picture], code: str, first: int, total: int) -> None:
    """Write job file and count below every page's label."""
    for number, page in enumerate(pages, start=first):
        _below(page, MARGIN_MM + 4.0, f"job file {code}, page {number} of {total}")


def _below(
    page: Picture, y: float, text: str, size_pt: float = SMALLEST_PT, *, bold: bool = False
) -> None:
    """Write a line beside the lower ruler, cut where it is too long."""
    x = MARGIN_MM + LABEL_AT_MM
    room = page.width / mm - MARGIN_MM - x
    page.text(x, y, fitted(text, room, size_pt, bold=bold), size_pt, bold=bold)


def _grid(art: MarkArt, paper: Paper) -> tuple[int, int]:
    """Rows and columns of whole marks on a page."""
    width, height = room_mm(paper)
    columns = int((width + GAP_MM) / (2 * art.half_across + GAP_MM) + 1e-9)
    pitch = 2 * art.half_along + LABEL_MM + GAP_MM
    return max(1, int((min(height, LONGEST_MM) + GAP_MM) / pitch + 1e-9)), max(1, columns)


def _gridded(ids: tuple[MarkId, ...], art: MarkArt, paper: Paper, ahead: str) -> Iterator[Picture]:
    """As many marks on a page as fit, each with its name below."""
    width, height = 2 * art.half_across, 2 * art.half_along
    pitch = height + LABEL_MM + GAP_MM
    rows, columns = _grid(art, paper)
    for first in range(0, len(ids), columns * rows):
        group = ids[first : first + columns * rows]
        label = str(group[0]) if len(group) == 1 else f"{group[0]} to {group[-1].index}"
        used = math.ceil(len(group) / columns) * pitch
        page, (left, top) = _page(paper, used, label, ahead)
        for place, mark_id in enumerate(group):
            row, column = divmod(place, columns)
            x, y = left + column * (width + GAP_MM), top - row * pitch
            window = (x, y - height, x + width, y)
            centre = x + art.half_across, y - art.half_along
            _draw(page, art, centre, window)
            _trim(page, window)
            if columns * rows > 1:
                shown = fitted(str(mark_id), width, 11, bold=True)
                page.text(centre[0], y - height - 4.4, shown, 11, bold=True, anchor="middle")
        yield page


def _draw(page: Picture, art: MarkArt, centre: Point, window: Bounds) -> None:
    """The mark round `centre`, as far as it lies in `window`: ahead is up, left is left."""
    if art.ink == "light":
        page.box(window, fill=BLACK)
    for shape in art.inked:
        points = [(centre[0] - q, centre[1] + s) for s, q in shape]
        kept = clipped(points, window)
        if kept:
            page.polygon(kept, fill=BLACK if art.ink == "dark" else WHITE)


def _trim(page: Picture, window: Bounds) -> None:
    """Where the paper is cut, just outside the mark's own area."""
    left, low, right, top = window
    half = LINE_MM / 2
    cut = (left - half, low - half, right + half, top + half)
    page.box(cut, width=LINE_MM, dash=(2.0, 2.0))


def _tiled(
    ids: tuple[MarkId, ...], art: MarkArt, paper: Paper, parts: tuple[int, int], ahead: str
) -> Iterator[Picture]:
    """Each mark in rows and columns of parts, from its left ahead corner."""
    rows, columns = parts
    across, along = 2 * art.half_across / columns, 2 * art.half_along / rows
    for mark_id, row, column in itertools.product(ids, range(rows), range(columns)):
        part = f"part {row * columns + column + 1} of {rows * columns}"
        width = across + (OVERLAP_MM if column + 1 < columns else 0.0)
        height = along + (OVERLAP_MM if row + 1 < rows else 0.0)
        page, (left, top) = _page(paper, height, f"{mark_id}, {part}", ahead)
        window = (left, top - height, left + width, top)
        centre = left - column * across + art.half_across, top + row * along - art.half_along
        _draw(page, art, centre, window)
        _trim(page, window)
        # Register lines, where the next parts' edges will lie.
        if column + 1 < columns:
            x = left + across + LINE_MM / 2
            _seen_line(page, (x, top + 3), (x, top - height - 3))
        if row + 1 < rows:
            y = top - along - LINE_MM / 2
            _seen_line(page, (left - 3, y), (left + width + 3, y))
        yield page


def _seen_line(page: Picture, start: Point, end: Point) -> None:
    """A line that is seen on white and on black; it lies on what the next part covers."""
    page.line(start, end, width=LINE_MM, colour=WHITE)
    page.line(start, end, width=LINE_MM, dash=(3.0, 3.0))


# ------------------------------------------------------------------------------------- beside marks


def rulers(page: Picture, left: float, low: float) -> None:
    """100 mm and 4 in along the bottom and up the left side.

    A printer may scale the way the paper runs and across it differently, so both are there. They
    leave out the corner (left, low) that they share.
    """
    start = RULER_MM + 2.0
    _ruler(page, lambda u, v: (left + start + u, low + MIDDLE_MM + v), turned=False)
    _ruler(page, lambda u, v: (left + MIDDLE_MM - v, low + start + u), turned=True)


def _ruler(page: Picture, place: Callable[[float, float], Point], *, turned: bool) -> None:
    """One ruler: u along it, v across it towards the figures in millimetres."""
    page.line(place(0, 0), place(INCHES_LONG * 25.4, 0), width=0.15)
    for at_mm in range(0, int(MM_LONG) + 1, 5):
        high = 1.8 if at_mm % 50 == 0 else 1.2 if at_mm % 10 == 0 else 0.7
        page.line(place(at_mm, 0), place(at_mm, high), width=0.15)
    for half in range(2 * INCHES_LONG + 1):
        deep = 1.8 if half % 2 == 0 else 0.9
        page.line(place(half * 12.7, 0), place(half * 12.7, -deep), width=0.15)
    for along, text in ((0.0, "0"), (MM_LONG / 2, "50"), (MM_LONG, "100 mm")):
        page.text(*place(along, 2.2), text, anchor="middle", turned=turned)
    for inch, text in ((0, "0"), (2, "2"), (INCHES_LONG, "4 in")):
        page.text(*place(inch * 25.4, -4.9), text, anchor="middle", turned=turned)


def way_arrows(page: Picture, left: float, top: float, ahead: str) -> None:
    """An arrow up for `ahead` and one to the left, in the band of the ruler."""
    foot = left + RULER_MM - 2.0, top - 26.0
    for tip in ((foot[0], top), (left, foot[1])):
        page.line(foot, tip, width=0.5)
        page.polygon(arrowhead(tip, foot, 3.0, 1.4), fill=BLACK)
    page.text(foot[0] - 2.6, foot[1] + 2.0, ahead, turned=True)
    page.text(left, foot[1] - 4.5, "left")

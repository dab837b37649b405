"""Marks true to size on A4, Letter or a roll: several on a page, or one in parts to be joined.

Ahead along the strip is up the page and left is left, as seen from above, whatever the mark.
Where a mark is larger than the paper its parts overlap: each later part is cut on its edge and
laid on the register line of the one before.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from vision.documents.sheets.mark_art import MarkArt, mark_art
from vision.documents.sheets.page import (
    BLACK,
    SMALLEST_PT,
    WHITE,
    Box,
    Page,
    Point,
    clipped,
    fitted,
)
from vision.documents.sheets.paper import LONGEST_MM, MARGIN_MM, Paper
from vision.documents.sheets.ruler import INCHES_LONG, RULER_MM, rulers, way_arrows
from vision.job.job import Job, SingleMark, Strip

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
    ids: tuple[str, ...]
    art: MarkArt
    pages: tuple[Page, ...]
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
        strip = isinstance(each, Strip)
        count = len(each.at_m) if isinstance(each, Strip) else 1
        ids = tuple(f"{each.name}/{i}" for i in range(count)) if strip else (each.name,)
        ahead = "along from 0" if strip else "ahead"
        parts = _parts(art, paper)
        pages = _tiled(ids, art, paper, parts, ahead) if parts != (1, 1) else (
            _gridded(ids, art, paper, ahead))  # fmt: skip
        prints.append(Print(name=each.name, ids=ids, art=art, pages=tuple(pages), parts=parts))
    return tuple(prints)


def pages_of(laid: Strip | SingleMark, paper: Paper) -> int:
    """How many pages its marks take at most, without drawing them."""
    art = mark_art(laid)
    if art is None:
        return 0
    rows, columns = _parts(art, paper)
    return rows * columns * (len(laid.at_m) if isinstance(laid, Strip) else 1)


def _room(paper: Paper) -> tuple[float, float]:
    """Width and height that a page has for marks, beside its rulers."""
    return paper.inner_width_mm - RULER_MM - 2.0, paper.inner_height_mm - RULER_MM


def _parts(art: MarkArt, paper: Paper) -> tuple[int, int]:
    """Rows and columns of parts, each with its overlap within the page."""

    def parts(size: float, room: float) -> int:
        if size <= room + 1e-9:
            return 1
        return math.ceil(size / (room - OVERLAP_MM) - 1e-9)

    width, height = _room(paper)
    return parts(2 * art.half_along, height), parts(2 * art.half_across, width)


def _page(paper: Paper, height: float, label: str, ahead: str) -> tuple[Page, Point]:
    """A page with rulers, arrows and label; and the top left corner of its room for marks.

    `height` is that of the marks, which a roll is cut to.
    """
    least = RULER_MM + 2 + INCHES_LONG * 25.4 + 40
    whole = paper.height_mm or max(height + RULER_MM, least) + 2 * MARGIN_MM
    page = Page(width_mm=paper.width_mm, height_mm=whole, title=label)
    rulers(page, MARGIN_MM, whole - MARGIN_MM)
    way_arrows(page, MARGIN_MM, MARGIN_MM, ahead)
    x = MARGIN_MM + RULER_MM + 2 + INCHES_LONG * 25.4 + 9
    shown = fitted(label, page.width_mm - MARGIN_MM - x, 11, bold=True)
    page.text(x, whole - MARGIN_MM - 6.4, shown, 11, bold=True)
    return page, (MARGIN_MM + RULER_MM + 2.0, MARGIN_MM)


def footed(pages: Sequence[Page], code: str, first: int, total: int) -> None:
    """Write job file and count below every page's label."""
    for number, page in enumerate(pages, start=first):
        x = MARGIN_MM + RULER_MM + 2 + INCHES_LONG * 25.4 + 9
        text = f"job file {code}, page {number} of {total}"
        shown = fitted(text, page.width_mm - MARGIN_MM - x, SMALLEST_PT)
        page.text(x, page.height_mm - MARGIN_MM - 1.4, shown, SMALLEST_PT)


def _gridded(ids: tuple[str, ...], art: MarkArt, paper: Paper, ahead: str) -> Iterator[Page]:
    """As many marks on a page as fit, each with its name below."""
    width, height = 2 * art.half_across, 2 * art.half_along
    room = _room(paper)
    columns = max(1, int((room[0] + GAP_MM) / (width + GAP_MM) + 1e-9))
    pitch = height + LABEL_MM + GAP_MM
    rows = max(1, int((min(room[1], LONGEST_MM) + GAP_MM) / pitch + 1e-9))
    for first in range(0, len(ids), columns * rows):
        group = ids[first : first + columns * rows]
        label = group[0] if len(group) == 1 else f"{group[0]} to {group[-1].rpartition('/')[2]}"
        used = math.ceil(len(group) / columns) * pitch
        page, (left, top) = _page(paper, used, label, ahead)
        for place, mark_id in enumerate(group):
            row, column = divmod(place, columns)
            centre = (left + column * (width + GAP_MM) + width / 2, top + row * pitch + height / 2)
            box = _box_round(centre, art)
            _draw(page, art, centre, box)
            _trim(page, box)
            if columns * rows > 1:
                shown = fitted(mark_id, width, 11, bold=True)
                page.text(centre[0], box.bottom + 4.4, shown, 11, bold=True, anchor="middle")
        yield page


def _box_round(centre: Point, art: MarkArt) -> Box:
    return Box(
        left=centre[0] - art.half_across,
        right=centre[0] + art.half_across,
        top=centre[1] - art.half_along,
        bottom=centre[1] + art.half_along,
    )


def _draw(page: Page, art: MarkArt, centre: Point, window: Box) -> None:
    """The mark round `centre`, as far as it lies in `window`: ahead is up, left is left."""
    if art.ink == "light":
        page.rectangle(window, fill=BLACK)
    fill = BLACK if art.ink == "dark" else WHITE
    for shape in art.inked:
        points = [(centre[0] - q, centre[1] - s) for s, q in shape]
        kept = clipped(points, window)
        if kept:
            page.polygon(kept, fill=fill)


def _trim(page: Page, box: Box) -> None:
    """Where the paper is cut, just outside the mark's own area."""
    page.rectangle(box.grown(LINE_MM / 2), line_mm=LINE_MM, dash_mm=(2.0, 2.0))


def _tiled(
    ids: tuple[str, ...], art: MarkArt, paper: Paper, parts: tuple[int, int], ahead: str
) -> Iterator[Page]:
    """Each mark in rows and columns of parts, from its left ahead corner."""
    rows, columns = parts
    step = 2 * art.half_across / columns, 2 * art.half_along / rows
    for mark_id in ids:
        for row in range(rows):
            for column in range(columns):
                part = f"part {row * columns + column + 1} of {rows * columns}"
                overlap = (
                    OVERLAP_MM if column + 1 < columns else 0.0,
                    OVERLAP_MM if row + 1 < rows else 0.0,
                )
                page, (left, top) = _page(paper, step[1] + overlap[1], f"{mark_id}, {part}", ahead)
                window = Box(
                    left=left, top=top, right=left + step[0] + overlap[0],
                    bottom=top + step[1] + overlap[1],
                )  # fmt: skip
                centre = (
                    left - column * step[0] + art.half_across,
                    top - row * step[1] + art.half_along,
                )
                _draw(page, art, centre, window)
                _register(page, window, step, (row, column), parts)
                yield page


def _register(
    page: Page, window: Box, step: Point, at: tuple[int, int], parts: tuple[int, int]
) -> None:
    """Cut lines on a part's edges, and register lines where the next parts' edges will lie."""
    _trim(page, window)
    half = LINE_MM / 2
    if at[1] + 1 < parts[1]:
        x = window.left + step[0] + half
        _seen_line(page, (x, window.top - 3), (x, window.bottom + 3))
    if at[0] + 1 < parts[0]:
        y = window.top + step[1] + half
        _seen_line(page, (window.left - 3, y), (window.right + 3, y))


def _seen_line(page: Page, start: Point, end: Point) -> None:
    """A line that is seen on white and on black; it lies on what the next part covers."""
    page.line(start, end, line_mm=LINE_MM, grey=WHITE)
    page.line(start, end, line_mm=LINE_MM, dash_mm=(3.0, 3.0))

"""The sheets of one job: pages with the same head and the same cautions, and text that flows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from vision.documents.sheets.page import (
    BLACK,
    LIGHT,
    MM_PER_PT,
    SMALLEST_PT,
    WHITE,
    Anchor,
    Box,
    Page,
    fitted,
    text_width,
    wrapped,
)
from vision.documents.sheets.paper import MARGIN_MM, Paper

BAND_MM = 9.0
UNDER_BAND_MM = 7.0
LINE_SPACING = 1.28

CAUTIONS = (
    (
        "Before",
        "Level ground, away from traffic, cones round the work. Parking brake on, wheels chocked, "
        "keys out and in your pocket. Ladders on firm ground, each held by somebody.",
    ),
    (
        "All the time",
        "Nobody stands between the vehicle and traffic. Nobody is under the vehicle, or behind it "
        "while it can move.",
    ),
    (
        "Until pictures",
        "From the first mark to the last picture: do not move the vehicle, do not change its load.",
    ),
    (
        "Afterwards",
        "Lift all tape and marks. Look round the vehicle with your own eyes before you trust the "
        "display.",
    ),
    (
        "This sheet",
        "is a measuring aid. It certifies nothing and replaces no mirror and no look around. Local "
        "law and the practice of licensed trades come first.",
    ),
)
CAUTION_LEAD_MM = 25.0
STRIPES_MM = 5.0

FEWEST_ROWS = 5
"""A page with fewer rows of a table than this looks lost."""


@dataclass(slots=True, kw_only=True)
class Book:
    """Pages of one job on one paper; `finish` adds heads, cautions and the count of pages."""

    paper: Paper
    job: str
    code: str
    pages: list[Page] = field(default_factory=list)

    def new_page(self, title: str) -> Page:
        """Begin a page."""
        assert self.paper.height_mm is not None
        page = Page(width_mm=self.paper.width_mm, height_mm=self.paper.height_mm, title=title)
        self.pages.append(page)
        return page

    @property
    def inner(self) -> Box:
        """What a page has for its own contents."""
        assert self.paper.height_mm is not None
        foot = self._cautions_height() + 3.0
        return Box(
            left=MARGIN_MM,
            top=MARGIN_MM + BAND_MM + UNDER_BAND_MM + 2.0,
            right=self.paper.width_mm - MARGIN_MM,
            bottom=self.paper.height_mm - MARGIN_MM - foot,
        )

    def finish(self, total: int | None = None) -> list[Page]:
        """Every page, complete; `total` where other pages follow."""
        for number, page in enumerate(self.pages, start=1):
            self._head(page, f"sheet {number} of {total or len(self.pages)}")
            self._cautions(page)
        return self.pages

    def _head(self, page: Page, count: str) -> None:
        left, right = MARGIN_MM, page.width_mm - MARGIN_MM
        top, bottom = MARGIN_MM, MARGIN_MM + BAND_MM
        base = bottom - 2.8
        # The name and the title meet at a seam at 45 degrees, as two views do beside the body.
        name = text_width("seamtrue", 13, bold=True)
        cut = left + name + 12
        page.polygon(((left, top), (cut, top), (cut - BAND_MM, bottom), (left, bottom)), fill=BLACK)
        page.polygon(
            ((cut + 1.6, top), (right, top), (right, bottom), (cut + 1.6 - BAND_MM, bottom)),
            fill=BLACK,
        )
        page.text(left + 2, base, "seamtrue", 13, bold=True, grey=WHITE)
        page.text(right - 2, base, count, 11, bold=True, anchor="end", grey=WHITE)
        room = right - 2 - text_width(count, 11, bold=True) - 5 - (cut + 4)
        page.text(cut + 4, base, fitted(page.title, room, 13, bold=True), 13, bold=True, grey=WHITE)
        below = bottom + UNDER_BAND_MM - 2.2
        code = f"job file {self.code}"
        page.text(right, below, code, SMALLEST_PT, anchor="end")
        room = right - left - text_width(code, SMALLEST_PT) - 6
        page.text(left, below, fitted(self.job, room, 11, bold=True), 11, bold=True)
        page.line((left, bottom + UNDER_BAND_MM), (right, bottom + UNDER_BAND_MM), line_mm=0.2)

    def _caution_lines(self) -> list[tuple[str, list[str]]]:
        width = self.paper.inner_width_mm - STRIPES_MM - 3 - CAUTION_LEAD_MM
        return [(lead, wrapped(text, width, SMALLEST_PT)) for lead, text in CAUTIONS]

    def _cautions_height(self) -> float:
        lines = sum(len(lines) for _, lines in self._caution_lines())
        return lines * SMALLEST_PT * MM_PER_PT * 1.2 + 2.0

    def _cautions(self, page: Page) -> None:
        bottom = page.height_mm - MARGIN_MM
        top = bottom - self._cautions_height()
        left = MARGIN_MM
        _stripes(page, Box(left=left, top=top, right=left + STRIPES_MM, bottom=bottom))
        page.line((left, top), (page.width_mm - MARGIN_MM, top), line_mm=0.4)
        step = SMALLEST_PT * MM_PER_PT * 1.2
        y = top + 1.2
        for lead, lines in self._caution_lines():
            page.text(left + STRIPES_MM + 2.5, y + 0.8 * step, lead, SMALLEST_PT, bold=True)
            for line in lines:
                y += step
                x = left + STRIPES_MM + 2.5 + CAUTION_LEAD_MM
                page.text(x, y - 0.2 * step, line, SMALLEST_PT)


def _stripes(page: Page, box: Box) -> None:
    """A bar of black and white at 45 degrees: it is seen, also on a grey copy."""
    width, y = box.width, box.top
    page.rectangle(box, fill=WHITE, line_mm=0.2)
    while y < box.bottom:
        low = min(y + width, box.bottom)
        page.polygon(
            ((box.left, low), (box.left, min(y + width / 2, box.bottom)),
             (box.right, max(y - width / 2, box.top)), (box.right, min(y, box.bottom))),
            fill=BLACK,
        )  # fmt: skip
        y += width


# --------------------------------------------------------------------------------------------- flow


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a table: its title, width in mm, how its cells are set."""

    title: str
    width: float
    anchor: Anchor = "start"
    size_pt: float = 10.5
    bold: bool = False


TICK = "\0"
"""A cell that holds a box to tick."""


class Flow:
    """Text and tables one below the other, on a new page of the same title when one is full."""

    def __init__(self, book: Book, title: str, page: Page | None = None, box: Box | None = None):
        """Begin on a new page, or in a `box` of a page; later pages are used whole."""
        self.book, self.title = book, title
        self.page = page if page is not None else book.new_page(title)
        self.box = box if box is not None else book.inner
        self.y = self.box.top

    def next_page(self) -> None:
        """Go on at the top of a new page."""
        title = self.title if self.title.endswith("continued") else f"{self.title}, continued"
        self.page, self.box = self.book.new_page(title), self.book.inner
        self.y = self.box.top

    def room(self, height: float) -> None:
        """Make sure of `height` mm on this page, or go to the next."""
        if self.y + height > self.box.bottom and self.y > self.box.top:
            self.next_page()

    def gap(self, height: float) -> None:
        """Leave some space."""
        self.y += height

    def heading(self, text: str, size_pt: float = 13.0, keep: float = 14.0) -> None:
        """A heading, kept on one page with `keep` mm of what follows."""
        step = size_pt * MM_PER_PT * LINE_SPACING
        self.room(step + 2.0 + keep)
        if self.y > self.box.top:
            self.y += 2.0
        self.y += step
        shown = fitted(text, self.box.width, size_pt, bold=True)
        self.page.text(self.box.left, self.y - 0.28 * step, shown, size_pt, bold=True)
        self.y += 0.5

    def paragraph(
        self, text: str, size_pt: float = 10.5, *, indent: float = 0.0, lead: str = "",
        bold: bool = False,
    ) -> None:  # fmt: skip
        """Lines of text; `lead` stands before the first, in the indent."""
        step = size_pt * MM_PER_PT * LINE_SPACING
        lines = wrapped(text, self.box.width - indent, size_pt, bold=bold)
        self.room(step * min(len(lines), 3))
        for index, line in enumerate(lines):
            self.room(step)
            self.y += step
            base = self.y - 0.28 * step
            if index == 0 and lead:
                self.page.text(self.box.left, base, lead, size_pt, bold=True)
            self.page.text(self.box.left + indent, base, line, size_pt, bold=bold)
        self.y += 0.8

    def steps(self, texts: Iterable[str], size_pt: float = 10.5) -> None:
        """A numbered list."""
        for number, text in enumerate(texts, start=1):
            self.paragraph(text, size_pt, indent=7.5, lead=f"{number}")

    def blanks(self, labels: Sequence[tuple[str, str]], label_width: float = 48.0) -> None:
        """Labels with what is known of them, or a line to fill in."""
        for label, value in labels:
            self.room(9.0)
            self.y += 7.5
            self.page.text(self.box.left, self.y, label, 10.5, bold=True)
            x = self.box.left + label_width
            if value:
                self.page.text(x, self.y, fitted(value, self.box.right - x, 10.5), 10.5)
            else:
                self.page.line((x, self.y + 0.8), (self.box.right, self.y + 0.8), line_mm=0.3)
        self.y += 2.0

    def table(
        self, columns: Sequence[Column], rows: Sequence[Sequence[str]], row_mm: float = 0.0
    ) -> None:
        """A table; its head is repeated on every page. Cells are wrapped."""
        cells = [[_cell(c, text) for c, text in zip(columns, row, strict=True)] for row in rows]
        heights = [
            max(row_mm, *(_height(c, lines) for c, lines in zip(columns, row, strict=True)))
            for row in cells
        ]
        right = self.box.left + sum(column.width for column in columns)
        done = 0
        while done < len(cells):
            self._table_head(columns)
            for index in range(done, done + self._fit(heights[done:])):
                self._row(columns, cells[index], heights[index])
                heavy = (index + 1) % 5 == 0 and len(rows) > 6
                line_mm = 0.45 if heavy else 0.15
                self.page.line((self.box.left, self.y), (right, self.y), line_mm=line_mm)
                done = index + 1
            if done < len(cells):
                self.next_page()
        self.y += 2.0

    def _fit(self, heights: Sequence[float]) -> int:
        """How many rows to set on this page: at least one, and no few left over for the next."""
        fit, y = 0, self.y
        for height in heights:
            y += height
            if y > self.box.bottom:
                break
            fit += 1
        left = len(heights) - fit
        if 0 < left < FEWEST_ROWS and fit > 2 * FEWEST_ROWS:
            fit -= FEWEST_ROWS - left
        return max(1, fit)

    def _table_head(self, columns: Sequence[Column]) -> None:
        cells = [
            wrapped(column.title, column.width - 2.5, SMALLEST_PT, bold=True) for column in columns
        ]
        height = max(len(lines) for lines in cells) * SMALLEST_PT * MM_PER_PT * LINE_SPACING + 2.0
        self.room(height + 12.0)
        right = self.box.left + sum(column.width for column in columns)
        self.page.rectangle(
            Box(left=self.box.left, top=self.y, right=right, bottom=self.y + height), fill=LIGHT
        )
        head = [
            Column(title=c.title, width=c.width, anchor=c.anchor, size_pt=SMALLEST_PT, bold=True)
            for c in columns
        ]
        self._row(head, cells, height)

    def _row(
        self, columns: Sequence[Column], cells: Sequence[Sequence[str]], height: float
    ) -> None:
        x = self.box.left
        for column, lines in zip(columns, cells, strict=True):
            step = column.size_pt * MM_PER_PT * LINE_SPACING
            at = {"start": x + 1.0, "middle": x + column.width / 2, "end": x + column.width - 1.5}
            y = self.y + (height - step * len(lines)) / 2
            for line in lines:
                y += step
                if line == TICK:
                    side = min(4.5, height - 1.6)
                    middle = self.y + height / 2
                    left = x + column.width / 2 - side / 2
                    self.page.rectangle(
                        Box(left=left, top=middle - side / 2, right=left + side,
                            bottom=middle + side / 2), line_mm=0.3,
                    )  # fmt: skip
                else:
                    self.page.text(at[column.anchor], y - 0.28 * step, line, column.size_pt,
                                   bold=column.bold, anchor=column.anchor)  # fmt: skip
            x += column.width
        self.y += height


def _cell(column: Column, text: str) -> list[str]:
    if text == TICK:
        return [TICK]
    return wrapped(text, column.width - 2.5, column.size_pt, bold=column.bold)


def _height(column: Column, lines: Sequence[str]) -> float:
    return len(lines) * column.size_pt * MM_PER_PT * LINE_SPACING + 1.4

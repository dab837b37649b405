"""Text, lists and tables that flow, as ReportLab sets them, and the page that they flow on."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.graphics.shapes import PolyLine, Rect, String
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.textobject import PDFTextObject
from reportlab.platypus import CondPageBreak, Flowable, Paragraph, Spacer, Table

from vision.documents.sheets.drawing import FONTS, LIGHT, SMALLEST_PT, Anchor, Picture, printable

LINE_SPACING = 1.28
TEXT_PT, CELL_PT = 10.5, 10.5
ALIGNMENTS = {"start": 0, "middle": 1, "end": 2}
FEWEST_ROWS = 5
"""A page with fewer rows of a table than this looks lost."""
TICK_MM = 4.5
SIDES = ("LEFT", "RIGHT", "TOP", "BOTTOM")


class PageCanvas(Canvas):  # type: ignore[misc]
    """Keeps what flowables draw as shapes, page by page, instead of writing a PDF.

    It knows what plain paragraphs and tables draw: texts in one font, straight lines, boxes.
    """

    def __init__(self) -> None:
        super().__init__(io.BytesIO())
        self.pages: list[Picture] = []
        self.begin_page()

    def begin_page(self) -> None:
        """Begin a page of the size that is set."""
        width, height = self._pagesize
        self.page = Picture(width / mm, height / mm)

    def setPageSize(self, size: tuple[float, float]) -> None:
        """Set the size of the page that begins."""
        super().setPageSize(size)
        if hasattr(self, "pages"):
            self.begin_page()

    def showPage(self) -> None:
        """End a page."""
        self.pages.append(self.page)
        self._startPage()
        self.begin_page()

    def save(self) -> None:
        """Do nothing: the pages are what is wanted."""

    def beginText(self, x: float = 0, y: float = 0, direction: object = None) -> _Text:
        """Begin texts that are kept."""
        return _Text(self, x, y, direction=direction)

    def line(self, x1: float, y1: float, x2: float, y2: float) -> None:
        """Keep a line."""
        ends = [*self.absolutePosition(x1, y1), *self.absolutePosition(x2, y2)]
        self.page.add(PolyLine(ends, strokeColor=self._strokeColorObj, strokeWidth=self._lineWidth))

    def rect(
        self, x: float, y: float, width: float, height: float, stroke: int = 1, fill: int = 0
    ) -> None:
        """Keep a filled rectangle."""
        x, y = self.absolutePosition(x, y)
        self.page.add(Rect(x, y, width, height, fillColor=self._fillColorObj, strokeColor=None))


class _Text(PDFTextObject):  # type: ignore[misc]
    """Keeps lines of text where a reader of the PDF would have them."""

    def _textOut(self, text: str, TStar: int = 0) -> None:
        self.textOut(text)
        if TStar:
            # On to the next line, which ReportLab leaves to the reader.
            self._y -= self._leading
            self._y0 = self._y

    def textOut(self, text: str) -> None:
        """Keep a text."""
        x, y = self._canvas.absolutePosition(self._x, self._y)
        font = {"fontName": self._fontname, "fontSize": self._fontsize}
        self._canvas.page.add(String(x, y, text, **font))


# ------------------------------------------------------------------------------------------- pieces


def style(
    size_pt: float = TEXT_PT, *, bold: bool = False, anchor: Anchor = "start",
    indent: float = 0.0, after: float = 0.8,
) -> ParagraphStyle:  # fmt: skip
    """How a paragraph is set; lengths in mm."""
    return ParagraphStyle(
        "", fontName=FONTS[bold], fontSize=size_pt, leading=size_pt * LINE_SPACING,
        alignment=ALIGNMENTS[anchor], leftIndent=indent * mm, spaceAfter=after * mm,
        bulletFontName=FONTS[True], bulletFontSize=size_pt, spaceShrinkage=0,
    )  # fmt: skip


def paragraph(text: str, size_pt: float = TEXT_PT, *, lead: str = "", **how: Any) -> Paragraph:
    """Plain text, whatever it holds; `lead` stands before it, in the indent."""
    set_so = style(size_pt, **how)
    # A paragraph that is given no mark-up to read keeps `<` and `&` as they are.
    (plain,) = Paragraph("x", set_so).frags
    return Paragraph("", set_so, bulletText=lead or None, frags=[plain.clone(text=printable(text))])


def heading(text: str, size_pt: float = 13.0, keep: float = 24.0) -> list[Flowable]:
    """A heading, kept on one page with `keep` mm of what follows."""
    return [
        CondPageBreak(keep * mm), Spacer(0, 2.0 * mm),
        paragraph(text, size_pt, bold=True, after=0.5),
    ]  # fmt: skip


def steps(texts: Iterable[str], size_pt: float = TEXT_PT) -> list[Flowable]:
    """A numbered list."""
    return [
        paragraph(text, size_pt, indent=7.5, lead=f"{number}")
        for number, text in enumerate(texts, start=1)
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a table: its title, width in mm, how its cells are set."""

    title: str
    width: float
    anchor: Anchor = "start"
    size_pt: float = CELL_PT
    bold: bool = False


TICK = "\0"
"""A cell that holds a box to tick."""


def table(columns: Sequence[Column], rows: Sequence[Sequence[str]], row_mm: float = 0.0) -> Table:
    """A table; its head is repeated on every page. Cells are wrapped."""
    head = [
        paragraph(column.title, SMALLEST_PT, bold=True, anchor=column.anchor, after=0)
        for column in columns
    ]
    cells = [[_cell(c, text) for c, text in zip(columns, row, strict=True)] for row in rows]
    last = len(rows)
    return Table(
        [head, *cells],
        colWidths=[column.width * mm for column in columns],
        minRowHeights=[0.0, *[row_mm * mm] * last],
        repeatRows=1,
        hAlign="LEFT",
        spaceAfter=2.0 * mm,
        style=[
            ("BACKGROUND", (0, 0), (-1, 0), LIGHT),
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ("LEFTPADDING", (0, 0), (-1, -1), 1.0 * mm),
            ("RIGHTPADDING", (0, 0), (-1, -1), 1.5 * mm),
            ("TOPPADDING", (0, 0), (-1, -1), 0.6 * mm),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 0.8 * mm),
            ("LINEBELOW", (0, 1), (-1, -1), 0.15 * mm, "black"),
            *(
                ("LINEBELOW", (0, row), (-1, row), 0.45 * mm, "black")
                for row in range(5, last + 1, 5)
                if last > 6
            ),
            *(
                ("ALIGN", (index, 1), (index, -1), "CENTER")
                for index, column in enumerate(columns)
                if column.anchor == "middle"
            ),
            ("NOSPLIT", (0, 0), (-1, min(2, last))),
            ("NOSPLIT", (0, max(1, last - FEWEST_ROWS + 1)), (-1, last)),
        ],
    )


def _cell(column: Column, text: str) -> Flowable | list[Flowable]:
    if text != TICK:
        how: dict[str, Any] = {"bold": column.bold, "anchor": column.anchor, "after": 0}
        return [paragraph(line, column.size_pt, **how) for line in text.split("\n")]
    box = Picture(TICK_MM, TICK_MM)
    box.box((0, 0, TICK_MM, TICK_MM), width=0.3)
    return box


def side_by_side(left: Sequence[Flowable], right: Flowable, widths: tuple[float, float]) -> Table:
    """Text with a drawing at its right."""
    return layout([[list(left), right]], widths)


def layout(
    rows: Sequence[Sequence[Any]], widths: Sequence[float], extra: Sequence[tuple[Any, ...]] = ()
) -> Table:
    """A table without lines, to set things beside each other."""
    return Table(
        rows,
        colWidths=[width * mm for width in widths],
        hAlign="LEFT",
        style=[
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            *((f"{side}PADDING", (0, 0), (-1, -1), 0) for side in SIDES),
            *extra,
        ],
    )  # fmt: skip

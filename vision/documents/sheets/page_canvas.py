"""The page that ReportLab's flowing text and tables are drawn on: shapes instead of a PDF."""

from __future__ import annotations

import io

from reportlab.graphics.shapes import PolyLine, Rect, String
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.textobject import PDFTextObject

from vision.documents.sheets.drawing import Picture


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

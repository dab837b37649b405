"""Pages as files: a PDF, on request an SVG of each, true to size and the same bytes every time."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

from reportlab.graphics import renderPDF, renderSVG
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from vision import __version__
from vision.documents.sheets.drawing import FONTS, Picture

SVG_FONTS = {
    name: {"family": "Helvetica, Arial, 'Liberation Sans', sans-serif",
           "weight": "bold" if bold else "normal"}
    for bold, name in FONTS.items()
}  # fmt: skip
"""A browser knows a bold font by its weight."""


def documents(
    name: str, pages: Sequence[Picture], title: str, *, svg: bool = False
) -> dict[str, bytes]:
    """Files by name: one PDF, and with `svg` one of those for every page."""
    files = {f"{name}.pdf": pdf_bytes(pages, title)}
    for number, page in enumerate(pages if svg else (), start=1):
        files[f"{name}-{number}.svg"] = svg_text(page, f"{title}, {number}").encode()
    return files


def job_code(job_text: bytes, others: Mapping[str, bytes] = MappingProxyType({})) -> str:
    """Six letters and digits that tell one job file from another, on every sheet.

    `others` are the texts of the files that it names, which say where marks lie as much as it does.
    """
    digest = hashlib.sha256(job_text)
    for name in sorted(others):
        digest.update(others[name])
    return digest.hexdigest()[:6]


def pdf_bytes(pages: Iterable[Picture], title: str) -> bytes:
    """One PDF of all pages; a reader is told to print it without scaling."""
    buffer = io.BytesIO()
    # Invariant: no date and no random identifier, so that equal jobs give equal files.
    canvas = Canvas(buffer, invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setAuthor("")
    canvas.setSubject("a measuring aid, certifies nothing")
    canvas.setCreator(f"seamtrue {__version__}")
    canvas.setViewerPreference("PrintScaling", "None")
    for page in pages:
        canvas.setPageSize((page.width, page.height))
        renderPDF.draw(page, canvas, 0, 0)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


class _ExactSvg(renderSVG.SVGCanvas):  # type: ignore[misc]
    """ReportLab's SVG, true to size: on its own it cuts heights to whole points."""

    def __init__(self, page: Picture, title: str) -> None:
        width, height = page.width, page.height
        size = {"width": f"{width / mm:g}mm", "height": f"{height / mm:g}mm"}
        size["viewBox"] = f"0 0 {width:g} {height:g}"
        super().__init__((width, height), fontHacks=SVG_FONTS, svgAttrs=size)
        self.groupTree.setAttribute("transform", f"matrix(1,0,0,-1,0,{height:g})")
        self.svg.getElementsByTagName("title")[0].firstChild.data = title
        self.svg.removeChild(self.svg.getElementsByTagName("desc")[0])

    def drawString(self, text: str, x: float, y: float, **how: object) -> None:
        """Write a text; another font keeps the width that the page was laid out for."""
        super().drawString(text, x, y, **how)
        written = self.currGroup.lastChild
        written.setAttribute("transform", f"matrix(1,0,0,-1,0,{2 * y:.4f})")
        written.setAttribute("textLength", f"{stringWidth(text, self._font, self._fontSize):.4f}")
        written.setAttribute("lengthAdjust", "spacingAndGlyphs")

    def polyLine(self, points: Sequence[tuple[float, float]]) -> None:
        """Draw a line, unfilled in a word that every reader knows."""
        super().polyLine(points)
        drawn = self.currGroup.lastChild
        drawn.setAttribute("style", drawn.getAttribute("style").replace("None", "none"))


def svg_text(page: Picture, title: str) -> str:
    """One page as SVG, its size in mm and a user unit a point."""
    canvas, out = _ExactSvg(page, title), io.StringIO()
    renderSVG.draw(page, canvas)
    canvas.save(out)
    return out.getvalue()

"""Pages as PDF and as SVG, true to size and the same bytes every time."""

from __future__ import annotations

import io
from collections.abc import Iterable
from xml.etree import ElementTree

from reportlab.pdfgen.canvas import Canvas

from vision import __version__
from vision.documents.sheets.page import FONTS, MM_PER_PT, Disc, Page, Shape, Text

SVG_FONTS = "Helvetica, Arial, 'Liberation Sans', sans-serif"


def pdf_bytes(pages: Iterable[Page], title: str) -> bytes:
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
        canvas.setPageSize((page.width_mm / MM_PER_PT, page.height_mm / MM_PER_PT))
        # Millimetres, y down, as the pages have it.
        canvas.translate(0, page.height_mm / MM_PER_PT)
        canvas.scale(1 / MM_PER_PT, -1 / MM_PER_PT)
        canvas.setLineJoin(0)
        for item in page.items:
            _draw(canvas, item)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _draw(canvas: Canvas, item: Text | Shape | Disc) -> None:
    match item:
        case Text():
            _write(canvas, item)
        case Shape():
            path = canvas.beginPath()
            path.moveTo(*item.points[0])
            for point in item.points[1:]:
                path.lineTo(*point)
            if item.closed:
                path.close()
            canvas.setDash(list(item.dash_mm))
            canvas.setLineWidth(item.line_mm)
            canvas.setStrokeGray(item.grey)
            if item.fill is not None:
                canvas.setFillGray(item.fill)
            canvas.drawPath(path, stroke=int(item.line_mm > 0), fill=int(item.fill is not None))
        case Disc():
            canvas.setDash([])
            canvas.setLineWidth(item.line_mm)
            canvas.setStrokeGray(0)
            canvas.setFillGray(item.fill)
            canvas.circle(item.x, item.y, item.radius, stroke=int(item.line_mm > 0), fill=1)


def _write(canvas: Canvas, item: Text) -> None:
    canvas.saveState()
    canvas.translate(item.x, item.y)
    if item.turned:
        canvas.rotate(-90)
    canvas.scale(1, -1)
    canvas.setFillGray(item.grey)
    canvas.setFont(FONTS[item.bold], item.size_pt * MM_PER_PT)
    back = {"start": 0.0, "middle": 0.5, "end": 1.0}[item.anchor] * item.width
    canvas.drawString(-back, 0, item.text)
    canvas.restoreState()


def svg_text(page: Page, title: str) -> str:
    """One page as SVG: its size in mm, one user unit a millimetre."""
    size = {"width": f"{_number(page.width_mm)}mm", "height": f"{_number(page.height_mm)}mm"}
    view = f"0 0 {_number(page.width_mm)} {_number(page.height_mm)}"
    root = ElementTree.Element(
        "svg", {"xmlns": "http://www.w3.org/2000/svg", **size, "viewBox": view}
    )
    ElementTree.SubElement(root, "title").text = title
    white = {"width": "100%", "height": "100%", "fill": "#fff"}
    ElementTree.SubElement(root, "rect", white)
    for item in page.items:
        _append(root, item)
    return ElementTree.tostring(root, encoding="unicode") + "\n"


def _append(root: ElementTree.Element, item: Text | Shape | Disc) -> None:
    match item:
        case Text():
            place = {"x": _number(item.x), "y": _number(item.y), "fill": _grey(item.grey)}
            if item.turned:
                place["transform"] = f"rotate(-90 {place['x']} {place['y']})"
            element = ElementTree.SubElement(
                root,
                "text",
                place
                | {
                    "font-family": SVG_FONTS,
                    "font-size": _number(item.size_pt * MM_PER_PT),
                    "font-weight": "bold" if item.bold else "normal",
                    "text-anchor": item.anchor,
                    # Another font keeps the width that the page was laid out for.
                    "textLength": _number(item.width),
                    "lengthAdjust": "spacingAndGlyphs",
                },
            )
            element.text = item.text
        case Shape():
            points = " ".join(f"{_number(x)},{_number(y)}" for x, y in item.points)
            kind = "polygon" if item.closed else "polyline"
            ElementTree.SubElement(root, kind, {"points": points, **_paint(item)})
        case Disc():
            ElementTree.SubElement(
                root,
                "circle",
                {
                    "cx": _number(item.x),
                    "cy": _number(item.y),
                    "r": _number(item.radius),
                    "fill": _grey(item.fill),
                    "stroke": "#000" if item.line_mm else "none",
                    "stroke-width": _number(item.line_mm),
                },
            )


def _paint(item: Shape) -> dict[str, str]:
    paint = {"fill": "none" if item.fill is None else _grey(item.fill)}
    if item.line_mm:
        paint |= {"stroke": _grey(item.grey), "stroke-width": _number(item.line_mm)}
    if item.dash_mm:
        paint["stroke-dasharray"] = " ".join(_number(each) for each in item.dash_mm)
    return paint


def _grey(level: float) -> str:
    return f"#{round(level * 255):02x}" + f"{round(level * 255):02x}" * 2


def _number(value: float) -> str:
    """A micrometre is finer than any printer; no negative zero."""
    return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")

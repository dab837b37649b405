"""Drawings in millimetres, of ReportLab's shapes, and the text that its fonts can print.

A `Picture` is a page, or a drawing that flows with the text of one. PDF and SVG are made of the
same shapes (`vision.documents.sheets.printed`).
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Sequence
from typing import Literal

from reportlab.graphics.shapes import Circle, Drawing, Group, Polygon, PolyLine, String, translate
from reportlab.lib.colors import Color
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

FONTS = {False: "Helvetica", True: "Helvetica-Bold"}
"""Fonts that every reader has, and whose widths every substitute keeps."""

SMALLEST_PT = 9.0
"""Legible at arm's length; common practice, no source."""

ASCENT, DESCENT = 0.74, 0.22
"""Height of capitals with accents and depth of descenders, in text sizes (Helvetica's bounding
box of the letters in use)."""

BLACK, GREY, LIGHT, WHITE = (Color(level, level, level) for level in (0.0, 0.45, 0.85, 1.0))
CHAIN_DOTTED = (5.0, 1.2, 0.8, 1.2)
Point = tuple[float, float]
Bounds = tuple[float, float, float, float]
"""Left, bottom, right and top, in mm."""
Anchor = Literal["start", "middle", "end"]


class Picture(Drawing):  # type: ignore[misc]
    """A drawing in mm: x to the right, y up from the lower left corner; the last lies on top."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        super().__init__(width_mm * mm, height_mm * mm)

    def line(
        self, *points: Point, width: float = 0.25, dash: Sequence[float] = (), colour: Color = BLACK
    ) -> None:
        """Draw a line through points."""
        self.add(PolyLine(_flat(points), **_stroke(width, dash, colour)))

    def polygon(
        self, points: Iterable[Point], *, fill: Color | None = None, width: float = 0.0,
        dash: Sequence[float] = (),
    ) -> None:  # fmt: skip
        """Draw a closed shape, filled or not, with a black line round it or none."""
        self.add(Polygon(_flat(points), fillColor=fill, **_stroke(width, dash, BLACK)))

    def box(
        self, bounds: Bounds, *, fill: Color | None = None, width: float = 0.0,
        dash: Sequence[float] = (),
    ) -> None:  # fmt: skip
        """Draw a rectangle along the page's edges."""
        left, low, right, top = bounds
        corners = (left, low), (right, low), (right, top), (left, top)
        self.polygon(corners, fill=fill, width=width, dash=dash)

    def disc(self, at: Point, radius: float, *, fill: Color = WHITE, width: float = 0.0) -> None:
        """Draw a circle."""
        x, y = at
        self.add(Circle(x * mm, y * mm, radius * mm, fillColor=fill, **_stroke(width, (), BLACK)))

    def text(
        self, x: float, y: float, text: str, size_pt: float = SMALLEST_PT, *, bold: bool = False,
        anchor: Anchor = "start", colour: Color = BLACK, turned: bool = False,
    ) -> None:  # fmt: skip
        """Write a line from, round or up to (x, y), with what the font lacks replaced.

        `turned`, it reads upward.
        """
        back = _back(text, size_pt, anchor, bold=bold)
        start = (-back * mm, 0) if turned else ((x - back) * mm, y * mm)
        font = {"fontName": FONTS[bold], "fontSize": size_pt, "fillColor": colour}
        string = String(*start, printable(text), **font)
        self.add(Group(string, transform=(0, 1, -1, 0, x * mm, y * mm)) if turned else string)

    def draw(self) -> None:
        """Add the shapes to the page that text and drawings flow on."""
        moved = translate(*self.canv.absolutePosition(0, 0))
        self.canv.page.add(Group(*self.contents, transform=moved))


def text_box(
    x: float, y: float, text: str, size_pt: float = SMALLEST_PT, anchor: Anchor = "start"
) -> Bounds:
    """What an upright line of text takes up."""
    left, size = x - _back(text, size_pt, anchor), size_pt / mm
    return left, y - DESCENT * size, left + text_width(text, size_pt), y + ASCENT * size


def _back(text: str, size_pt: float, anchor: Anchor, *, bold: bool = False) -> float:
    """How far before its anchor a text begins."""
    share = {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
    return share * text_width(text, size_pt, bold=bold)


def meet(a: Bounds, b: Bounds, air: float = 0.0) -> bool:
    """Whether two boxes come closer than `air`."""
    return (
        a[0] < b[2] + air and b[0] < a[2] + air and a[1] < b[3] + air and b[1] < a[3] + air
    )  # fmt: skip


def arrowhead(tip: Point, towards: Point, long: float, half: float) -> tuple[Point, ...]:
    """The corners of an arrowhead; `towards` is where its shaft comes from."""
    length = max(math.dist(tip, towards), 1e-9)
    x, y = (towards[0] - tip[0]) / length, (towards[1] - tip[1]) / length
    back = tip[0] + long * x, tip[1] + long * y
    return tip, (back[0] - half * y, back[1] + half * x), (back[0] + half * y, back[1] - half * x)


def _flat(points: Iterable[Point]) -> list[float]:
    return [float(each) * mm for point in points for each in point]


def _stroke(width: float, dash: Sequence[float], colour: Color) -> dict[str, object]:
    return {
        "strokeColor": colour if width else None,
        "strokeWidth": width * mm,
        "strokeDashArray": [each * mm for each in dash] or None,
    }


# --------------------------------------------------------------------------------------------- text


def text_width(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Length of a line of text in mm."""
    return float(stringWidth(printable(text), FONTS[bold], size_pt) / mm)


def printable(text: str) -> str:
    """`text` with what the font lacks put plainly: accents dropped, other scripts as `?`."""

    def plain(character: str) -> str:
        if character.isprintable() and _in_font(character):
            return character
        bare = "".join(c for c in unicodedata.normalize("NFKD", character) if _in_font(c))
        return bare if bare.isprintable() and bare else "?"

    return "".join(map(plain, text))


def _in_font(text: str) -> bool:
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


def fitted(text: str, width: float, size_pt: float, *, bold: bool = False) -> str:
    """`text`, or its beginning with an ellipsis where it is longer than `width` mm."""
    text = printable(text)
    if text_width(text, size_pt, bold=bold) <= width:
        return text
    while text and text_width(text + "\u2026", size_pt, bold=bold) > width:
        text = text[:-1]
    return text.rstrip() + "\u2026"


def clipped(points: Sequence[Point], window: Bounds) -> tuple[Point, ...]:
    """The part of a convex shape within `window`; empty where there is none.

    Sutherland and Hodgman, one edge of the window after the other.
    """
    kept = list(points)
    for edge, limit in enumerate(window):
        axis, sign = edge % 2, 1 if edge < 2 else -1
        before, kept = kept, []
        for a, b in zip(before, before[1:] + before[:1], strict=True):
            inside = [sign * (each[axis] - limit) >= 0 for each in (a, b)]
            if inside[0]:
                kept.append(a)
            if inside[0] != inside[1]:
                share = (limit - a[axis]) / (b[axis] - a[axis])
                kept.append((a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))
    return tuple(kept) if len(kept) > 2 else ()

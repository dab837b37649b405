"""A page as a list of what is drawn on it, before it becomes PDF or SVG.

Page coordinates are millimetres, x to the right and y down, from the top left corner. One list
serves both files and the tests, which look for texts that overlap.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from reportlab.pdfbase.pdfmetrics import stringWidth

MM_PER_PT = 25.4 / 72
FONTS = {False: "Helvetica", True: "Helvetica-Bold"}
"""Fonts that every reader has, and whose widths every substitute keeps."""

SMALLEST_PT = 9.0
"""Legible at arm's length; common practice, no source."""

ASCENT, DESCENT = 0.74, 0.22
"""Height of capitals with accents and depth of descenders, in text sizes (Helvetica's bounding
box of the letters in use)."""

BLACK, GREY, LIGHT, WHITE = 0.0, 0.45, 0.85, 1.0
Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle by its edges; y grows downward."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """From left to right."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """From top to bottom."""
        return self.bottom - self.top

    def grown(self, by: float) -> Box:
        """Larger by `by` on every side."""
        return Box(
            left=self.left - by, top=self.top - by, right=self.right + by, bottom=self.bottom + by
        )

    def overlaps(self, other: Box) -> bool:
        """Whether the two share any area."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def holds(self, other: Box) -> bool:
        """Whether `other` lies within."""
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.top <= other.top
            and other.bottom <= self.bottom
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A line of text; (x, y) is where its baseline begins, is centred or ends.

    `turned`: it reads upward, as a label beside a tall drawing does.
    """

    x: float
    y: float
    text: str
    size_pt: float
    bold: bool = False
    anchor: Anchor = "start"
    grey: float = BLACK
    turned: bool = False

    @property
    def width(self) -> float:
        """Length of the text in mm."""
        return text_width(self.text, self.size_pt, bold=self.bold)

    @property
    def box(self) -> Box:
        """What the text covers."""
        size = self.size_pt * MM_PER_PT
        back = {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * self.width
        if self.turned:
            return Box(
                left=self.x - ASCENT * size,
                right=self.x + DESCENT * size,
                top=self.y + back - self.width,
                bottom=self.y + back,
            )
        return Box(
            left=self.x - back,
            right=self.x - back + self.width,
            top=self.y - ASCENT * size,
            bottom=self.y + DESCENT * size,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """Straight lines through `points`: open or closed, filled with a grey or not, drawn or not."""

    points: tuple[Point, ...]
    closed: bool = False
    line_mm: float = 0.0
    dash_mm: tuple[float, ...] = ()
    fill: float | None = None
    grey: float = BLACK


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A circle, filled with a grey or white, with a line round it or none."""

    x: float
    y: float
    radius: float
    fill: float = WHITE
    line_mm: float = 0.0


@dataclass(slots=True, kw_only=True)
class Page:
    """One page under construction; what is added last lies on top."""

    width_mm: float
    height_mm: float
    title: str = ""
    items: list[Text | Shape | Disc] = field(default_factory=list)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size_pt: float = 10.0,
        *,
        bold: bool = False,
        anchor: Anchor = "start",
        grey: float = BLACK,
        turned: bool = False,
    ) -> Text:
        """Write one line of text, with what the font lacks replaced."""
        item = Text(
            x=x, y=y, text=printable(text), size_pt=size_pt, bold=bold, anchor=anchor, grey=grey,
            turned=turned,
        )  # fmt: skip
        self.items.append(item)
        return item

    def line(
        self, *points: Point, line_mm: float = 0.25, dash_mm: tuple[float, ...] = (),
        grey: float = BLACK,
    ) -> None:  # fmt: skip
        """Draw a line through points."""
        self.items.append(Shape(points=points, line_mm=line_mm, dash_mm=dash_mm, grey=grey))

    def polygon(
        self,
        points: Iterable[Point],
        *,
        fill: float | None = None,
        line_mm: float = 0.0,
        dash_mm: tuple[float, ...] = (),
    ) -> None:
        """Draw a closed shape."""
        self.items.append(
            Shape(points=tuple(points), closed=True, fill=fill, line_mm=line_mm, dash_mm=dash_mm)
        )

    def rectangle(
        self, box: Box, *, fill: float | None = None, line_mm: float = 0.0,
        dash_mm: tuple[float, ...] = (),
    ) -> None:  # fmt: skip
        """Draw a rectangle along the page's edges."""
        corners = (box.left, box.top), (box.right, box.top), (box.right, box.bottom)
        self.polygon((*corners, (box.left, box.bottom)), fill=fill, line_mm=line_mm,
                     dash_mm=dash_mm)  # fmt: skip

    def disc(
        self, x: float, y: float, radius: float, *, fill: float = WHITE, line_mm: float = 0.0
    ) -> None:
        """Draw a circle."""
        self.items.append(Disc(x=x, y=y, radius=radius, fill=fill, line_mm=line_mm))

    @property
    def texts(self) -> list[Text]:
        """Every text on the page."""
        return [item for item in self.items if isinstance(item, Text) and item.text]


def text_width(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Length of a line of text in mm."""
    return float(stringWidth(printable(text), FONTS[bold], size_pt)) * MM_PER_PT


def printable(text: str) -> str:
    """`text` with what the font lacks put plainly: accents dropped, other scripts as `?`."""

    def plain(character: str) -> str:
        if character.isprintable() and _in_font(character):
            return character
        bare = "".join(c for c in unicodedata.normalize("NFKD", character) if _in_font(c))
        return bare if bare.isprintable() and bare else "?"

    if text.isprintable() and _in_font(text):
        return text
    return "".join(plain(character) for character in text)


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


def wrapped(text: str, width: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """`text` in lines of at most `width` mm, broken at blanks; a longer word is cut."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size_pt, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(fitted(word, width, size_pt, bold=bold))
    return lines or [""]


def clipped(points: Sequence[Point], box: Box) -> tuple[Point, ...]:
    """The part of a convex shape within `box`; empty where there is none.

    Sutherland and Hodgman, one edge of the box after the other.
    """
    edges = ((0, 1, box.left), (0, -1, box.right), (1, 1, box.top), (1, -1, box.bottom))
    kept = list(points)
    for axis, sign, limit in edges:
        before, kept = kept, []
        for a, b in zip(before, before[1:] + before[:1], strict=True):
            inside = [sign * (each[axis] - limit) >= 0 for each in (a, b)]
            if inside[0]:
                kept.append(a)
            if inside[0] != inside[1]:
                share = (limit - a[axis]) / (b[axis] - a[axis])
                kept.append((a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))
    return tuple(kept) if len(kept) > 2 else ()

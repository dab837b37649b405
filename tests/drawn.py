"""What stands on a printed page, read from its shapes: texts with their boxes, lines and discs.

In millimetres, x to the right and y down from the upper left corner, groups resolved.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from reportlab.graphics.shapes import Circle, Group, Polygon, PolyLine, Rect, String, mmult
from reportlab.lib.colors import Color, toColor
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

from vision.documents.sheets.drawing import ASCENT, DESCENT, Picture

Point = tuple[float, float]


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
    """A line of text; (x, y) is where its baseline begins. `turned`: it reads upward."""

    x: float
    y: float
    text: str
    size_pt: float
    bold: bool
    grey: float
    turned: bool

    @property
    def box(self) -> Box:
        """What the text covers."""
        size = self.size_pt / mm
        width = stringWidth(self.text, f"Helvetica{'-Bold' * self.bold}", self.size_pt) / mm
        up, down = ASCENT * size, DESCENT * size
        if self.turned:
            return Box(left=self.x - up, right=self.x + down, top=self.y - width, bottom=self.y)
        return Box(left=self.x, right=self.x + width, top=self.y - up, bottom=self.y + down)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """Straight lines through `points`: open or closed, filled with a grey or not, drawn or not."""

    points: tuple[Point, ...]
    closed: bool
    line_mm: float
    dash_mm: tuple[float, ...]
    fill: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A filled circle."""

    x: float
    y: float
    radius: float
    fill: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Everything on a page, in the order in which it is drawn."""

    width_mm: float
    height_mm: float
    items: tuple[Text | Shape | Disc, ...]

    @property
    def texts(self) -> list[Text]:
        """Every text, as it was written: wrapped ones line by line."""
        return [item for item in self.items if isinstance(item, Text)]

    @property
    def words(self) -> str:
        """All that is written, in the order in which it was."""
        return " ".join(text.text for text in self.texts)

    @property
    def title(self) -> str:
        """What the head calls it."""
        return self.texts[1].text if self.texts[0].text == "seamtrue" else ""


def drawn(picture: Picture) -> Page:
    """Read a page."""
    height = picture.height / mm
    items = _items(picture.contents, (1, 0, 0, 1, 0, 0), height)
    return Page(width_mm=picture.width / mm, height_mm=height, items=tuple(items))


def _items(
    nodes: Sequence[object], matrix: tuple[float, ...], height: float
) -> Iterator[Text | Shape | Disc]:
    def at(x: float, y: float) -> Point:
        a, b, c, d, e, f = matrix
        return (a * x + c * y + e) / mm, height - (b * x + d * y + f) / mm

    for node in nodes:
        match node:
            case Group():
                yield from _items(node.contents, mmult(matrix, node.transform), height)
            case String():
                x, y = at(node.x, node.y)
                assert node.textAnchor == "start"
                yield Text(
                    x=x, y=y, text=node.text, size_pt=node.fontSize, turned=matrix[1] == 1,
                    bold=node.fontName.endswith("Bold"), grey=_grey(node.fillColor) or 0.0,
                )  # fmt: skip
            case Circle():
                x, y = at(node.cx, node.cy)
                fill = _grey(node.fillColor)
                assert fill is not None
                yield Disc(x=x, y=y, radius=node.r / mm, fill=fill)
            case Rect():
                x0, y0, x1, y1 = node.x, node.y, node.x + node.width, node.y + node.height
                yield _shape(node, [at(x0, y0), at(x1, y0), at(x1, y1), at(x0, y1)])
            case PolyLine() | Polygon():
                flat = node.points
                yield _shape(node, [at(*flat[i : i + 2]) for i in range(0, len(flat), 2)])
            case _:
                raise AssertionError(f"a page holds a {type(node).__name__}")


def _shape(node: Rect | PolyLine | Polygon, points: list[Point]) -> Shape:
    closed = not isinstance(node, PolyLine)
    return Shape(
        points=tuple(points),
        closed=closed,
        line_mm=node.strokeWidth / mm if node.strokeColor is not None else 0.0,
        dash_mm=tuple(round(each / mm, 6) for each in node.strokeDashArray or ()),
        fill=_grey(node.fillColor) if closed else None,
    )


def _grey(colour: Color | str | None) -> float | None:
    return None if colour is None else float(toColor(colour).red)

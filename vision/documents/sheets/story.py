"""Sheets told in templates, made into what ReportLab sets: text, lists, tables and drawings.

A template is XML; all that it fills in is escaped, and what the fonts lack is put plainly.

- `sheet` begins a page: `title`, and `columns` where its first page has two.
- `h` is a heading, kept with `keep` mm of what follows; `p` a paragraph; `steps` numbers each `li`.
- `table` has a `th` for every column, which says how its cells are set, then `tr` of `td`; its head
  is repeated on every page. `rows` is their least height.
- `grid` sets things beside each other, without lines: a `row` is made of cells, each what it holds
  or a `cell` of several; `pad` is air between rows, `above` the width of a line above each.
- `tick` is a box to tick, `blank` room to write on a line, `gap` air, `next` the next column, and
  `{{ picture(drawing) }}` a drawing.

Widths, in mm, are one for each column, `*` for a share of what is left; sizes are in points.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from xml.etree.ElementTree import Element, fromstring

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, FrameBreak, Paragraph, Spacer, Table

from vision.documents.sheets.drawing import FONTS, LIGHT, SMALLEST_PT, Picture, printable

TEXT_PT, HEADING_PT = 10.5, 13.0
LINE_SPACING = 1.28
KEEP_MM = 24.0
STEP_MM = 7.5
TICK_MM = 4.5
FEWEST_ROWS = 5
"""A page with fewer rows of a table than this looks lost."""
SIDES = ("LEFT", "RIGHT", "TOP", "BOTTOM")
ALIGNMENTS = {"start": 0, "middle": 1, "end": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What begins on a new page; `columns` are the widths in mm of its first page's."""

    title: str
    columns: tuple[float, ...]
    story: Sequence[Flowable]


def sheets_from(template: str, width: float, **values: object) -> list[Sheet]:
    """The sheets of a template, on pages with `width` mm for them."""
    pictures: list[Picture] = []

    def picture(drawing: Picture) -> Markup:
        pictures.append(drawing)
        return Markup(f"<picture>{len(pictures) - 1}</picture>")

    made = Environment(
        loader=PackageLoader("vision.documents.sheets", "."), autoescape=True,
        undefined=StrictUndefined, finalize=_plain,
    )  # fmt: skip
    text = made.get_template(template).render(picture=picture, width=width, mm=mm, **values)
    story = _Story(pictures=pictures)
    return [
        Sheet(
            title=sheet.get("title", ""),
            columns=(columns := _widths(sheet.get("columns", "*").split(), width)),
            story=story.inside(sheet, columns[-1]),
        )
        for sheet in fromstring(text)  # of our own making
    ]


def _plain(value: object) -> object:
    return value if isinstance(value, Markup) else printable(str(value))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Story:
    """Makes elements of a template into flowables."""

    pictures: list[Picture] = field(default_factory=list)

    def inside(self, element: Element, width: float, **how: Any) -> list[Flowable]:
        """All that an element holds, or the text that it is."""
        if len(element) == 0:
            return [paragraph(_said(element), after=0, **how)]
        return [flowable for each in element for flowable in self.made(each, width, **how)]

    def made(self, element: Element, width: float, **how: Any) -> list[Flowable]:
        """One element."""
        match element.tag:
            case "h":
                size = float(element.get("size", HEADING_PT))
                title = paragraph(_said(element), size, bold=True, after=0.5)
                keep = float(element.get("keep", KEEP_MM)) * mm
                return [CondPageBreak(keep), Spacer(0, 2.0 * mm), title]
            case "p":
                return [paragraph(_said(element), **(how | _how(element)))]
            case "steps":
                return [
                    paragraph(_said(item), indent=STEP_MM, lead=element.get("sign", f"{number}"))
                    for number, item in enumerate(element, start=1)
                ]
            case "table":
                return [self.table(element, width)]
            case "grid":
                return [self.grid(element, width)]
            case "picture":
                return [self.pictures[int(_said(element))]]
            case "tick":
                box = Picture(TICK_MM, TICK_MM)
                box.box((0, 0, TICK_MM, TICK_MM), width=0.3)
                return [box]
            case "gap":
                return [Spacer(0, float(element.get("high", 2.0)) * mm)]
            case "blank":
                return []
            case "next":
                return [FrameBreak()]
        raise ValueError(f"found <{element.tag}> in a template")

    def table(self, element: Element, width: float) -> Table:
        """A table; its cells are wrapped, and every fifth line is heavy in a long one."""
        heads, rows = element.findall("th"), element.findall("tr")
        widths = _widths([head.get("width", "*") for head in heads], width)
        ways = [_how(head) for head in heads]
        titles = [
            paragraph(_said(head), SMALLEST_PT, bold=True, anchor=head.get("at", "start"), after=0)
            for head in heads
        ]
        cells = [
            [self.inside(cell, wide, **way) for cell, wide, way in zip(*row_of, strict=True)]
            for row_of in ((row, widths, ways) for row in rows)
        ]
        last, least = len(rows), float(element.get("rows", 0)) * mm
        heavy = range(5, last + 1, 5) if last > 6 else ()
        return Table(
            [titles, *cells],
            colWidths=[wide * mm for wide in widths],
            minRowHeights=[0.0, *[least] * last],
            repeatRows=1,
            hAlign="LEFT",
            spaceAfter=2.0 * mm,
            style=[
                ("BACKGROUND", (0, 0), (-1, 0), LIGHT),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                *_padding(1.0, 1.5, 0.4, 0.5),
                _ruled((0, 1), (-1, -1), 0.15),
                *(_ruled((0, row), (-1, row), 0.45) for row in heavy),
                *(
                    ("ALIGN", (index, 1), (index, -1), "CENTER")
                    for index, way in enumerate(ways)
                    if way.get("anchor") == "middle"
                ),
                ("NOSPLIT", (0, 0), (-1, min(2, last))),
                ("NOSPLIT", (0, max(1, last - FEWEST_ROWS + 1)), (-1, last)),
            ],
        )

    def grid(self, element: Element, width: float) -> Table:
        """Things beside each other; a line is drawn below each `blank`."""
        widths = _widths(element.get("widths", "*").split(), width)
        pad = float(element.get("pad", 0.0))
        style = [("VALIGN", (0, 0), (-1, -1), "TOP"), *_padding(0, 0, pad, pad)]
        if above := float(element.get("above", 0.0)):
            style.append(("LINEABOVE", (0, 0), (-1, -1), above * mm, "black"))
        cells = []
        for y, row in enumerate(element):
            cells.append([self._cell(each, wide) for each, wide in zip(row, widths, strict=True)])
            for x, each in enumerate(row):
                if each.tag == "blank":
                    style.append(_ruled((x, y), (x, y), 0.3))
        return Table(cells, colWidths=[wide * mm for wide in widths], hAlign="LEFT", style=style)

    def _cell(self, element: Element, width: float) -> list[Flowable]:
        if element.tag == "cell":
            return self.inside(element, width)
        return self.made(element, width)


def paragraph(
    text: str, size_pt: float = TEXT_PT, *, bold: bool = False, anchor: str = "start",
    indent: float = 0.0, after: float = 0.8, lead: str = "",
) -> Paragraph:  # fmt: skip
    """Plain text, whatever it holds; `lead` stands before it, in the indent. Lengths in mm."""
    style = ParagraphStyle(
        "", fontName=FONTS[bold], fontSize=size_pt, leading=size_pt * LINE_SPACING,
        alignment=ALIGNMENTS[anchor], leftIndent=indent * mm, spaceAfter=after * mm,
        bulletFontName=FONTS[True], bulletFontSize=size_pt, spaceShrinkage=0,
    )  # fmt: skip
    # A paragraph that is given no mark-up to read keeps `<` and `&` as they are.
    (plain,) = Paragraph("x", style).frags
    return Paragraph("", style, bulletText=lead or None, frags=[plain.clone(text=text)])


def _said(element: Element) -> str:
    return " ".join((element.text or "").split())


def _how(element: Element) -> dict[str, Any]:
    """How an element's text is set."""
    how: dict[str, Any] = {}
    if size := element.get("size"):
        how["size_pt"] = float(size)
    if element.get("bold"):
        how["bold"] = True
    if at := element.get("at"):
        how["anchor"] = at
    return how


def _widths(stated: Sequence[str], width: float) -> tuple[float, ...]:
    """Widths as stated, and shares of what is left of `width`."""
    rest = width - sum(float(each) for each in stated if each != "*")
    return tuple(rest / stated.count("*") if each == "*" else float(each) for each in stated)


def _ruled(start: tuple[int, int], end: tuple[int, int], line_mm: float) -> tuple[Any, ...]:
    """A line below each of some cells."""
    return "LINEBELOW", start, end, line_mm * mm, "black"


def _padding(*air_mm: float) -> list[tuple[Any, ...]]:
    """Air at the left, right, top and bottom of every cell."""
    return [
        (f"{side}PADDING", (0, 0), (-1, -1), air * mm)
        for side, air in zip(SIDES, air_mm, strict=True)
    ]

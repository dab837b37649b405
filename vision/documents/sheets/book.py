"""The sheets of one job: pages with the same head; all cautions on the first, then in short."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import accumulate, pairwise

from reportlab.lib.units import mm
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
)

from vision.documents.cautions import LAW_FIRST
from vision.documents.sheets.drawing import (
    BLACK,
    SMALLEST_PT,
    WHITE,
    Bounds,
    Picture,
    fitted,
    text_width,
)
from vision.documents.sheets.page_canvas import PageCanvas
from vision.documents.sheets.paper import MARGIN_MM, Paper
from vision.documents.sheets.story import Sheet, sheets_from

BAND_MM = 9.0
UNDER_BAND_MM = 7.0
COUNT_MM = 34.0
"""Room at the right of the band for the count of pages."""

STRIPES_MM, AFTER_STRIPES_MM = 5.0, 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """How all sheets of a job look: paper, the job's name, and the code of its file."""

    paper: Paper
    job: str
    code: str
    cautions: tuple[Flowable, Flowable] = field(init=False)
    """All that the first page says, and what the others do."""
    cautions_mm: tuple[float, float] = field(init=False)
    """How high they are."""

    def __post_init__(self) -> None:
        width = self.width - STRIPES_MM - AFTER_STRIPES_MM
        sheets = sheets_from("cautions.xml.j2", width, law_first=LAW_FIRST)
        tables = tuple(sheet.story[0] for sheet in sheets)
        heights = tuple(table.wrap(width * mm, 0)[1] / mm + 2.0 for table in tables)
        object.__setattr__(self, "cautions", tables)
        object.__setattr__(self, "cautions_mm", heights)

    @property
    def width(self) -> float:
        """Of a page's own contents."""
        return self.paper.inner_width_mm

    @property
    def height(self) -> float:
        """Of the first page's own contents, between head and cautions."""
        return self._height(0)

    @property
    def next_height(self) -> float:
        """Of any other page's."""
        return self._height(1)

    def _height(self, which: int) -> float:
        _, low, _, top = self._inner(which)
        return top - low

    def _inner(self, which: int) -> Bounds:
        assert self.paper.height_mm is not None
        top = self.paper.height_mm - MARGIN_MM - BAND_MM - UNDER_BAND_MM - 2.0
        low = MARGIN_MM + self.cautions_mm[which] + 3.0
        return MARGIN_MM, low, self.paper.width_mm - MARGIN_MM, top

    def pages(self, sheets: Sequence[Sheet], more: int = 0) -> list[Picture]:
        """Every page, complete; `more` that follow are counted with them."""
        canvas = PageCanvas()
        document = BaseDocTemplate("", pageTemplates=[])
        story: list[Flowable] = []
        for index, sheet in enumerate(sheets):
            document.addPageTemplates(self._templates(sheet, f"{index}", min(index, 1)))
            story += [NextPageTemplate(f"{index}"), PageBreak(), *sheet.story]
        # The first page begins before the story does, by the first template.
        document.build(story[2:], canvasmaker=lambda *_, **__: canvas)
        total = len(canvas.pages) + more
        for number, page in enumerate(canvas.pages, start=1):
            right = self.paper.width_mm - MARGIN_MM - 2
            base = page.height / mm - MARGIN_MM - BAND_MM + 2.8
            count = f"sheet {number} of {total}"
            page.text(right, base, count, 11, bold=True, anchor="end", colour=WHITE)
        return canvas.pages

    def _templates(self, sheet: Sheet, name: str, which: int) -> list[PageTemplate]:
        """The first page of a sheet, with these cautions, and those that it goes on with."""
        left, low, _, top = self._inner(which)
        ends = [*accumulate(sheet.columns, initial=left)]
        first = [_frame((x0, low, x1, top)) for x0, x1 in pairwise(ends)]
        size = (self.paper.width_mm * mm, (self.paper.height_mm or 0) * mm)
        return [
            PageTemplate(
                id=name + part, frames=frames, pagesize=size, autoNextPageTemplate=f"{name}+",
                onPage=lambda canvas, _, title=title, foot=foot: self._furnish(canvas, title, foot),
            )
            for part, title, foot, frames in (
                ("", sheet.title, which, first),
                ("+", f"{sheet.title}, continued", 1, [_frame(self._inner(1))]),
            )
        ]  # fmt: skip

    def _furnish(self, canvas: PageCanvas, title: str, foot: int) -> None:
        """Head and cautions of the page that begins."""
        page = canvas.page
        left, right = MARGIN_MM, self.paper.width_mm - MARGIN_MM
        top = page.height / mm - MARGIN_MM
        low = top - BAND_MM
        base, below = low + 2.8, low - UNDER_BAND_MM + 2.2
        # The name and the title meet at a seam at 45 degrees, as two views do beside the body.
        cut = left + text_width("seamtrue", 13, bold=True) + 12
        page.polygon(((left, top), (cut, top), (cut - BAND_MM, low), (left, low)), fill=BLACK)
        cut += 1.6
        page.polygon(((cut, top), (right, top), (right, low), (cut - BAND_MM, low)), fill=BLACK)
        page.text(left + 2, base, "seamtrue", 13, bold=True, colour=WHITE)
        room = right - COUNT_MM - cut
        page.text(cut + 2.4, base, fitted(title, room, 13, bold=True), 13, bold=True, colour=WHITE)
        code = f"job file {self.code}"
        page.text(right, below, code, anchor="end")
        room = right - left - text_width(code, SMALLEST_PT) - 6
        page.text(left, below, fitted(self.job, room, 11, bold=True), 11, bold=True)
        page.line((left, low - UNDER_BAND_MM), (right, low - UNDER_BAND_MM), width=0.2)
        above = MARGIN_MM + self.cautions_mm[foot]
        _stripes(page, (left, MARGIN_MM, left + STRIPES_MM, above))
        page.line((left, above), (right, above), width=0.4)
        left += STRIPES_MM + AFTER_STRIPES_MM
        self.cautions[foot].drawOn(canvas, left * mm, MARGIN_MM * mm)


def _frame(bounds: Bounds) -> Frame:
    left, low, right, top = (each * mm for each in bounds)
    return Frame(left, low, right - left, top - low, *(0, 0, 0, 0))


def _stripes(page: Picture, bounds: Bounds) -> None:
    """A bar of black and white at 45 degrees: it is seen, also on a grey copy."""
    left, low, right, y = bounds
    width = right - left
    page.box(bounds, fill=WHITE, width=0.2)
    while y > low:
        deep = max(y - width, low)
        page.polygon(
            ((left, deep), (left, max(y - width / 2, low)),
             (right, min(y + width / 2, bounds[3])), (right, max(y, low))),
            fill=BLACK,
        )  # fmt: skip
        y -= width

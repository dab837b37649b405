"""Proves that the printed sheets can be read: nothing overlaps, nothing is small, all is said.

Proves: on A4 and Letter, for vehicles from 4 to 18 m, no two texts overlap, none leaves the page or
lies under a black shape, and none is below 9 pt; every sheet carries every caution; every mark's
running distance is printed, rounded once; the drawing is to its stated scale; PDF and SVG are the
same bytes every time, and hostile names stay text.

Does not prove: that a person with cold fingers finds them good.
"""

from __future__ import annotations

import itertools
from xml.etree import ElementTree

import pypdfium2
import pytest

from tests.lots import lot
from vision.lengths import parse_length
from vision.setting_out import set_out
from vision.sheets.book import CAUTIONS
from vision.sheets.page import SMALLEST_PT, Box, Page, Shape, clipped, fitted, printable, wrapped
from vision.sheets.paper import A4, LETTER, paper_of
from vision.sheets.plan_drawing import PlanView, key_letters, scale_for
from vision.sheets.setting_sheets import setting_sheets
from vision.sheets.writing import pdf_bytes, svg_text

BOARDS = 'mark = "board"\nsquare = "6 cm"\ncorners = [4, 3]'
LONG = "a strip with a name that is far longer than any column of any table could ever hold"


def clashes(page: Page) -> list[str]:
    """Texts that cover each other, leave the page, or are covered by a black shape drawn later."""
    texts = [(text, text.box) for text in page.texts]
    edge = Box(left=5, top=5, right=page.width_mm - 5, bottom=page.height_mm - 5)
    found = [f"{text.text!r} leaves the page" for text, box in texts if not edge.holds(box)]
    for (a, one), (b, other) in itertools.combinations(texts, 2):
        if one.overlaps(other):
            found.append(f"{a.text!r} over {b.text!r}")
    black = [
        item for item in page.items
        if isinstance(item, Shape) and item.fill is not None and item.fill < 0.5
    ]  # fmt: skip
    for (text, box), shape in itertools.product(texts, black):
        if text.grey < 0.5 and clipped(shape.points, box.grown(-0.2)):
            found.append(f"{text.text!r} under a black shape")
    return found


@pytest.mark.parametrize("paper", [A4, LETTER], ids=["a4", "letter"])
@pytest.mark.parametrize("length", [4, 5.7, 8.4, 12, 18])
def test_nothing_overlaps(length, paper):
    for fraction in (16, 64):
        pages = setting_sheets(set_out(lot(length)), paper, "3fa2c1", fraction)
        for number, page in enumerate(pages, start=1):
            assert not clashes(page), f"sheet {number}"
            assert min(text.size_pt for text in page.texts) >= SMALLEST_PT

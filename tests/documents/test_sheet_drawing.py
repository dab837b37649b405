"""What sheets are drawn with: text that is cut or flows, clipping, keys, papers.

Does not prove what any sheet says: see the tests of sheets.
"""

from __future__ import annotations

import pytest

from tests.clashes import clashes
from tests.drawn import drawn
from vision.documents.sheets.drawing import clipped, fitted, printable, text_width
from vision.documents.sheets.page_canvas import PageCanvas
from vision.documents.sheets.paper import A4, paper_of
from vision.documents.sheets.story import paragraph

LONG = "a name that is far longer than any column of any table could ever hold, and longer still"
MM = 25.4 / 72


def test_text_that_is_cut_and_wrapped():
    assert printable("\u0416\u010d\u00e9\u2026\x07") == "?c\u00e9\u2026?"
    short = fitted(LONG, 40, 10)
    assert short.endswith("\u2026")
    assert text_width(short, 10) <= 40


def test_text_flows_as_it_was_typed():
    said = "a < b & c > d, </para> 1 & 2; " + LONG
    canvas = PageCanvas()
    flowing = paragraph(said, 10, lead="7", indent=6, anchor="middle")
    _, high = flowing.wrap(60 / MM, 1000)
    flowing.drawOn(canvas, 10 / MM, 10 / MM)
    page = drawn(canvas.page)
    first, *texts = page.texts
    assert first.text == "7"
    assert "".join("".join(text.text for text in texts).split()) == "".join(said.split())
    assert not clashes(canvas.page)
    assert min(text.box.left for text in texts) >= 16
    assert max(text.box.right for text in texts) <= 70
    assert len({round(text.y, 3) for text in texts}) == pytest.approx(high / (10 * 1.28))


def test_clipping_keeps_what_lies_within():
    window = (0, 0, 10, 10)
    assert set(clipped([(-5, -5), (5, -5), (5, 5), (-5, 5)], window)) == {
        (0, 0), (5, 0), (5, 5), (0, 5)
    }  # fmt: skip
    assert clipped([(11, 11), (12, 11), (12, 12)], window) == ()


def test_papers():
    assert paper_of("A4") is A4
    assert paper_of("roll: 36 in", rolls=True).width_mm == pytest.approx(914.4)
    for wrong in ("a5", "roll:60cm", ""):
        with pytest.raises(ValueError, match="expected a4, letter"):
            paper_of(wrong)
    for wrong in ("roll:", "roll:60", "roll:5 cm", "roll:10 cm", "roll:3 m", "rolls:60cm"):
        with pytest.raises(ValueError, match=r"expected|found"):
            paper_of(wrong, rolls=True)

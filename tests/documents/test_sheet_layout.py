"""Proves that what is printed on the sheets for the lot can be read: nothing overlaps or is lost.

On A4 and Letter, for vehicles from 4 to 18 m, whatever the names: no two texts overlap, none leaves
the page or lies under a black shape, none is below 9 pt; the drawing is to its stated scale.

Does not prove what they say: `test_sheets`.
"""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from tests.clashes import clashes
from tests.documents.printed_sheets import CARTONS, CAUTIONS, DRAWN, SVG, sheets
from tests.drawn import Shape, drawn
from tests.lots import lot, lot_text
from vision.documents.sheets.drawing import (
    BLACK,
    SMALLEST_PT,
    Picture,
)
from vision.documents.sheets.paper import A4, LETTER
from vision.documents.sheets.plan_drawing import (
    SCALES,
    PlanView,
    least_scale,
    usual_scale,
)
from vision.documents.sheets.printed import pdf_bytes, svg_text
from vision.job.job_file import job_from_text
from vision.planning.setting_out.set_out import set_out

LONG = "a strip with a name that is far longer than any column of any table could ever hold"


def test_clashes_are_seen():
    page = Picture(100, 100)
    page.text(20, 80, "one")
    page.text(22, 79, "two")
    page.text(90, 50, "beyond the edge")
    page.text(20, 20, "hidden")
    page.box((15, 15, 25, 25), fill=BLACK)
    assert len(clashes(page)) == 3
    page.text(60, 40, "turned", turned=True)
    box = drawn(page).texts[-1].box
    assert box.height > box.width
    assert (box.bottom, box.right) == pytest.approx((60, 60 + 0.22 * 9 * 25.4 / 72))


@pytest.mark.parametrize("paper", [A4, LETTER], ids=["a4", "letter"])
@pytest.mark.parametrize(
    ("length", "fraction"), [(4, 16), (5.7, 64), (8.4, 16), (12, 64), (18, 16)]
)
def test_nothing_overlaps(length, fraction, paper):
    for number, page in enumerate(sheets(lot(length), paper, fraction), start=1):
        assert not clashes(page), f"sheet {number}"
        assert min(text.size_pt for text in drawn(page).texts) >= SMALLEST_PT


@pytest.mark.parametrize("length", [9, 10, 11, 12, 13, 18])
@pytest.mark.parametrize("paper", [A4, LETTER], ids=["a4", "letter"])
def test_no_page_holds_a_few_lost_lines(length, paper):
    empty = len(CAUTIONS) + 10
    for page in sheets(lot(length), paper):
        assert len(drawn(page).texts) > empty + 12, drawn(page).title


HOSTILE = [
    lot_text(8.4, name="<script>alert('a & b')</script> " + "\u0416" * 40),
    lot_text(8.4).replace("[strip.left]", f'[strip."{LONG}"]'),
    lot_text(8.4).replace("[strip.left]", '[strip."<b>left & <i> right"]'),
    lot_text(8.4).replace("[camera.left]", f'[camera."{LONG}"]'),
    lot_text(8.4).replace("[mark.front_trestle]", f'[mark."{LONG.replace(" ", "_")}"]'),
    lot_text(8.4, step=0.15),
    lot_text(8.4).replace("[strip.front]\nfrom = [5.5, -2.4]", "[strip.front]\nfrom = [7.5, -2.4]"),
    "".join(
        part
        for part in re.split(r"(?=\n\[)", lot_text(8.4))
        if not part.startswith(("\n[strip.front", "\n[strip.left", "\n[mark"))
    ),
]


@pytest.mark.parametrize(
    "text",
    HOSTILE,
    ids=["job", "strip", "markup", "camera", "mark", "many", "angle", "few"],
)
def test_names_and_layouts_that_nobody_expected(text):
    drawn_well(job_from_text(text, "job.toml"))


def test_numbers_of_a_strip_under_the_body_do_not_lie_across_its_edge():
    job = lot(16.5, width=2.5)
    strips = (
        replace(each, from_m=[-7.2, each.from_m[1]], to_m=[-7.2, each.to_m[1]])
        if each.name == "rear"
        else each
        for each in job.strips
    )
    drawn_well(replace(job, strips=tuple(strips)))


def drawn_well(job):
    """Every page of a job's sheets: nothing overlaps, and nothing but what is drawn is in it."""
    pages = sheets(job)
    for page in pages:
        assert not clashes(page)
        root = ElementTree.fromstring(svg_text(page, job.name))
        assert {element.tag.removeprefix(SVG) for element in root.iter()} <= DRAWN
    pdf_bytes(pages, job.name)


@pytest.mark.parametrize(("length", "width"), [(1, 0.3), (1, 20), (100, 0.3), (100, 20)])
def test_any_size_of_vehicle_can_be_drawn(length, width):
    pages = sheets(lot(length, width=width, step=max(0.6, length / 50)))
    for page in pages:
        assert all(np.isfinite((text.x, text.y)).all() for text in drawn(page).texts)
        svg_text(page, "x")
    pdf_bytes(pages, "x")


def test_the_plan_is_to_the_scale_it_states():
    job = lot(8.4, width=2.3)
    page = drawn(sheets(job)[0])
    scale = next(int(t.text.split(":")[1]) for t in page.texts if t.text.startswith("Scale 1 :"))
    sizes = [
        (np.ptp([p[0] for p in item.points]) * scale, np.ptp([p[1] for p in item.points]) * scale)
        for item in page.items
        if isinstance(item, Shape) and item.closed
    ]
    assert any(np.allclose(size, (2300, 8400)) for size in sizes)
    # Tape of the left strip: from -4.8 to 4.8, half a cross and 10 cm over at each end.
    assert any(np.allclose(size, (180, 9600 + 160 + 200)) for size in sizes)


def test_scales_are_those_of_a_rule_and_large_enough():
    for length in (0.5, 3, 17, 27, 90, 400):
        scale = usual_scale(least_scale(length, length / 4, (100, 200)))
        assert scale in SCALES or scale % 500 == 0
        assert length * 1000 / scale <= 200


def test_ahead_is_up_and_left_is_left():
    view = PlanView.small(set_out(lot(8.4)), (200, 200))
    x0, y0 = view.place((0, 0))
    assert view.place((1, 0)) == pytest.approx((x0, y0 + 1000 / view.scale))
    assert view.place((0, 1)) == pytest.approx((x0 - 1000 / view.scale, y0))


@pytest.mark.parametrize("system", ["m", "ft"])
@pytest.mark.parametrize("job", [lot(8.4), CARTONS], ids=["lot", "cartons"])
def test_nothing_overlaps_in_one_system(job, system):
    for number, page in enumerate(sheets(job, system=system), start=1):
        assert not clashes(page), f"sheet {number}"

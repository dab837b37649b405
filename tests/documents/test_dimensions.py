"""Proves that the plan's dimension lines say what they measure, and where.

Proves: every figure on the sheet is the distance between its arrowheads at the stated scale, and
the figures of a layout are those worked out by hand; figures are at least 2.5 mm high; whatever has
no room is named; rows, pieces and slanted strips overlap nothing; a line or a dot through a text is
seen by the search that all sheets go through.

Does not prove: that the sheets keep to ISO 129-1, which is followed from memory.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest

from tests.clashes import clashes
from tests.drawn import Shape, drawn
from tests.lots import lot, lot_text
from vision.documents.sheets.dimensions import FIGURE_PT, MOST_LANES, Measure, has_room, lanes_of
from vision.documents.sheets.drawing import BLACK, WHITE, Picture
from vision.documents.sheets.paper import A4, LETTER
from vision.documents.sheets.setting_sheets import setting_sheets
from vision.job.job_file import job_from_text
from vision.planning.setting_out.set_out import set_out

MARKS = 'mark = "cross"\narm = "8 cm"\nline = "25 mm"\ntape_width = "18 cm"\n'
ROWS = (
    f"[strip.left_outer]\nfrom = [-4, 3.1]\nto = [4, 3.1]\ncount = 5\n{MARKS}"
    f"[strip.rear_outer]\nfrom = [-7.2, -2.4]\nto = [-7.2, 2.4]\ncount = 5\n{MARKS}"
)
SLANTED = f"[strip.slant]\nfrom = [5, 3]\nto = [7, 5]\ncount = 3\n{MARKS}"
PIECES = "".join(
    f"[strip.right_{number}]\nfrom = [{start}, -3]\nto = [{start + 2.5}, -3]\ncount = 4\n{MARKS}"
    for number, start in enumerate((-4.5, -1.3, 1.9))
)
CAP_HEIGHT = 0.718
"""Of Helvetica, in its size (Adobe's font metrics, from memory)."""


def dimension_page(job, paper=A4, fraction=16):
    pages = setting_sheets(set_out(job), paper, "3fa2c1", fraction, "both")
    return next(page for page in pages if drawn(page).title == "Dimensions, to scale")


def scale_of(page):
    return next(float(t.text.split(":")[1]) for t in page.texts if t.text.startswith("Scale 1 :"))


def tips(page):
    """The points of all arrowheads (n, 2): of black triangles, where the two long sides meet."""
    found = []
    for item in page.items:
        if isinstance(item, Shape) and item.fill == 0 and len(item.points) == 3:
            points = np.array(item.points)
            sides = [np.hypot(*(points[i - 1] - points[i - 2])) for i in range(3)]
            found.append(points[int(np.argmin(sides))])
    return np.array(found)


def figures(page):
    """Every figure in metres with its size as a multiple of the drawing's."""
    found = [re.search(r"(\d+\.\d{3}) m$", text.text) for text in page.texts]
    return [float(each[1]) for each in found if each]


@pytest.mark.parametrize("length", [4, 8.4, 12, 18])
@pytest.mark.parametrize("paper", [A4, LETTER], ids=["a4", "letter"])
def test_every_figure_is_the_distance_between_two_arrowheads(length, paper):
    page = drawn(dimension_page(lot(length), paper))
    ends = tips(page)
    metres = np.hypot(*(ends[:, None] - ends[None]).T) * scale_of(page) / 1000
    shown = figures(page)
    # Body 2, strips 4, tapes 4, marks 4, diagonals 2.
    assert len(shown) == 16
    assert len(ends) == 32
    for figure in shown:
        assert np.abs(metres - figure).min() < 6e-4, figure


def test_figures_are_those_of_the_layout_worked_out_by_hand():
    # Ends 1.3 m before and behind the body, sides 0.4 m beside it, 18 cm of tape: the inside edges
    # 9 cm nearer. 9.6 m by 3.1 m between the side strips' ends. Feet: 2.3 m / 0.3048 = 7.546.
    page = drawn(dimension_page(lot(8.4)))
    words = [text.text for text in page.texts]
    for text, count in (
        ("body 8.400 m", 1), ("body 2.300 m", 1), ("left 9.600 m", 1), ("right 9.600 m", 1),
        ("front 4.800 m", 1), ("rear 4.800 m", 1), ("tape 1.210 m", 2), ("tape 0.310 m", 2),
        ("marks 5.500 m", 2), ("marks 1.550 m", 2), (f"{np.hypot(9.6, 3.1):.3f} m", 2),
        ("(7 ft 6 9/16 in)", 1), ("(27 ft 6 11/16 in)", 1),
    ):  # fmt: skip
        assert words.count(text) == count, text


def test_the_lot_has_its_dimensions_on_the_plan():
    # How large the lot is: tests/planning.
    setting = set_out(lot(8.4))
    page = drawn(setting_sheets(setting, A4, "3fa2c1")[0])
    ends, scale = tips(page), scale_of(page)
    apart = [np.abs(a - b) * scale / 1000 for a, b in itertools.combinations(ends, 2)]
    for size in ((0, setting.lot.length_m), (setting.lot.width_m, 0)):
        assert any(np.allclose(each, size, atol=1e-6) for each in apart)


def test_figures_can_be_read_at_arms_length():
    assert FIGURE_PT * 25.4 / 72 * CAP_HEIGHT >= 2.5


@pytest.mark.parametrize("paper", [A4, LETTER], ids=["a4", "letter"])
@pytest.mark.parametrize("extra", [ROWS, ROWS + SLANTED, PIECES], ids=["rows", "slant", "pieces"])
def test_layouts_with_more_strips_overlap_nothing_and_lose_nothing(extra, paper):
    job = job_from_text(lot_text(8.4, extra=extra), "job.toml")
    page = dimension_page(job, paper)
    assert not clashes(page)
    shown = [text.text for text in drawn(page).texts]
    words = " ".join(shown)
    if extra == ROWS:
        assert "other sheets only" not in words
        assert {"tape 0.310 m", "tape 1.860 m", "tape 2.910 m"} <= set(shown)
    assert ("the slant strip, at an angle" in words) == (SLANTED in extra)
    if extra == PIECES:
        assert {"right_0 2.500 m", "right_1 2.500 m", "right_2 2.500 m"} <= set(shown)
        assert shown.count("tape 1.760 m") == 1


def test_a_strip_that_lies_under_the_body_has_no_gap_to_it():
    job = lot(8.4)
    left = replace(job.strips[0], from_m=np.array([-4.8, 1.1]), to_m=np.array([4.8, 1.1]))
    page = dimension_page(replace(job, strips=(left, *job.strips[1:])))
    assert not clashes(page)
    assert "other sheets only: the left strip, under the body." in drawn(page).words


def across(of, low, high, *, overall=False):
    return Measure(of=of, ends=((0.0, low), (0.0, high)), way="front", above="1.000 m",
                   below="(3 ft 3 3/8 in)", overall=overall)  # fmt: skip


def test_lanes_go_by_kind_and_the_shorter_lie_nearer():
    every = [across("all", -3, 3, overall=True), across("long", 1, 3), across("next", -1, 1),
             across("other", -2, 1), across("short", 1, 2)]  # fmt: skip
    lanes = {each.of: lane for each, lane in lanes_of(every).items()}
    # A chain shares its ends; what spans it lies outside.
    assert lanes == {"short": 0, "next": 0, "long": 1, "other": 1, "all": 2}
    many = [across(f"{number}", -20 - number, 20 + number) for number in range(9)]
    assert lanes_of(reversed(many)) == {many[lane]: lane for lane in range(MOST_LANES)}


def test_figures_stand_only_where_they_have_room():
    # The figures are about 23 mm wide.
    inner, outer = across("inner", -1, 1), across("outer", -2, 2)
    lanes = lanes_of([inner, outer])
    assert has_room(inner, lanes, 20.0)
    assert not has_room(inner, lanes, 10.0)
    assert has_room(outer, lanes, 10.0)
    # An extension line of a farther lane would run through them.
    outer = across("outer", 0.2, 4)
    assert not has_room(inner, lanes_of([inner, outer]), 20.0)


def test_lines_and_dots_through_texts_are_seen():
    page = Picture(100, 100)
    page.text(20, 80, "crossed")
    page.line((10, 70), (40, 90))
    page.text(20, 60, "on a dot")
    page.disc((22, 61), 1.0, fill=BLACK)
    page.text(20, 40, "above a line")
    page.line((10, 38.5), (60, 38.5))
    page.line((70, 30), (90, 30))
    page.box((71, 20, 89, 40), fill=WHITE)
    page.text(75, 29, "badge")
    assert sorted(clashes(page)) == ["'crossed' across a line", "'on a dot' on a dot"]

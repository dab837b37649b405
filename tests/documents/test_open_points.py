"""Proves that what a check leaves open is said at the head, once for each cause, and why.

Does not prove the verdicts or the reasons themselves.
"""

from __future__ import annotations

import pytest

from cli.check_table import show
from tests.conftest import hand_made_inspection
from vision.documents.open_points import open_points
from vision.documents.report.report import report_html
from vision.documents.result import result_of
from vision.documents.top_view import top_view


def part(name, verdict="keep", *reasons, **more):
    told = [{"code": code, "text": text} for code, text in reasons]
    return {"name": name, "verdict": verdict, "reasons": told, "plan_fit": {}, **more}


def mark(mark_id, status, reason=None):
    return {"id": mark_id, "status": status, "reason_code": reason}


def result(*, cameras=(), strips=(), raised_marks=(), seams=(), warnings=(), verdict="not-judged"):
    return {
        "verdict": verdict, "warnings": list(warnings), "cameras": list(cameras),
        "strips": list(strips), "raised_marks": list(raised_marks), "seams": list(seams),
    }  # fmt: skip


def seam(between, verdict, *reasons):
    return part("", verdict, *reasons) | {"between": between}


def test_a_cause_that_two_cameras_share_is_said_once_and_its_seams_are_not():
    swapped = ("swapped", "the pictures of left and right look swapped")
    lost = ("neighbour-not-identified", "left not identified")
    found = result(
        cameras=[part(each, "not-judged", swapped, marks=[]) for each in ("left", "right")],
        seams=[seam(["front", "left"], "not-judged", lost)],
    )
    assert open_points(found) == [
        "left camera, right camera: the pictures of left and right look swapped"
    ]


def test_a_strip_that_is_not_judged_says_why_without_what_is_allowed():
    reasons = (("shift-not-judged", "2.8 +- 0.7 cm straddles"), ("significant-within", "a real"))
    found = result(strips=[part("front", "not-judged", *reasons)])
    assert open_points(found) == ["front strip: 2.8 +- 0.7 cm straddles"]


def test_a_gap_that_nothing_explains_is_open_and_one_that_something_does_is_not():
    gap = seam(["rear", "right"], "beyond", ("gap-beyond", "the views lie 6 cm apart"))
    assert open_points(result(seams=[gap])) == [
        "seam rear - right: the views lie 6 cm apart; nothing that was found explains it"
    ]
    assert open_points(result(seams=[gap], verdict="re-aim")) == []


@pytest.mark.parametrize("code", ["box-corner-not-found", "box-corner-not-judged"])
def test_a_cartons_corner_may_be_missing(code):
    found = result(raised_marks=[part("carton", "not-judged", (code, "no edges"))])
    assert open_points(found) == []


def test_marks_that_no_picture_could_use_are_named():
    marks = [
        mark("left/0", "used"), mark("left/1", "rejected", "ran-away"), mark("left/2", "hidden"),
        mark("left/3", "not-found", "too-small"),
        mark("left/4", "rejected", "small-and-refused"), mark("left/5", "rejected", "half-covered"),
    ]  # fmt: skip
    others = [mark("left/5", "used"), mark("left/1", "outside")]
    cameras = [part("left", marks=marks), part("front", marks=others)]
    (line,) = open_points(result(cameras=cameras, strips=[part("left")], verdict="keep"))
    assert line.startswith("no picture shows left/1 where planned")
    assert "go and look" in line


def test_a_mark_whose_place_is_told_is_not_said_to_be_unknown():
    marks = [mark(f"left/{i}", "rejected", "misfit") for i in (1, 2, 3)]
    reason = ("stray-mark", "left/1 lies about 6.0 cm ahead of where; it was left out")
    found = result(
        cameras=[part("left", marks=marks)],
        strips=[part("left", "not-judged", reason)],
        warnings=["left/2 lies about 1.2 cm left of where the rest of its strip has it"],
    )
    told, unknown = open_points(found)
    assert told == f"left strip: {reason[1]}"
    assert unknown.startswith("no picture shows left/3 where planned")


def test_a_picture_without_a_fit_tells_of_no_mark():
    camera = part("left", "not-judged", marks=[mark("left/0", "not-found")]) | {"plan_fit": None}
    assert open_points(result(cameras=[camera], strips=[part("left")])) == []


def test_a_board_is_one_mark_and_many_names_are_cut_short():
    corners = [mark(f"a/b/{i}/0/{c}", "not-found") for i in range(9) for c in range(4)]
    corners[0] = mark("a/b/0/0/0", "used")
    found = result(cameras=[part("left", marks=corners)], strips=[part("a/b")])
    (line,) = open_points(found)
    assert "a/b/1, a/b/2, a/b/3, a/b/4, a/b/5, a/b/6 and 2 more" in line


def test_terminal_and_page_say_it(capsys):
    inspection = hand_made_inspection()
    said = result_of(inspection)
    show(said)
    printed = capsys.readouterr().out
    page = report_html(inspection, said, top_view(inspection))
    assert "spare strip: no camera shows it" in open_points(said)
    # On the printed sheet to sign, and at the head of the page.
    sheet, _, head = page.partition('id="above"')[0].partition("<header>")
    for point in open_points(said):
        assert f"open: {point}" in printed
        assert point in sheet
        assert point in head

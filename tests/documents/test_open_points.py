"""Proves that what a check leaves open is said at the head, once for each cause, and why.

Does not prove the verdicts or the reasons themselves.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from cli.check_table import show
from tests.conftest import hand_made_inspection, hand_made_job
from vision.documents.check_words.words import say_check
from vision.documents.open_points import open_points
from vision.documents.report.report import report_html
from vision.documents.result import result_of
from vision.documents.top_view import top_view
from vision.inspection.inspected import (
    InspectedCamera,
    InspectedMark,
    InspectedRaisedMark,
    InspectedSeam,
    InspectedStrip,
    Inspection,
)
from vision.job.job import Job, Strip
from vision.job.kinds.board import Board
from vision.job.mark_id import MarkId
from vision.units.reason import Reason

MADE = hand_made_inspection()
SHIFT = Reason("shift-not-judged", mark="left/1", off_m=0.028, sigma_m=0.0035, limit_m=0.03)
ALLOWED = Reason("significant-within", of="shift", mark="a", off_m=0.02, sigma_m=0, limit_m=0.03)
MISFIT = Reason("misfit-all")


def strip(name: str, count: int = 6, board: bool = False) -> Strip:
    shape = Board(square_m=0.06, corners_along=4, corners_across=3)
    return replace(
        MADE.job.strips[0],
        name=name,
        from_m=np.array([5.0, -3.0]),
        to_m=np.array([5.0, 3.0]),
        at_m=np.linspace(0, 6, count),
        shape=shape if board else MADE.job.strips[0].shape,
    )


def job(*strips: Strip) -> Job:
    return replace(hand_made_job(), strips=strips)


def camera(
    name: str, *reasons: Reason, verdict: str = "keep", marks: tuple[InspectedMark, ...] = ()
) -> InspectedCamera:
    one = next(each for each in MADE.cameras if each.plan_fit is not None)
    known = replace(one.camera, name=name)
    return replace(one, camera=known, verdict=verdict, reasons=reasons, actions=(), marks=marks)


def mark(mark_id: str, status: str, reason: Reason | None = None) -> InspectedMark:
    strips = ("left", "a/b")
    read = MarkId.parse(mark_id, strips)
    return InspectedMark(id=read, status=status, planned_m=np.zeros(3), reason=reason)


def found(*strips: Strip, verdict: str = "not-judged", **parts: object) -> Inspection:
    named = tuple(InspectedStrip(name=each.name, verdict="keep") for each in strips)
    parts = {"cameras": (), "strips": named} | parts
    return Inspection(
        job=job(*strips),
        verdict=verdict,
        **parts,  # type: ignore[arg-type]
    )


def seam(between: tuple[str, str], verdict: str, *reasons: Reason) -> InspectedSeam:
    return InspectedSeam(between=between, verdict=verdict, reasons=reasons)


def names_in(line: str) -> list[str]:
    """The marks of strips that a line names."""
    return re.findall(r"(?:left|a/b)/\d+", line)


def test_a_cause_that_two_cameras_share_is_said_once_and_its_seams_are_not() -> None:
    swapped = Reason("swapped", camera="left", other="right", file="l", other_file="r")
    lost = Reason("neighbour-not-identified", cameras=("left",))
    inspection = found(
        cameras=tuple(camera(each, swapped, verdict="not-judged") for each in ("left", "right")),
        seams=(seam(("front", "left"), "not-judged", lost),),
    )
    (line,) = open_points(inspection)
    assert line.startswith("left camera, right camera: ")
    assert line.endswith(say_check()(swapped))


def test_a_strip_that_is_not_judged_says_why_without_what_is_allowed() -> None:
    one = InspectedStrip(name="front", verdict="not-judged", reasons=(SHIFT, ALLOWED))
    (line,) = open_points(found(strips=(one,)))
    assert line == f"front strip: {say_check()(SHIFT)}"


def test_a_gap_that_nothing_explains_is_open_and_one_that_something_does_is_not() -> None:
    why = Reason("gap-beyond", off_m=0.06, sigma_m=0.002, limit_m=0.05, mark="left/0")
    gap = seam(("rear", "right"), "beyond", why)
    (line,) = open_points(found(seams=(gap,)))
    assert line.startswith(f"seam rear - right: {say_check()(why)}; ")
    assert open_points(found(seams=(gap,), verdict="re-aim")) == []


@pytest.mark.parametrize("code", ["box-corner-not-found", "box-corner-not-judged"])
def test_a_cartons_corner_may_be_missing(code: str) -> None:
    carton = InspectedRaisedMark(
        name="carton", verdict="not-judged", reasons=(Reason(code, mark="carton"),)
    )
    assert open_points(found(raised_marks=(carton,))) == []


def test_marks_that_no_picture_could_use_are_named() -> None:
    marks = (
        mark("left/0", "used"),
        mark("left/1", "rejected", Reason("ran-away")),
        mark("left/2", "hidden"),
        mark("left/3", "not-found", Reason("too-small", size_px=3.0)),
        mark("left/4", "rejected", Reason("small-and-refused", size_px=2.9, refusal=MISFIT)),
        mark("left/5", "rejected", MISFIT),
    )
    others = (mark("left/5", "used"), mark("left/1", "outside"))
    cameras = (camera("left", marks=marks), camera("front", marks=others))
    (line,) = open_points(found(strip("left"), cameras=cameras, verdict="keep"))
    assert names_in(line) == ["left/1"]


def test_a_mark_whose_place_is_told_is_not_said_to_be_unknown() -> None:
    def lies(mark_id: str) -> Reason:
        return Reason(
            "stray-mark",
            mark=MarkId.parse(mark_id, ("left",)),
            cameras=("left",),
            parts=(("ahead", 0.06),),
        )

    marks = tuple(mark(f"left/{i}", "rejected", MISFIT) for i in (1, 2, 3))
    one = InspectedStrip(name="left", verdict="not-judged", reasons=(lies("left/1"),))
    told, unknown = open_points(
        found(
            strip("left"),
            cameras=(camera("left", marks=marks),),
            strips=(one,),
            warnings=(lies("left/2"),),
        )
    )
    assert told == f"left strip: {say_check()(lies('left/1'))}"
    assert names_in(unknown) == ["left/3"]


def test_a_picture_without_a_fit_tells_of_no_mark() -> None:
    none = replace(camera("left", marks=(mark("left/0", "not-found"),)), plan_fit=None)
    assert open_points(found(strip("left"), cameras=(none,))) == []


def test_a_board_is_one_mark_and_many_names_are_cut_short() -> None:
    panels = strip("a/b", count=9, board=True)
    corners = [mark(f"a/b/{i}/0/{c}", "not-found") for i in range(9) for c in range(4)]
    corners[0] = mark("a/b/0/0/0", "used")
    (line,) = open_points(found(panels, cameras=(camera("left", marks=tuple(corners)),)))
    assert names_in(line) == [f"a/b/{i}" for i in range(1, 7)]
    assert "2 more" in line


def test_terminal_and_page_say_it(capsys: pytest.CaptureFixture[str]) -> None:
    show(MADE, result_of(MADE))
    printed = capsys.readouterr().out
    page = report_html(MADE, result_of(MADE), top_view(MADE))
    points = open_points(MADE)
    assert any(each.startswith("spare strip: ") for each in points)
    # On the printed sheet to sign, and at the head of the page.
    sheet, _, head = page.partition('id="above"')[0].partition("<header>")
    for point in points:
        assert f"open: {point}" in printed
        assert point in sheet
        assert point in head

"""Proves the order and scale of the pick list, and that a bad pick is named for what it is.

The cameras are those of the inspection made by hand. Does not prove that a display asks in this
order (common practice, no source), nor how steady a hand is.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace

import numpy as np
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.conftest import hand_made_inspection
from vision.documents.cautions import CAUTION
from vision.documents.pick_judging import judge_picks
from vision.documents.pick_words import judged_file, listed, say_pick
from vision.documents.picks import Picked, Screen, expected_px, pick_lists
from vision.documents.picks_text import picks_csv, picks_from_text
from vision.documents.report.pick_page import picks_html
from vision.inspection.inspected import InspectedMark
from vision.job.kinds.board import Board
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.units.errors import BadInputError
from vision.units.length_words import METRIC
from vision.units.reason import Reason

SCREEN = Screen(width=1280, height=720)


@pytest.fixture(scope="module")
def inspection():
    """Every mark that the front camera can see lies where the plan fit expects it."""
    made = hand_made_inspection()
    cameras = []
    for camera in made.cameras:
        marks = tuple(
            replace(mark, pixel_px=expected_px(camera, mark.planned_m), status="used", reason="")
            if camera.camera.name in ("front", "rear")
            and mark.status in ("used", "rejected")
            and expected_px(camera, mark.planned_m) is not None
            else mark
            for mark in camera.marks
        )
        cameras.append(replace(camera, marks=marks))
    return replace(made, cameras=tuple(cameras))


def judged(inspection, mark, screen_px, camera="front"):
    picked = Picked(camera=camera, mark=mark, screen_px=np.asarray(screen_px))
    (answer,) = judge_picks(inspection, SCREEN, [picked])
    return answer


def place_of(inspection, mark, ahead_m=0.0, left_m=0.0):
    """Where a place beside a mark of the front strip shows on the screen, strip axes."""
    camera = inspection.cameras[0]
    planned = planned_layout(inspection.job).mark(MarkId.parse(mark, ["front"])).centre_m
    # The front strip runs to the left: ahead along it is +y, to its left is -x.
    pixel = expected_px(camera, planned + np.array([-left_m, ahead_m, 0.0]))
    return SCREEN.from_picture(camera, pixel)


def test_the_list_runs_from_left_to_right_along_each_strip(inspection):
    picks = pick_lists(inspection, SCREEN)["front"]
    assert [pick.number for pick in picks] == list(range(1, len(picks) + 1))
    assert [pick.mark for pick in picks] == [
        MarkId("front", 2),
        MarkId("front", 1),
        MarkId("front", 0),
    ]
    across = [pick.screen_px[0] for pick in picks]
    assert across == sorted(across)
    assert picks[0].expected
    assert picks[0].reason == Reason("nothing-there")
    assert not picks[1].expected
    assert pick_lists(inspection, SCREEN)["right"] == ()


def test_screen_pixels_keep_centres_on_whole_numbers(inspection):
    camera = inspection.cameras[0]
    corner = SCREEN.from_picture(camera, np.array([-0.5, -0.5]))
    assert np.allclose(corner, [-0.5, -0.5])
    far = SCREEN.from_picture(camera, np.array([camera.picture.width, camera.picture.height]) - 0.5)
    assert np.allclose(far, [1279.5, 719.5])
    places = np.array([[3.0, 4.0], [250.0, 17.5]])
    assert np.allclose(SCREEN.to_picture(camera, SCREEN.from_picture(camera, places)), places)
    assert np.allclose(Screen().from_picture(camera, places), places)


def test_a_pick_on_the_centre_is_good(inspection):
    answer = judged(inspection, "front/1", place_of(inspection, "front/1") + np.array([0.4, -0.9]))
    assert answer.verdict == "good"
    assert answer.off_px == pytest.approx((0.4, -0.9))


@pytest.mark.parametrize(
    ("ahead", "left", "code", "end"),
    [
        (0.12, 0.0, "arm-end", Reason("towards-mark", mark="front/2")),
        (-0.12, 0.0, "arm-end", Reason("towards-mark", mark="front/0")),
        (0.0, 0.08, "arm-end", Reason("towards")),
        (0.0, -0.08, "arm-end", Reason("away")),
        (0.0125, 0.0125, "inner-corner", None),
        (0.0, -0.09, "tape-edge", Reason("away")),
    ],
)
def test_a_pick_on_another_feature_is_named(inspection, ahead, left, code, end):
    place = place_of(inspection, "front/1", ahead, left)
    answer = judged(inspection, "front/1", place)
    assert answer.verdict == "off"
    assert answer.reason.arguments["instead"] == Reason(code, end=end)
    assert answer.off_m == pytest.approx(np.hypot(ahead, left), rel=0.02)


def test_off_is_told_in_the_words_of_the_screen(inspection):
    centre = place_of(inspection, "front/1")
    answer = judged(inspection, "front/1", centre + np.array([-30, 14]))
    assert answer.off_px == pytest.approx((-30, 14))
    assert say_pick(METRIC)(answer.reason).startswith("is 14 px low and 30 px left (")
    answer = judged(inspection, "front/1", centre + np.array([0, -9]))
    assert say_pick(METRIC)(answer.reason).startswith("is 9 px high (")


def test_a_pick_on_another_mark_is_named_by_number_and_id(inspection):
    answer = judged(inspection, "2", place_of(inspection, "front/0"))
    assert answer.mark == "front/1"
    other = Reason("other-mark", number=3, mark="front/0")
    assert answer.reason.arguments["instead"] == other
    assert "mark 3 (front/0)" in say_pick(METRIC)(answer.reason)


def test_what_cannot_be_judged_says_why(inspection):
    assert judged(inspection, "front/1", [1, 1], "right").verdict == "not-judged"
    hidden = judged(inspection, "trestle", [1, 1])
    assert hidden.verdict == "not-judged"
    assert (hidden.off_px, hidden.off_m) == (None, None)


def test_picks_of_a_mirrored_screen_are_recognised(inspection):
    # These marks lie about the middle: moved aside first, or they would fit either way.
    camera = replace(
        inspection.cameras[0],
        marks=tuple(
            replace(mark, pixel_px=mark.pixel_px + np.array([60, 0]))
            if mark.pixel_px is not None
            else mark
            for mark in inspection.cameras[0].marks
        ),
    )
    moved = replace(inspection, cameras=(camera, *inspection.cameras[1:]))
    lists = pick_lists(moved, SCREEN)["front"]
    by_name = {str(pick.mark): pick for pick in lists}
    picked = [
        Picked(
            camera="front",
            mark=name,
            screen_px=np.array([1279 - by_name[name].screen_px[0], by_name[name].screen_px[1]]),
        )
        for name in ("front/0", "front/1", "front/0", "front/1")
    ]
    answers = judge_picks(moved, SCREEN, picked)
    assert {(answer.verdict, answer.off_px) for answer in answers} == {("off", None)}
    assert {answer.reason for answer in answers} == {Reason("picks-mirrored")}


def test_the_written_list_reads_back_and_every_pick_is_good(inspection):
    lists = pick_lists(inspection, SCREEN)
    text = picks_csv(lists)
    rows = list(csv.DictReader(io.StringIO(text)))
    assert {row["place"] for row in rows} == {"measured", "expected"}
    lines, verdicts = judged_file(inspection, SCREEN, text.encode(), "picks.csv")
    assert verdicts == {"good"}
    assert lines[-1] == f"{len(rows)} of {len(rows)} picks are good"


@pytest.mark.parametrize(
    "text",
    [
        "front,front/1,10,20.5\n",
        "front;front/1;10;20,5\n",
        "camera\tx\ty\tmark\nfront\t10\t20,5\tfront/1\n\n",
        "\ufeffCamera, Mark, X, Y\nfront , front/1 , 10 , 20.5\r\n",
        "camera,number,x,y\nfront,front/1,10,20.5\n",
    ],
)
def test_tables_as_people_paste_them(text):
    (picked,) = picks_from_text(text.encode(), "picks.csv", {"front": ["front/1"]})
    assert (picked.camera, picked.mark) == ("front", "front/1")
    assert picked.screen_px.tolist() == [10, 20.5]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"camera,mark,x,y\n", "no picks"),
        (b"camera,mark,x\nfront,front/1,4\n", "no column y"),
        (b"a\x00b", "not text"),
    ],
)
def test_no_table_is_told(data, said):
    with pytest.raises(BadInputError, match=said):
        picks_from_text(data, "picks.csv", {"front": ["front/1"]})


def test_every_fault_of_a_table_is_told_at_once():
    text = b"front,front/9,1,2\nside,front/1,1,2\nfront,front/1,nan,1e99\nfront,front/1\n"
    with pytest.raises(BadInputError) as raised:
        picks_from_text(text, "picks.csv", {"front": ["front/1"]})
    keys = [fault.key for fault in raised.value.faults]
    assert keys == ["line 1", "line 2", "line 3", "line 3", "line 4", "line 4"]


def test_the_page_shows_every_pick_and_hostile_names_as_text(inspection):
    hostile = "<b onclick=x>\"'"
    named = replace(inspection, job=replace(inspection.job, name=hostile))
    lists = pick_lists(named, SCREEN)
    html = picks_html(named, lists, (1280, 720))
    count = sum(len(picks) for picks in lists.values())
    assert len(re.findall(r'<img src="data:image/jpeg', html)) == count
    assert "<b onclick" not in html
    assert "&lt;b onclick=x&gt;" in html
    assert CAUTION in html
    for picks in lists.values():
        for pick in picks:
            assert f"{pick.screen_px[0]:.0f}, {pick.screen_px[1]:.0f}<" in html


def test_the_command_writes_both_files_and_refuses_bad_use(inspection, tmp_path):
    contents, (lines, verdicts) = listed(inspection, SCREEN)
    assert sorted(contents) == ["picks.csv", "picks.html"]
    assert verdicts == {"not-judged"}
    assert "right: its marks were not found" in lines
    assert not any("stretched" in line for line in lines)
    _, (lines, _) = listed(inspection, Screen(width=1024, height=768))
    assert any("stretched" in line for line in lines)
    runner = CliRunner()
    assert (
        runner.invoke(app, ["picks", "job.toml", "--screen", "wide", "--out", "x"]).exit_code == 2
    )
    assert runner.invoke(app, ["picks", "job.toml"]).exit_code == 2
    assert runner.invoke(app, ["picks", "no.toml", "--out", str(tmp_path)]).exit_code == 5


def test_of_a_board_its_four_outer_corners_are_listed_panel_by_panel(inspection):
    """Two panels of 4 x 3 inner corners on the front strip, its first mark being the right one."""
    job = inspection.job
    board = Board(square_m=0.06, corners_along=4, corners_across=3)
    strip = replace(job.strips[0], shape=board, at_m=np.array([0.0, 2.0]))
    job = replace(job, strips=(strip,), marks=())
    camera = inspection.cameras[0]
    marks = tuple(
        InspectedMark(
            id=point.id,
            status="used",
            planned_m=point.centre_m,
            pixel_px=expected_px(camera, point.centre_m),
        )
        for point in planned_layout(job).points
    )
    made = replace(inspection, job=job, cameras=(replace(camera, marks=marks),))
    picks = pick_lists(made, SCREEN)["front"]
    outer = [(0, 0), (0, 3), (2, 0), (2, 3)]
    assert [pick.number for pick in picks] == list(range(1, 9))
    assert {pick.mark for pick in picks[:4]} == {MarkId("front", 1, *each) for each in outer}
    assert {pick.mark for pick in picks[4:]} == {MarkId("front", 0, *each) for each in outer}
    inner = expected_px(camera, planned_layout(job).mark(MarkId("front", 1, 1, 1)).centre_m)
    (answer,) = judge_picks(
        made,
        SCREEN,
        [
            Picked(
                camera="front",
                mark=str(picks[0].mark),
                screen_px=SCREEN.from_picture(camera, inner),
            )
        ],
    )
    assert "on front/1/1/1, not the centre" in say_pick(METRIC)(answer.reason)

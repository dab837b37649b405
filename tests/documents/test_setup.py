"""Proves that answers given at a vehicle become the job they mean, or faults that can be mended.

The places are checked against the sample job, which was written by hand before there were any
questions. Does not prove: that a person understands a question.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.paths import SAMPLES
from vision.documents.setup.answers import Answers, answers_from_text, answers_text
from vision.documents.setup.question import (
    CAMERAS,
    drawing_of,
    next_question,
    previous_question,
    questions_for,
)
from vision.documents.setup.reading import value_of
from vision.documents.setup.setup import Setup, answers_behind, setup_from_answers
from vision.documents.setup.setup_text import setup_text
from vision.documents.setup.words import WIDTH, pictures_text, question_text, size_of
from vision.job.camera_keys import pan_deg_of
from vision.job.job_file import job_from_text, named_files
from vision.marks.sources.found import FoundPicture
from vision.units.errors import BadInputError

SAMPLE = SAMPLES / "long_shadow"
ANSWERS = answers_from_text((SAMPLE / "answers.toml").read_bytes(), "answers.toml")
ALL_CAMERAS = Answers().with_answer("cameras", " ".join(CAMERAS))


def setup_of(**changes: str) -> Setup:
    answers = ANSWERS
    for key, text in changes.items():
        answers = answers.with_answer(key.replace("__", "."), text)
    return setup_from_answers(answers)


def faults_of(answers: Answers, pictures: tuple[str, ...] = ()) -> dict[str, str]:
    with pytest.raises(BadInputError) as caught:
        setup_from_answers(answers, pictures, "answers.toml")
    return {fault.key: str(fault) for fault in caught.value.faults}


def test_the_sample_s_answers_are_the_sample_s_job() -> None:
    theirs = job_from_text((SAMPLE / "job.toml").read_bytes(), "job.toml")
    ours = job_from_text(setup_text(setup_of()), "job.toml", planning=True)
    assert ours.vehicle == theirs.vehicle
    for camera in theirs.cameras:
        own = ours.camera(camera.name)
        # 17 ft 8 5/8 in are 5.4007 m.
        assert own.position_m == pytest.approx(camera.position_m, abs=1e-3)
        assert own.aim == camera.aim
        assert own.mirrored == camera.mirrored
        wanted = theirs.lens_of(camera).field_of_view_rad
        assert ours.lens_of(own).field_of_view_rad == pytest.approx(wanted)


def test_a_job_of_init_is_short_and_names_its_layout() -> None:
    text = setup_text(setup_of(field_of_view="185"), "layout.toml")
    assert named_files(text).layout == "layout.toml"
    assert len(text.splitlines()) <= 25
    assert max(map(len, text.splitlines())) <= 100


def test_what_is_not_usual_is_written() -> None:
    setup = setup_of(tilt="40", sure="1 in", lot_length="20", units="ft", name='A "B" \\ c')
    job = job_from_text(setup_text(setup), "job.toml", planning=True)
    assert job.name == 'A "B" \\ c'
    assert job.means.lot_length_m == pytest.approx(20 * 0.3048, abs=1e-3)
    assert job.cameras[0].aim.as_degrees() == pytest.approx((0, 40, 0))
    assert job.cameras[0].position_sigma_m == pytest.approx(0.0254, abs=1e-3)
    assert job.lengths.imperial


@pytest.mark.parametrize(
    ("key", "typed", "camera", "axis", "metres"),
    [
        ("front.behind", "3 cm", "front", 0, 5.37),
        ("front.behind", "3 cm behind", "front", 0, 5.37),
        ("front.behind", "-3 cm", "front", 0, 5.43),
        ("rear.before", "1 in", "rear", 0, -5.4 + 0.0254),
        ("rear.before", "1 in behind", "rear", 0, -5.4 - 0.0254),
        ("front.aside", "12 cm left", "front", 1, 0.12),
        ("front.aside", "right 12 cm", "front", 1, -0.12),
        ("front.aside", "middle", "front", 1, 0),
        ("left.out", "2 in", "left", 1, 1.25 + 0.0508),
        ("left.out", "5 cm inside", "left", 1, 1.2),
        ("right.out", "0.1", "right", 1, -1.35),
        ("right.up", "8 ft", "right", 2, 2.4384),
        ("left.behind", "540 cm", "left", 0, 0),
    ],
)
def test_where_a_camera_is(key: str, typed: str, camera: str, axis: int, metres: float) -> None:
    setup = setup_from_answers(ANSWERS.with_answer(key, typed))
    (own,) = (each for each in setup.cameras if each.name == camera)
    assert own.position_m[axis] == pytest.approx(metres)


def test_a_right_camera_is_as_the_left_one_unless_said() -> None:
    left, right = (
        next(each for each in setup_of().cameras if each.name == name) for name in ("left", "right")
    )
    assert np.array(right.position_m) == pytest.approx(np.array(left.position_m) * [1, -1, 1])
    corners = (
        ANSWERS.with_answer("cameras", "front_left front-right")
        .with_answer("field_of_view", "185")
        .with_answer("mirrored", "none")
        .with_answer("front_left.behind", "0")
        .with_answer("front_left.aside", "1.1 left")
        .with_answer("front_left.up", "2.5")
    )
    for key in [each for each in corners if each.split(".")[0] in ("front", "left", "rear")]:
        corners = corners.without(key)
    ahead, mirrored = setup_from_answers(corners).cameras
    assert ahead.position_m == pytest.approx((5.4, 1.1, 2.5))
    assert mirrored.position_m == pytest.approx((5.4, -1.1, 2.5))


def test_every_fault_of_answers_at_once_with_its_cure() -> None:
    answers = (
        ANSWERS.with_answer("width", "2.5 yards")
        .with_answer("front.up", "270")
        .with_answer("front.aside", "12 cm")
        .with_answer("field_of_view", "185 186")
        .with_answer("lenght", "3")
        .with_answer("front_left.up", "3")
        .with_answer("paper", "lettr")
        .without("rear.up")
    )
    said = faults_of(answers)
    assert set(said) == {
        *("width", "front.up", "front.aside", "field_of_view", "paper", "lenght"),
        *("front_left.up", "rear.up"),
    }
    assert "a unit among" in said["width"]
    assert "did you mean 270 cm?" in said["front.up"]
    assert "`12 cm left` or `12 cm right`" in said["front.aside"]
    assert "1 or 4 numbers" in said["field_of_view"]
    assert "did you mean `letter`?" in said["paper"]
    assert "did you mean `length`?" in said["lenght"]
    assert "name front_left in `cameras`" in said["front_left.up"]
    assert "found nothing" in said["rear.up"]


def test_the_answers_behind_a_fault_are_asked_again() -> None:
    def behind(answers: Answers) -> tuple[str, ...]:
        with pytest.raises(BadInputError) as caught:
            job_from_text(setup_text(setup_from_answers(answers)), "answers", planning=True)
        return answers_behind(caught.value.faults, answers)

    wrong = ANSWERS.with_answer("left.behind", "54")
    assert behind(wrong) == ("left.behind", "left.out", "left.up")
    assert behind(ANSWERS.with_answer("front.up", "270")) == ("front.up",)
    assert behind(ANSWERS.with_answer("width", "25 m")) == ("width",)
    # Nothing that was answered is behind a question that lacks its answer.
    assert behind(ANSWERS.without("rear.up")) == ("rear.before",)


@pytest.mark.parametrize(
    ("key", "typed", "cure"),
    [
        ("units", "yards", "one of mm, cm, m, in, ft"),
        ("cameras", "front lft", "`left`"),
        ("cameras", "front front", "once"),
        ("cameras", " ", "name at least one"),
        ("mirrored", "door", "names among front, left, rear, right"),
        ("field_of_view", "wide", "write numbers"),
        ("field_of_view", "400", "data sheet"),
        ("tilt", "-45", "between 0 and 90"),
        ("tilt", "45 50", "1 numbers"),
        ("length", "10,8", "`10.8`"),
        ("length", "10.8 mm", "check the digits"),
        ("name", "a\u0007b", "one line"),
    ],
)
def test_each_wrong_answer_is_told(key: str, typed: str, cure: str) -> None:
    assert cure in faults_of(ANSWERS.with_answer(key, typed))[key]


def test_what_is_kept_goes_on_where_it_stopped() -> None:
    answers, asked = Answers(), []
    while question := next_question(answers):
        asked.append(question.key)
        text = ANSWERS.get(question.key)
        answers = answers.with_answer(question.key, text or question.default or "")
        # Stopped and started again after every single answer.
        answers = answers_from_text(answers_text(answers), "kept.toml")
    assert asked == [each.key for each in questions_for(answers)]
    assert setup_from_answers(answers) == setup_of()


def test_one_word_goes_back() -> None:
    answers = Answers()
    assert previous_question(answers) is None
    for key in ("name", "units"):
        answers = answers.with_answer(key, "m")
    last = previous_question(answers)
    assert last is not None
    assert last.key == "units"
    answers = answers.without(last.key)
    again = next_question(answers)
    assert again is not None
    assert again.key == "units"


@given(st.text(max_size=40).filter(lambda text: text.isprintable()))
def test_answers_come_back_from_their_file_as_they_were_typed(text: str) -> None:
    answers = Answers().with_answer("name", text).with_answer("front.up", text)
    assert answers_from_text(answers_text(answers), "kept.toml") == answers


@pytest.mark.parametrize(
    "text", ["name = [", "front.up = {a = true}", "name = true", 'name = "a\\nb"', "tilt = nan"]
)
def test_files_that_hold_no_answers(text: str) -> None:
    with pytest.raises(BadInputError) as caught:
        answers_from_text(text, "answers.toml")
    assert str(caught.value).startswith("answers.toml")


@given(text=st.text(max_size=30), number=st.integers(0, 60))
def test_any_text_is_an_answer_or_a_clear_refusal(text: str, number: int) -> None:
    every = questions_for(ALL_CAMERAS, ("a.jpg",))
    question = every[number % len(every)]
    try:
        value_of(question, text, "m", CAMERAS)
    except BadInputError as error:
        (fault,) = error.faults
        assert fault.key == question.key
        assert fault.found
        assert fault.next_step


def test_every_question_has_a_default_that_is_an_answer_and_fits_a_terminal() -> None:
    every = questions_for(ALL_CAMERAS, ("a.jpg",))
    assert len({each.key for each in every}) == len(every)
    for question in every:
        assert pan_deg_of(question.key.split(".")[0]) is not None or "." not in question.key
        if question.default:
            value_of(question, question.default, "m", CAMERAS)
            assert question.origin
        lines = [*question_text(question, 1, 2, None).splitlines()]
        lines += drawing_of(question).splitlines()
        assert all(len(line) <= WIDTH and line.isprintable() for line in lines)
        assert not question.drawing or drawing_of(question)


def test_whose_picture_a_file_is_is_asked_where_no_name_says_it() -> None:
    pictures = ("FRONT_1.jpg", "IMG_1.jpg", "IMG_2.jpg")
    asked = [each for each in questions_for(ANSWERS, pictures) if each.kind == "file"]
    assert [each.key for each in asked] == ["left.picture", "rear.picture", "right.picture"]
    given_one = ANSWERS.with_answer("left.picture", "img_1.JPG")
    left, rear, _ = (each for each in questions_for(given_one, pictures) if each.kind == "file")
    assert left.choices == ("IMG_1.jpg", "IMG_2.jpg")
    assert rear.choices == ("IMG_2.jpg",)
    setup = setup_from_answers(given_one, pictures)
    assert [each.picture for each in setup.cameras] == [None, "IMG_1.jpg", None, None]
    assert named_files(setup_text(setup)).pictures[1][1] == "IMG_1.jpg"


def test_what_is_said_of_pictures_that_are_there() -> None:
    found = (
        FoundPicture(file="front.jpg", size_px=(1280, 720)),
        FoundPicture(file="left.jpg", size_px=(1280, 720)),
        FoundPicture(file="x.jpg", size_px=(720, 1280), turned="quarter right"),
    )
    text = " ".join(pictures_text(found, ("front", "left")).split())
    assert "quarter right" in text
    assert "differ in size" in text
    assert size_of(found) == (1280, 720)
    assert size_of(()) == (1280, 720)

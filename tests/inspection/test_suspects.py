"""The job is a suspect too: a wrong entry is named before any camera is turned.

Proves: on a stored set, an entry that makes a camera's marks unfindable is named with what fits and
nothing is advised that rests on it; the right job is not doubted; where no picture fits the job,
the job is to be checked. `tests.accuracy.entries` makes the other slips, on all sets.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.paths import CLEAR_DAY
from vision.documents.check_words.words import say_check, warning_texts
from vision.files.disk import read_inspection_input
from vision.inspection.finding import measured
from vision.inspection.inspect import inspect
from vision.inspection.inspected import Inspection
from vision.inspection.suspects import moved_strips
from vision.inspection.verdict.cameras import CameraVerdict
from vision.inspection.verdict.jobs import job_verdict
from vision.inspection.verdict.rule import Action
from vision.job.entries import camera_edits, exchanged_strips, lens_edits, strip_edits
from vision.job.job import Job
from vision.job.plausible import can_be
from vision.marks.picture import Picture
from vision.units.reason import Reason

Input = tuple[Job, tuple[Picture, ...]]


@pytest.fixture(scope="module")
def clear_day() -> Input:
    return read_inspection_input(CLEAR_DAY)


@pytest.fixture(scope="module")
def narrow(clear_day: Input) -> Inspection:
    """The left camera's lens typed with 140 degrees for 185."""
    job, pictures = clear_day
    lenses = tuple(
        replace(lens, field_of_view_rad=np.radians(140)) if lens.name == "left" else lens
        for lens in job.lenses
    )
    return inspect(replace(job, lenses=lenses), pictures)


def test_a_wrong_field_of_view_is_named_with_what_fits(narrow: Inspection) -> None:
    (entry,) = (
        reason.arguments["entry"] for reason in narrow.warnings if reason.code == "entry-wrong"
    )
    assert entry.arguments["key"] == "lens.left.field_of_view_deg"
    assert np.degrees(entry.arguments["meant_rad"]) == pytest.approx(185, abs=4)
    assert any("lens.left.field_of_view_deg" in text for text in warning_texts(narrow))


def test_nothing_is_advised_that_rests_on_it(narrow: Inspection) -> None:
    words = {camera.name: camera for camera in narrow.cameras}
    assert words["left"].verdict == "not-judged"
    assert [reason.code for reason in words["left"].reasons] == ["rests-on-entry"]
    assert not words["left"].actions
    assert narrow.verdict == "not-judged"
    assert narrow.actions[0].what.code == "correct-entry"
    assert {words[name].verdict for name in ("front", "right", "rear")} == {"keep"}


def test_the_right_job_is_not_doubted(clear_day: Input) -> None:
    assert measured(*clear_day).suspicions == ()


def test_every_edit_is_another_job_that_can_be(clear_day: Input) -> None:
    job, _ = clear_day
    left = job.camera("left")
    edits = [
        *camera_edits(job, left),
        *lens_edits(job, job.lens_of(left)),
        *(edit for strip in job.strips for edit in strip_edits(job, strip)),
        *exchanged_strips(job),
    ]
    say = say_check(job.lengths)
    for edit in edits:
        assert edit.turned_over or edit.job != job
        assert can_be(edit.job.vehicle, edit.job.camera("left"))
        assert say(edit.entry).startswith(edit.key)


def test_names_with_dots_are_whole(clear_day: Input) -> None:
    job, _ = clear_day
    strip = replace(job.strip("left"), name="left.near")
    dotted = replace(job, strips=(strip,))
    for edit in strip_edits(dotted, strip):
        assert moved_strips(edit) == {"left.near"}


def test_entries_come_before_all_other_actions() -> None:
    turn = Action(what=Reason("turn"))
    camera = CameraVerdict(name="left", verdict="re-aim", actions=(turn,))
    entry = Reason("correct-entry", entries=())
    whole = job_verdict((camera,), (), (), (), (entry,))
    assert whole.verdict == "not-judged"
    assert [action.what.code for action in whole.actions] == ["correct-entry", "turn"]


def test_where_no_picture_fits_the_job_is_to_be_checked(clear_day: Input) -> None:
    job, pictures = clear_day
    front, rear = job.cameras[:2]
    rng = np.random.default_rng(3)
    # Ground with some texture, and nothing on it.
    bare = tuple(
        replace(each, sha256=each.name, bgr=_textured(rng.normal(size=(180, 320))))
        for each in pictures[:2]
    )
    found = inspect(replace(job, cameras=(front, rear)), bare)
    assert found.verdict == "not-judged"
    assert [action.what.code for action in found.actions] == ["check-job"]
    assert {camera.verdict for camera in found.cameras} == {"not-judged"}


def _textured(noise: np.ndarray) -> np.ndarray:
    """A picture (height, width, 3) of soft texture."""
    soft = (
        noise + np.roll(noise, 1, 0) + np.roll(noise, 1, 1) + np.roll(noise, (1, 1), (0, 1))
    ) / 2
    return np.clip(120 + 25 * soft, 0, 255).astype(np.uint8)[..., None].repeat(3, axis=2)

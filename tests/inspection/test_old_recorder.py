"""Pictures of an old recorder: pixels that are not square, and odd rows of another moment.

Proves, on a stored set from a path tracer that shares no code with this project, that the shape is
found and said, that combed pictures are measured in their even rows, and that names, places, aims
and verdicts come out as they are, with the shape stated and without. Does not prove it of the other
shapes: `tests/accuracy/conditions.py` draws those.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.accuracy.sets import CLEAR, LARGE_PX, WRONG_PX, extent_px
from tests.paths import FRAMES
from vision.camera.pixel_shape import NAMED
from vision.documents.check_words.words import say_check
from vision.documents.result import result_of, validate
from vision.files.disk import read_inspection_input
from vision.inspection.inspect import inspect
from vision.inspection.inspected import Inspection

FOLDER = FRAMES / "old_recorder"
TRUTH = json.loads((FOLDER / "truth.json").read_text())
SHAPE = "625 lines, 16:9, 720 samples"
SAID = [None, SHAPE, "625 lines, 16:9"]


@cache
def inspected(said: str | None) -> Inspection:
    """The set, with the shape of its pixels left open or stated."""
    job, pictures = read_inspection_input(FOLDER / "job.toml")
    shape = None if said is None else NAMED[said]
    lenses = tuple(replace(lens, pixels=shape) for lens in job.lenses)
    return inspect(replace(job, lenses=lenses), pictures)


@pytest.mark.parametrize("said", SAID)
def test_verdicts_are_those_the_pictures_were_made_for(said: str | None) -> None:
    inspection = inspected(said)
    expected = TRUTH["expected"]["cameras"]
    assert {camera.name: camera.verdict for camera in inspection.cameras} == expected
    assert {strip.verdict for strip in inspection.strips} == {"keep"}
    assert {seam.verdict for seam in inspection.seams} == {"within"}
    left = next(camera for camera in inspection.cameras if camera.name == "left")
    assert [reason.code for reason in left.reasons] == ["roll-beyond"]
    validate(result_of(inspection))


@pytest.mark.parametrize("said", SAID)
def test_marks_are_named_and_lie_where_the_even_rows_show_them(said: str | None) -> None:
    due = used = 0
    for camera in inspected(said).cameras:
        marks, off_px = {str(mark.id): mark for mark in camera.marks}, []
        for true in TRUTH["cameras"][camera.name]["marks"]:
            mark = marks[true["id"]]
            is_due = true["clear_fraction"] > CLEAR and extent_px(true) >= LARGE_PX
            due, used = due + is_due, used + (is_due and mark.status == "used")
            if mark.status == "used":
                off = mark.pixel_px - np.array(true["px"])
                assert np.linalg.norm(off) < WRONG_PX
                # Up to 0.05 px are the renderer's own.
                assert off @ np.linalg.inv(mark.covariance_px2 + 0.05**2 * np.eye(2)) @ off < 16
                off_px.append(np.linalg.norm(off))
        # Between the rows of even and odd moments it would be half a pixel.
        assert np.median(off_px) < 0.1
    assert used >= 0.95 * due > 20


@pytest.mark.parametrize("said", SAID)
def test_aims_and_places_lie_within_three_sigma(said: str | None) -> None:
    for camera in inspected(said).cameras:
        true, adjusted = TRUTH["cameras"][camera.name]["true"], camera.adjusted
        assert adjusted is not None
        off = np.degrees(adjusted.aim.as_array()) - true["yaw_pitch_roll_deg"]
        off = (off + 180) % 360 - 180
        assert np.abs(off / np.degrees(adjusted.aim_sigma_rad)).max() < 3
        off_m = adjusted.pose.camera_in_ground_m - np.array(true["position"])
        assert np.abs(off_m / adjusted.position_sigma_m).max() < 3
        lens = TRUTH["cameras"][camera.name]["lens"]["kannala_brandt"]
        aspect = adjusted.lens.fy / adjusted.lens.fx
        assert aspect == pytest.approx(lens["fy"] / lens["fx"], rel=0.006)


def test_the_shape_is_chosen_and_said() -> None:
    reason = next(each for each in inspected(None).warnings if each.code == "pixel-shape")
    assert reason.arguments["aspect"] == pytest.approx(1.4222, abs=1e-4)
    assert reason.arguments["lenses"] == ("front", "rear", "left", "right")
    said = say_check()(reason)
    assert "1.4222 times as wide as high" in said
    assert f'write pixel_aspect = "{SHAPE}" under [lens.front]' in said
    assert not [each for each in inspected(SHAPE).warnings if each.code == "pixel-shape"]


def test_what_rows_were_measured_is_said() -> None:
    inspection = inspected(None)
    rows = {camera.name: camera.picture.rows for camera in inspection.cameras}
    assert rows == {"front": "even", "rear": "all", "left": "all", "right": "even"}
    combed = [each for each in inspection.warnings if each.code == "combed"]
    assert [each.arguments["camera"] for each in combed] == ["front", "right"]
    assert "only the even rows were measured" in say_check()(combed[0])
    pictures = {each["name"]: each["picture"] for each in result_of(inspection)["cameras"]}
    assert pictures["front"]["rows"] == "even"
    assert 1.0 < pictures["front"]["rows_apart_px"] < 1.6
    assert pictures["rear"]["rows"] == "all"
    assert "rows_apart_px" not in pictures["rear"]


def test_pixels_that_are_not_square_are_no_motion() -> None:
    for camera in inspected(None).cameras:
        assert camera.picture_verdict is not None
        answers = camera.picture_verdict.answers
        # The right camera's picture is of a vehicle that rolls.
        assert answers.pop("motion") in ("no", "cannot-tell" if camera.name == "right" else "no")
        assert set(answers.values()) == {"no"}

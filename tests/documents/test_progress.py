"""Proves what is said of two results: angles that changed, judgements that did, and nothing else.

Does not prove when a check looks for the one before: `tests/cli/test_check_changes.py` does.
"""

from __future__ import annotations

import copy

import pytest

from vision.documents.progress import AngleChange, AngleLeft, angles_left, changes
from vision.documents.result import result_of


@pytest.fixture
def result(inspection):
    return result_of(inspection)


def turned(result, camera, angle, degrees, *, verdict="keep", codes=(), sha256="another"):
    """The same result with one camera turned so far off its intended aim."""
    new = copy.deepcopy(result)
    entry = next(each for each in new["cameras"] if each["name"] == camera)
    entry["joint"]["aim_deg"][angle] = entry["intended_aim_deg"][angle] + degrees
    entry["verdict"] = verdict
    entry["reasons"] = [{"code": code, "text": ""} for code in codes]
    entry["picture"]["sha256"] = sha256
    return new


def test_an_angle_that_was_put_right_is_said_with_both_figures(result):
    far = turned(result, "front", "tilt", 5.6, verdict="re-aim", codes=["tilt-beyond"], sha256="a")
    near = turned(result, "front", "tilt", 0.4)
    assert changes(far, near) == [
        "front tilt 5.6 -> 0.4 too far down, within",
        "front camera: re-aim -> keep",
    ]


def test_an_angle_turned_too_far_the_other_way_says_both_ways(result):
    before = turned(result, "front", "pan", -4.0, sha256="a", codes=["pan-beyond"])
    after = turned(result, "front", "pan", 3.5, codes=["pan-beyond"])
    assert changes(before, after) == ["front pan 4.0 too far right -> 3.5 too far left"]


def test_the_same_picture_and_what_is_in_doubt_are_no_change(result):
    assert changes(result, result) == []
    # Another picture, turned by less than two sigma of both: 0.06 degrees each.
    assert changes(result, turned(result, "front", "pan", 0.1)) == []
    same = result["cameras"][0]["picture"]["sha256"]
    assert changes(result, turned(result, "front", "pan", 9.0, sha256=same)) == []


def test_a_turn_through_half_a_circle_is_a_small_one(result):
    rear = turned(result, "rear", "pan", -0.5, sha256="a")
    [line] = changes(rear, turned(result, "rear", "pan", 0.5))
    assert line == "rear pan 0.5 too far right -> 0.5 too far left"


def test_a_camera_without_a_fit_has_nothing_left_that_is_known(result):
    unknown = next(each for each in result["cameras"] if each["joint"] is None)
    assert angles_left(unknown) == ()


def test_without_a_sigma_only_a_judgement_tells_a_change():
    def left(off, word):
        return AngleLeft(name="pan", off_deg=off, sigma_deg=None, word=word)

    assert not AngleChange(camera="top", before=left(1, "within"), after=left(9, "within")).matters
    assert AngleChange(camera="top", before=left(1, "within"), after=left(9, "beyond")).matters

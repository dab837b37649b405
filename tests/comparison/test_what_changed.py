"""Proves that a comparison of two checks names what changed, that alone, and in the right words.

Proves, on simulated pairs of checks whose truth is known: nothing is named where nothing changed; a
camera that was turned or moved, a strip that was said to lie still, and a vehicle that stands
differently are each named as such; the sigmas are of the size of the errors.

Does not prove how often that goes wrong: `python -m tests.accuracy.compare` counts it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.accuracy.compare import Between
from tests.comparing import STILL, compared, named, two_checks
from vision.adjustment.search import adjust
from vision.camera.geometry import Pose
from vision.camera.solver import NoFit
from vision.comparison.change import Epoch, Shared
from vision.comparison.compared import compare
from vision.documents.check_words.saying import WAYS
from vision.documents.comparison_words import (
    PLACES,
    sentences,
    steps_back,
)
from vision.job.layout import planned_layout
from vision.units.reason import Reason

DAY = "since 3 March 2026"


def test_nothing_is_named_where_nothing_changed(still):
    result = compared(still)
    assert named(result) == {}
    assert not result.vehicle.significant
    assert not result.strips_moved
    assert [seam.breaks for seam in result.seams] == [False] * 4
    for camera in result.cameras:
        assert np.abs(camera.aim_rad / camera.aim_sigma_rad).max() < 4
        assert np.degrees(camera.detectable_rad) < 0.3


def test_what_is_shared_sharpens(still):
    anew = {c.name: c.detectable_rad for c in compared(still, Shared()).cameras}
    kept = {c.name: c.detectable_rad for c in compared(still).cameras}
    untouched = {c.name: c.detectable_rad for c in compared(still, Shared(untouched=True)).cameras}
    for name, size in kept.items():
        assert untouched[name] <= 1.001 * size
        assert size < anew[name]


def test_a_turned_camera_is_named_and_breaks_its_seams(job):
    turn = np.radians([1.4, 0.0, 0.0])
    result = compared(two_checks(job, Between(camera="front", turn=turn, relaid=False)))
    assert named(result) == {"front": (True, False)}
    (front,) = result.changed
    # Turned about its own x axis: the axis tips up.
    off = front.aim_rad[1] - np.radians(1.4)
    assert abs(off) < 4 * front.aim_sigma_rad[1]
    broken = {seam.between for seam in result.seams if seam.breaks}
    assert broken
    assert all("front" in between for between in broken)
    lines = sentences(result, DAY, 0.05)
    assert WAYS["tilt"][1] in lines[0]
    # The change, what it breaks, and the cameras that did not.
    assert len(lines) == 1 + len(broken) + 3
    # To do: turn it back the other way, by as much; nothing besides for the seams it breaks.
    (step,) = steps_back(result)
    assert f"{WAYS['tilt'][0]} by" in step
    assert f"{np.degrees(front.aim_rad[1]):.1f}" in step
    assert "set the display again" in step


def test_a_large_turn(job):
    turn = np.radians([4.0, -3.0, 2.0])
    result = compared(two_checks(job, Between(camera="left", turn=turn)), Shared())
    assert named(result) == {"left": (True, False)}


def test_a_camera_that_was_moved(job):
    first, second = two_checks(job, STILL)
    moved = second.job.cameras
    # Everything that the camera shows lies 6 cm nearer to it: its place has changed by as much.
    shift = np.array([0.0, 0.0, -0.06])
    seen = [
        replace(o, points=_seen_from(o, second.adjustment.camera(o.name), shift))
        if o.name == "right"
        else o
        for o in second.observations
    ]
    assert len(seen) == len(moved)
    result = compared((first, replace(second, observations=tuple(seen))))
    assert set(named(result)) == {"right"}
    assert named(result)["right"][1]
    right = next(c for c in result.cameras if c.name == "right")
    assert right.place_m == pytest.approx(shift, abs=0.015)
    assert PLACES[2][0] in sentences(result, DAY, 0.05)[0]
    assert f"{PLACES[2][1]} by" in steps_back(result)[0]


def _seen_from(observations, camera, shift):
    places = observations.points.planned_m
    before = camera.lens.project(camera.pose.transform(places))
    pose = camera.pose.perturbed(np.r_[shift, 0, 0, 0])
    moved = observations.points.pixels_px + camera.lens.project(pose.transform(places)) - before
    return replace(observations.points, pixels_px=moved)


def test_a_strip_that_was_said_to_lie_still(job):
    result = compared(two_checks(job, Between(relaid=False, moved=("left", 0.04))))
    assert result.strips_moved == ("left",)
    assert named(result) == {}
    assert len(sentences(result, DAY, 0.05)) == 1 + len(result.cameras)


def test_a_vehicle_that_leans_blames_no_camera(job):
    R = Rotation.from_rotvec(np.radians([1.0, 0.4, 0.0])).as_matrix()
    stance = Pose(R=R, t_m=np.array([0.0, 0.0, -0.05]))
    result = compared(two_checks(job, Between(stance=stance, relaid=False)))
    assert named(result) == {}
    vehicle = result.vehicle
    assert vehicle.significant
    assert vehicle.height_m == pytest.approx(-0.05, abs=4 * vehicle.height_sigma_m)
    assert np.degrees(vehicle.lean_rad) == pytest.approx(
        1.0, abs=4 * np.degrees(vehicle.lean_sigma_rad)
    )
    lines = sentences(result, DAY, 0.05)
    assert "lower" in lines[0]
    assert "to its right" in lines[0]
    assert len(steps_back(result)) == any(seam.breaks for seam in result.seams)


def test_a_few_marks_are_enough_and_say_so(job, still):
    few = compared(two_checks(job, Between(relaid=False, marks=5)))
    assert named(few) == {}
    all_of_them = {c.name: c.detectable_rad for c in compared(still).cameras}
    for camera in few.cameras:
        assert camera.detectable_rad > all_of_them[camera.name]
        assert np.degrees(camera.detectable_rad) < 1.5


def test_a_later_job_with_fewer_strips(still):
    """Two strips laid again for a quick look, under a job file of their own."""
    first, second = still
    strips = tuple(s for s in second.job.strips if s.name in ("front", "left"))
    job = replace(second.job, strips=strips, marks=())
    layout = planned_layout(job)
    ids = set(layout.ids)
    seen = tuple(_only(o, ids) for o in second.observations)
    adjustment = adjust(job, layout, seen)
    assert not isinstance(adjustment, NoFit)
    taking_part = {camera.name for camera in adjustment.cameras}
    observations = tuple(o for o in seen if o.name in taking_part)
    few = replace(second, job=job, observations=observations, adjustment=adjustment)
    result = compared((first, few))
    assert named(result) == {}
    # Of the rear camera's marks only the end of the left strip is there: too few.
    assert {"front", "left"} <= {camera.name for camera in result.cameras}
    assert {name for name, _ in result.not_compared} == {c.name for c in job.cameras} - taking_part


def _only(observations, ids):
    points = observations.points
    kept = points.only(np.array([mark_id in ids for mark_id in points.ids]))
    return replace(observations, points=kept)


def test_one_camera_alone_cannot_tell_its_turn_from_a_lean(still):
    def only(epoch: Epoch) -> Epoch:
        return replace(epoch, observations=epoch.observations[:1])

    (front,) = compared((only(still[0]), only(still[1]))).cameras
    assert np.degrees(front.detectable_rad) > 1.0
    (front,) = compared((only(still[0]), only(still[1])), Shared(untouched=True)).cameras
    assert np.degrees(front.detectable_rad) < 0.5


def test_a_camera_that_is_not_in_both(still):
    first, second = still
    result = compared((first, replace(second, observations=second.observations[1:])))
    assert result.not_compared == (("front", Reason("took-no-part", check="later")),)
    assert "front: not compared, it took no part in the later check" in sentences(result, DAY, 0.05)
    assert len(sentences(result, DAY, 0.05)) == len(result.cameras) + 1
    nothing = compare(first, replace(second, observations=()))
    assert isinstance(nothing, NoFit)
    assert nothing.code == "nothing-shared"
    larger = [
        replace(each, prior=replace(each.prior, guess=replace(each.prior.guess, width=2560)))
        for each in second.observations[:1]
    ]
    result = compared((first, replace(second, observations=(*larger, *second.observations[1:]))))
    sizes_px = ((1280, 720), (2560, 720))
    assert result.not_compared == (("front", Reason("sizes-differ", sizes_px=sizes_px)),)

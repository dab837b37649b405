"""Levels on the ground and on the body's floor in the joint adjustment, on made-up jobs.

Proves: derivatives by the ground's slope and the body's turn; that aims against the body come out
with the lever arms of mountings counted, and signs, from rises worked out by another way; that an
axis along which only one of the two was levelled stays as without; that one misread level of
several is set free.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.adjusting import JOB, LENS_SIGMA, Scene
from tests.differences import assert_group_as_differences
from vision.adjustment.adjusted import Adjustment
from vision.adjustment.building import build_network
from vision.adjustment.groups import Group
from vision.adjustment.search import adjust
from vision.camera.geometry import aim_from_rotation, d_step_d_vector
from vision.inspection.verdict.common_turn import standing
from vision.job.job import Job, LengthReading, LevelReading
from vision.job.mark_id import MarkId
from vision.units.arrays import Array

SIGMA = float(np.radians(0.1))
RISE = np.array([0.004, 0.009])
"""Of the ground, ahead and to the left."""
TURN = np.radians([1.1, -0.6, 0.0])
"""Of the body against the ground."""


def levels(turn_rad: Array = TURN, on: tuple[str, ...] = ("ground", "floor")) -> list[LevelReading]:
    """What a level shows on the ground and on the floor of a body that is turned so.

    An axis rises by how far it points along the plumb line, here up, in ground coordinates.
    """
    up = np.array([*RISE, 1.0]) / np.hypot(1, np.hypot(*RISE))
    axes = {"ground": np.eye(3), "floor": Rotation.from_rotvec(turn_rad).as_matrix()}
    return [
        LevelReading(
            on="ground" if where == "ground" else "floor",
            along="left" if index else "ahead",
            rise=float(np.tan(np.arcsin(axes[where][:, index] @ up))),
            sigma=SIGMA,
        )
        for where in on
        for index in (0, 1)
    ]


def turned(job: Job, turn_rad: Array = TURN) -> Job:
    """The job as it truly is where the body stands turned: mountings and aims turn with it."""
    R = Rotation.from_rotvec(turn_rad).as_matrix()
    cameras = tuple(
        replace(
            each,
            position_m=R @ each.position_m,
            aim=aim_from_rotation(each.aim.rotation() @ R.T),
        )
        for each in job.cameras
    )
    return replace(job, cameras=cameras)


def adjusted(scene: Scene, job: Job) -> Adjustment:
    result = adjust(job, scene.layout, scene.observations)
    assert isinstance(result, Adjustment), result
    return result


def test_derivatives_by_slope_and_turn_match_central_differences() -> None:
    scene = Scene(JOB, np.random.default_rng(1))
    # A camera without a picture, to which a length was taped, turns with the body too.
    taped = LengthReading(
        kind="distance", between=("left", MarkId("left_trestle")), value_m=1.0, sigma_m=0.004
    )
    job = replace(JOB, readings=(*levels(), taped))
    observations = tuple(each for each in scene.observations if each.name != "left")
    network = build_network(job, scene.layout, observations)
    assert list(network.world.stance) == [0, 1]
    rng = np.random.default_rng(3)
    state = network.start.moved(rng.normal(0, 1e-2, network.size))
    for group in network.groups():
        if group.kind in ("reading", "mounting"):
            assert_group_as_differences(network, state, group)


def test_the_step_of_a_rotation_vector_matches_central_differences() -> None:
    vector = np.array([0.03, -0.05, 0.01])
    back = Rotation.from_rotvec(vector).inv()
    for column, step in enumerate(1e-5 * np.eye(3)):
        plus, minus = (
            (Rotation.from_rotvec(vector + sign * step) * back).as_rotvec() for sign in (1, -1)
        )
        np.testing.assert_allclose(
            (plus - minus) / 2e-5, d_step_d_vector(vector)[:, column], atol=1e-5
        )


def test_aims_against_the_body() -> None:
    over, told = [], []
    for seed in range(12):
        scene = Scene(turned(JOB), np.random.default_rng(seed), lens_sigma=0.1 * LENS_SIGMA)
        rng = np.random.default_rng(100 + seed)
        read = [replace(each, rise=each.rise + rng.normal(0, SIGMA)) for each in levels()]
        result = adjusted(scene, replace(JOB, readings=tuple(read)))
        assert result.freed == ()
        told.append(standing(result) is not None)
        back = Rotation.from_rotvec(TURN).as_matrix()
        for camera in result.cameras:
            aim = aim_from_rotation(scene.poses[camera.name].R @ back)
            over.append(camera.aim_on_body.minus(aim) / camera.aim_on_body_sigma_rad)
            assert camera.stance is not None
            assert np.abs(camera.stance.turn_rad - TURN).max() < 4 * SIGMA * np.sqrt(2)
    assert np.sqrt(np.mean(np.square(over))) == pytest.approx(1, abs=0.2)
    assert all(told)


def test_the_sigma_of_an_aim_against_the_body_holds_that_of_the_levels() -> None:
    scene = Scene(JOB, np.random.default_rng(7))
    result = adjusted(scene, replace(JOB, readings=tuple(levels(0 * TURN))))
    camera = result.camera("front")
    assert camera.stance is not None
    # Two readings of 0.1 degree, narrowed a little by the mountings.
    assert 0.8 * SIGMA < camera.stance.sigma_rad[0] < np.sqrt(2) * SIGMA
    assert (camera.aim_on_body_sigma_rad[2] > 0.9 * camera.aim_sigma_rad[2]).all()
    assert standing(result) is None


def test_levels_on_the_ground_alone_leave_the_body_as_it_is() -> None:
    scene = Scene(JOB, np.random.default_rng(8))
    for on in ("ground", "floor"):
        result = adjusted(scene, replace(JOB, readings=tuple(levels(on=(on,)))))
        assert all(camera.stance is None for camera in result.cameras)
        before = scene.adjusted().camera("front")
        np.testing.assert_allclose(result.camera("front").pose.R, before.pose.R, atol=1e-5)
        np.testing.assert_array_equal(
            result.camera("front").aim_on_body.as_array(), result.camera("front").aim.as_array()
        )


def test_an_axis_that_was_not_levelled_is_not_turned() -> None:
    scene = Scene(JOB, np.random.default_rng(9))
    across = tuple(each for each in levels() if each.along == "left")
    (front, *_) = adjusted(scene, replace(JOB, readings=across)).cameras
    assert front.stance is not None
    assert front.stance.read == (True, False)
    assert front.stance.turn_rad[1:].tolist() == [0, 0]
    assert front.stance.sigma_rad[1:].tolist() == [0, 0]


def test_a_misread_level_is_set_free() -> None:
    scene = Scene(turned(JOB), np.random.default_rng(10), lens_sigma=0.1 * LENS_SIGMA)
    read = [*levels(), *levels()]
    read[3] = replace(read[3], rise=read[3].rise + 0.06)
    result = adjusted(scene, replace(JOB, readings=tuple(read)))
    named = {*result.freed, *(group for tie in result.freed_alternatives for group in tie)}
    assert Group.of_reading(4) in named
    assert not {Group.of_reading(number) for number in (1, 2, 5, 6)} & named

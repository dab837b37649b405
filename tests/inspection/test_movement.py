"""Proves that a camera that moved is told from a vehicle that did, from the steps of its cameras.

Steps are made here from the geometry alone; how they come from pictures, and how often a turn of a
fifth of a degree is found, is printed by `tests.accuracy.shots`.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.conftest import PLACES
from vision.camera.geometry import Aim, Pose
from vision.identification.identified import Identified
from vision.identification.shots import Combined, Step
from vision.inspection.verdict.movement import movements

SIGMA = np.array([0.001, 0.001, 0.001, 1e-4, 1e-4, 1e-4])


def pose_of(place: tuple[float, float, float, float]) -> Pose:
    x, y, z, pan = place
    return Pose.at(np.array([x, y, z]), Aim.from_degrees(pan, 45, 0).rotation())


def step_between(before: Pose, after: Pose) -> np.ndarray:
    """What `Pose.perturbed` takes to get from one pose to the other."""
    turn = Rotation.from_matrix(after.R @ before.R.T).as_rotvec()
    return np.concatenate([after.camera_in_ground_m - before.camera_in_ground_m, turn])


def on_body(turn: np.ndarray, shift: np.ndarray) -> dict[str, np.ndarray]:
    """Each camera's step where the body turns about the origin and shifts."""
    body = Rotation.from_rotvec(turn).as_matrix()
    steps = {}
    for name, place in PLACES.items():
        before = pose_of(place)
        after = Pose.at(body @ before.camera_in_ground_m + shift, before.R @ body.T)
        steps[name] = step_between(before, after)
    return steps


def shots(steps: dict[str, np.ndarray], seed: int = 0, shot: int = 1) -> dict[str, Combined]:
    rng = np.random.default_rng(seed)
    return {
        name: Combined(
            outcome=cast(
                Identified, SimpleNamespace(fit=SimpleNamespace(pose=pose_of(PLACES[name])))
            ),
            steps=(
                Step(
                    shot=shot,
                    step=step + rng.normal(size=6) * SIGMA,
                    covariance=np.diag(SIGMA**2),
                    shift_px=float(400 * np.linalg.norm(step[3:])),
                ),
            ),
        )
        for name, step in steps.items()
    }


STILL = dict.fromkeys(PLACES, np.zeros(6))


def test_nothing_moved() -> None:
    assert movements(shots(STILL)) == ()


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("name", list(PLACES))
def test_a_camera_that_turned_is_named(name: str, axis: int) -> None:
    turn = np.zeros(6)
    turn[3 + axis] = np.radians(0.4)
    (note,) = movements(shots({**STILL, name: turn}))
    assert (note.code, note.arguments["camera"], note.arguments["shot"]) == (
        "camera-moved",
        name,
        2,
    )
    assert note.arguments["turn_rad"] == pytest.approx(np.radians(0.4), rel=0.1)


@pytest.mark.parametrize("seed", range(10))
def test_a_vehicle_that_rocked_is_named(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn, shift = rng.normal(0, np.radians(0.3), 3), rng.normal(0, 0.01, 3)
    assert [each.code for each in movements(shots(on_body(turn, shift)))] == ["vehicle-moved"]


def test_two_cameras_that_turned_each_its_own_way_are_no_vehicle() -> None:
    steps = {**STILL, "front": np.array([0, 0, 0, 0.007, 0, 0])}
    steps["left"] = np.array([0, 0, 0, 0, 0.007, 0])
    notes = movements(shots(steps))
    assert [each.code for each in notes] == ["camera-moved", "camera-moved"]


def test_a_movement_is_told_once() -> None:
    turned = {**STILL, "front": np.array([0, 0, 0, 0.007, 0, 0])}
    first, second = shots(turned, shot=1), shots(turned, shot=2)
    both = {
        name: Combined(outcome=first[name].outcome, steps=first[name].steps + second[name].steps)
        for name in PLACES
    }
    assert [each.arguments["shot"] for each in movements(both)] == [2]

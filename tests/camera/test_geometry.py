"""Poses, aims and their derivatives.

Proves that the axes are those the project promises (rows worked out by hand from the definition of
pan, tilt and roll), that aim and rotation, pose and inverse undo each other, that both derivatives
agree with central differences, also next to zero angle and to pi, and that what is no rotation is
refused. Does not prove that a camera seen from outside turns the way a person expects: only the
three words pan, tilt and roll as defined.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from vision.camera.geometry import (
    Aim,
    Pose,
    aim_from_rotation,
    cross_matrix,
    d_aim_d_rotation_vector,
    rotation_angle,
    wrap_angle,
)
from vision.units.arrays import Array, frozen_array

HALF = np.sqrt(0.5)
STEP = 1e-6

pans = st.floats(-179.999, 180.0)
tilts = st.floats(-89.0, 89.0)
vectors = st.tuples(*[st.floats(-3.0, 3.0)] * 3).map(np.array)


@st.composite
def poses(draw: st.DrawFn) -> Pose:
    aim = Aim.from_degrees(draw(pans), draw(tilts), draw(pans))
    return Pose.at(draw(vectors), aim.rotation())


def exponential(rotation_vector: Array) -> Array:
    return Rotation.from_rotvec(rotation_vector).as_matrix()


@pytest.mark.parametrize(
    ("pan_deg", "tilt_deg", "roll_deg", "rows"),
    [
        # Level, ahead: right is ground -y, down is ground -z, forward is ground x.
        (0, 0, 0, [[0, -1, 0], [0, 0, -1], [1, 0, 0]]),
        # Level, to the left: the camera's right is straight ahead of the vehicle.
        (90, 0, 0, [[1, 0, 0], [0, 0, -1], [0, 1, 0]]),
        (180, 0, 0, [[0, 1, 0], [0, 0, -1], [-1, 0, 0]]),
        (-90, 0, 0, [[-1, 0, 0], [0, 0, -1], [0, -1, 0]]),
        # 45 degrees below the horizontal: down leans back under the camera.
        (0, 45, 0, [[0, -1, 0], [-HALF, 0, -HALF], [HALF, 0, -HALF]]),
        # Rolled a quarter turn clockwise as seen from behind: its right side is down.
        (0, 0, 90, [[0, 0, -1], [0, 1, 0], [1, 0, 0]]),
    ],
)
def test_axes_by_hand(pan_deg: float, tilt_deg: float, roll_deg: float, rows: list) -> None:
    R = Aim.from_degrees(pan_deg, tilt_deg, roll_deg).rotation()
    np.testing.assert_allclose(R, rows, atol=1e-15)


def test_a_rolled_camera_by_the_definition() -> None:
    p, t, r = np.radians([33.0, 41.0, -7.0])
    f = np.array([np.cos(t) * np.cos(p), np.cos(t) * np.sin(p), -np.sin(t)])
    r0 = np.array([np.sin(p), -np.cos(p), 0.0])
    d0 = np.cross(f, r0)
    want = [np.cos(r) * r0 + np.sin(r) * d0, -np.sin(r) * r0 + np.cos(r) * d0, f]
    np.testing.assert_allclose(Aim.from_degrees(33, 41, -7).rotation(), want, atol=1e-15)


@given(pans, tilts, pans)
def test_aim_and_rotation_undo_each_other(pan: float, tilt: float, roll: float) -> None:
    aim = Aim.from_degrees(pan, tilt, roll)
    R = aim.rotation()
    np.testing.assert_allclose(R @ R.T, np.eye(3), atol=1e-14)
    assert np.linalg.det(R) == pytest.approx(1.0)
    back = aim_from_rotation(R)
    assert np.abs(back.minus(aim)).max() < 1e-10
    assert rotation_angle(back.rotation(), R) < 1e-10


@pytest.mark.parametrize("tilt_deg", [90.0, -90.0])
def test_straight_down_and_up_have_one_angle_only(tilt_deg: float) -> None:
    R = Aim.from_degrees(20, tilt_deg, 35).rotation()
    aim = aim_from_rotation(R)
    assert aim.roll_rad == 0
    assert aim.as_degrees()[1] == pytest.approx(tilt_deg)
    np.testing.assert_allclose(aim.rotation(), R, atol=1e-9)
    derivative = d_aim_d_rotation_vector(R)
    assert np.isnan(derivative[[0, 2]]).all()
    assert np.isfinite(derivative[1]).all()


@pytest.mark.parametrize(
    ("pan_deg", "tilt_deg", "roll_deg"),
    [
        (0, 0, 0),
        (1e-5, -1e-5, 1e-5),
        (90, 45, 0),
        (-90, 45, 12),
        (179.99999, 45, -3),
        (-179.99999, 30, 179.99999),
        (31, -20, -120),
        (0, 88, 5),
    ],
)
def test_derivative_of_the_aim(pan_deg: float, tilt_deg: float, roll_deg: float) -> None:
    R = Aim.from_degrees(pan_deg, tilt_deg, roll_deg).rotation()
    want = np.empty((3, 3))
    for axis, step in enumerate(np.eye(3) * STEP):
        ahead, behind = (aim_from_rotation(exponential(s) @ R) for s in (step, -step))
        want[:, axis] = ahead.minus(behind) / (2 * STEP)
    got = d_aim_d_rotation_vector(R)
    np.testing.assert_allclose(got, want, atol=1e-7 * max(1.0, np.abs(want).max() ** 2))


@pytest.mark.parametrize(
    "rotation_vector",
    [
        [0.0, 0.0, 0.0],
        [1e-9, -2e-9, 1e-9],
        [0.3, -1.1, 0.7],
        [np.pi - 1e-7, 0.0, 0.0],
        [0.0, np.pi, 0.0],
        [0.0, 1e-8, -np.pi + 1e-8],
    ],
)
def test_derivative_of_a_point_by_the_pose(rotation_vector: list[float]) -> None:
    pose = Pose.at(np.array([4.2, -0.3, 2.4]), exponential(np.array(rotation_vector)))
    points = np.array([[[6.0, 1.0, 0.0], [4.2, -0.3, 2.4]], [[0.0, 0.0, 0.75], [-5.0, 2.0, 0.0]]])
    got = pose.d_point_d_pose(points)
    assert got.shape == (2, 2, 3, 6)
    for axis, step in enumerate(np.eye(6) * STEP):
        ahead, behind = (pose.perturbed(s).transform(points) for s in (step, -step))
        np.testing.assert_allclose(got[..., axis], (ahead - behind) / (2 * STEP), atol=2e-9)


@given(poses(), vectors, vectors)
def test_a_step_moves_the_place_and_turns_the_camera(pose: Pose, place: Array, turn: Array) -> None:
    moved = pose.perturbed(np.concatenate([place, turn]))
    np.testing.assert_allclose(
        moved.camera_in_ground_m, pose.camera_in_ground_m + place, atol=1e-12
    )
    np.testing.assert_allclose(moved.R, exponential(turn) @ pose.R, atol=1e-12)


def test_many_small_steps_stay_a_rotation() -> None:
    pose = Pose.at(np.zeros(3), Aim.from_degrees(10, 45, 3).rotation())
    for _ in range(2000):
        pose = pose.perturbed(np.array([0, 0, 0, 1e-3, -2e-3, 5e-4]))
    np.testing.assert_allclose(pose.R @ pose.R.T, np.eye(3), atol=1e-14)


@given(poses(), poses(), vectors)
def test_inverse_and_product(a: Pose, b: Pose, point: Array) -> None:
    np.testing.assert_allclose(a.inverse().transform(a.transform(point)), point, atol=1e-11)
    np.testing.assert_allclose(
        (a @ b).transform(point), a.transform(b.transform(point)), atol=1e-11
    )
    np.testing.assert_allclose((a @ a.inverse()).R, np.eye(3), atol=1e-13)
    np.testing.assert_allclose((a @ a.inverse()).t_m, 0, atol=1e-11)
    np.testing.assert_allclose(a.transform(a.camera_in_ground_m), 0, atol=1e-11)


@given(st.floats(-50, 50))
def test_wrap(angle: float) -> None:
    wrapped = float(wrap_angle(angle))
    assert -np.pi < wrapped <= np.pi
    turns = (angle - wrapped) / (2 * np.pi)
    assert turns == pytest.approx(round(turns), abs=1e-12)


def test_wrap_keeps_half_a_turn_positive() -> None:
    np.testing.assert_allclose(
        wrap_angle(np.array([np.pi, -np.pi, 3 * np.pi, 0.0])), [np.pi, np.pi, np.pi, 0.0]
    )
    assert Aim.from_degrees(-180, 45, 0).as_degrees()[0] == pytest.approx(180)
    assert Aim.from_degrees(270, 45, 0).as_degrees()[0] == pytest.approx(-90)
    difference = Aim.from_degrees(179, 0, 0).minus(Aim.from_degrees(-179, 0, 0))
    np.testing.assert_allclose(difference, [np.radians(-2), 0, 0], atol=1e-14)


def test_rotation_angle_up_to_half_a_turn() -> None:
    R = Aim.from_degrees(20, 45, 5).rotation()
    for angle in (0.0, 1e-8, 0.1, np.pi - 1e-8, np.pi):
        turned = exponential(np.array([0.0, angle, 0.0])) @ R
        assert rotation_angle(R, turned) == pytest.approx(angle, abs=2e-8)


@given(vectors, vectors)
def test_cross_matrix(v: Array, w: Array) -> None:
    np.testing.assert_allclose(cross_matrix(v) @ w, np.cross(v, w), atol=1e-14)
    assert cross_matrix(np.stack([[v, w]] * 4)).shape == (4, 2, 3, 3)


def test_arrays_are_copied_and_frozen() -> None:
    given_m = np.array([1.0, 2.0, 3.0])
    pose = Pose(R=np.eye(3), t_m=given_m)
    given_m[0] = 9.0
    assert pose.t_m[0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        pose.t_m[0] = 5.0
    assert frozen_array([1, 2], (None,), "counts").dtype == np.float64


@pytest.mark.parametrize(
    ("build", "message"),
    [
        (lambda: Pose(R=np.eye(2), t_m=np.zeros(3)), r"R: expected shape \(3, 3\), found \(2, 2\)"),
        (lambda: Pose(R=np.eye(3), t_m=np.zeros(2)), r"t_m: expected shape \(3,\)"),
        (lambda: Pose(R=2 * np.eye(3), t_m=np.zeros(3)), "R: expected a rotation"),
        (lambda: Pose(R=np.diag([1.0, 1.0, -1.0]), t_m=np.zeros(3)), "R: expected a rotation"),
        (lambda: Pose(R=np.eye(3), t_m=np.array([0, np.nan, 0])), "t_m: expected finite numbers"),
        (lambda: Aim.from_degrees(float("inf"), 0, 0), "aim: expected finite numbers"),
    ],
)
def test_what_is_no_pose_is_refused(build, message: str) -> None:
    with np.errstate(invalid="ignore"), pytest.raises(ValueError, match=message):
        build()

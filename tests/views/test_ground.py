"""Ray maps between pixels and the ground, and what the body hides.

Proves: ray maps agree with poses and lenses, on both sides of 90 degrees; their derivatives match
central differences; a body hides what stands behind it. Does not prove that a fitted pose is right,
nor anything about real pictures.
"""

from __future__ import annotations

import numpy as np
import pytest

from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.job.body import body_hides
from vision.job.job import Vehicle
from vision.units.arrays import Array
from vision.views.ground import ground_map

LENS = Lens(
    width=1280, height=720, fx=430, fy=428, cx=640, cy=357, k=np.array([-0.02, 0.003, 0, 0])
)
POSE = Pose.at(np.array([4.22, 0.1, 2.45]), Aim.from_degrees(3.0, 44.0, -2.0).rotation())


def ground_points(count: int = 40) -> Array:
    rng = np.random.default_rng(7)
    return np.column_stack([rng.uniform(4.5, 9, count), rng.uniform(-6, 6, count)])


def test_round_trip_also_beyond_90_degrees() -> None:
    beside = np.array([[3.4, 7.0], [3.2, -6.0], [6.0, 0.0]])
    mapping = ground_map(POSE, LENS)
    far_behind = np.array([[1.0, 5.0]])
    assert mapping.rays(far_behind)[0, 2] < 0
    points = np.concatenate([ground_points(), beside, far_behind])
    back = mapping.ground_from_pixel(mapping.pixel_from_ground(points))
    np.testing.assert_allclose(back, points, atol=1e-8)


def test_pixel_from_ground_is_the_pose_s_own_projection() -> None:
    points = ground_points()
    expected = LENS.project(POSE.transform(np.column_stack([points, np.zeros(len(points))])))
    np.testing.assert_allclose(ground_map(POSE, LENS).pixel_from_ground(points), expected)


def test_upward_level_and_outside_rays_miss_the_ground() -> None:
    level = Pose.at(np.array([0.0, 0.0, 2.0]), Aim.from_degrees(0, 0, 0).rotation())
    mapping = ground_map(level, LENS)
    pixels = np.array([[640.0, 100.0], [640.0, 357.0], [9000.0, 9000.0], [640.0, 600.0]])
    known = np.isfinite(mapping.ground_from_pixel(pixels)).all(axis=1)
    assert known.tolist() == [False, False, False, True]
    assert np.isnan(mapping.d_ground_d_pixel(pixels)[:3]).all()


def test_d_ground_d_pixel_against_central_differences() -> None:
    mapping = ground_map(POSE, LENS)
    points = np.concatenate([ground_points(), [[1.0, 5.0], [4.3, 0.1]]])
    pixels = mapping.pixel_from_ground(points)
    step = 1e-4
    for axis in range(2):
        move = np.eye(2)[axis] * step
        numeric = (
            mapping.ground_from_pixel(pixels + move) - mapping.ground_from_pixel(pixels - move)
        ) / (2 * step)
        analytic = mapping.d_ground_d_pixel(pixels)[..., axis]
        np.testing.assert_allclose(analytic, numeric, rtol=1e-5, atol=1e-8)


def test_tilt_error_on_the_ground_is_that_of_plane_geometry() -> None:
    # 3 m up, 60 degrees from the vertical: 3 (tan 60.1 - tan 60) = 21.0 mm.
    def hit(tilt_deg: float) -> float:
        pose = Pose.at(np.array([0.0, 0.0, 3.0]), Aim.from_degrees(0, tilt_deg, 0).rotation())
        centre = np.array([LENS.cx, LENS.cy])
        return float(ground_map(pose, LENS).ground_from_pixel(centre)[0])

    assert hit(29.9) - hit(30.0) == pytest.approx(0.0210, abs=5e-5)


def test_body_hides_what_stands_behind_it() -> None:
    vehicle = Vehicle(length_m=8.4, width_m=2.3, height_m=3.0)
    front = np.array([4.22, 0.0, 2.45])
    points = np.array([[6.0, 0.0], [4.21, 1.0], [-6.0, 0.0], [3.0, 5.0], [2.0, 0.5], [0.0, 1.3]])
    hidden = body_hides(vehicle, front, points)
    # From a flat front face, ground beside the vehicle is behind the vehicle's own corner.
    assert hidden.tolist() == [False, False, True, True, True, True]
    raised = body_hides(vehicle, front, np.array([[6.0, 0.9, 0.75], [-6.0, 0.0, 0.75]]))
    assert raised.tolist() == [False, True]


def test_a_camera_measured_inside_the_body_still_sees_out_of_its_face() -> None:
    for height in (None, 3.0):
        vehicle = Vehicle(length_m=8.4, width_m=2.3, height_m=height)
        left = np.array([0.5, 1.0, 2.45])
        hidden = body_hides(vehicle, left, np.array([[0.5, 3.0], [4.5, 2.0], [0.5, -3.0]]))
        assert hidden.tolist() == [False, False, True]
    roof = body_hides(
        Vehicle(length_m=8.4, width_m=2.3, height_m=3.0),
        np.array([0.0, 0.0, 3.2]),
        np.array([[0.0, 2.0], [0.0, 40.0]]),
    )
    assert roof.tolist() == [True, False]

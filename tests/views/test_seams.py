"""Seams between cameras whose poses and lenses are set by hand.

Proves: which cameras are neighbours and where their seams lie; that gaps are what turning one
camera does to the ground; that their covariance is that of many noisy copies; that uncovered
length, overlap and nearest ground are those of plain geometry. Does not prove that a plan fit or a
joint adjustment is right.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.seam_cameras import (
    LENS,
    PLACES,
    SCALE,
    VEHICLE,
    adjusted,
    adjustment,
    camera,
    job,
    plan_fit,
    pose,
)
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.inspection.finding import without_rejected
from vision.job.job import Camera, Job, StatedSeam, Vehicle
from vision.job.mark_id import MarkId
from vision.job.visibility import sees
from vision.units.arrays import Array
from vision.views.seams.coverage import d_pixel_d_camera, nearest_ground
from vision.views.seams.gaps import SeamGap, measure_seam, seam_gaps
from vision.views.seams.lines import SeamLine, neighbours, seam_lines
from vision.views.settings import SETTINGS


def measured(turned_deg: float = 0.0) -> SeamGap:
    truth = adjustment(adjusted("front", pose("front")), adjusted("left", pose("left")))
    fits = {"front": plan_fit(pose("front", 45 - turned_deg)), "left": plan_fit(pose("left"))}
    return seam_gaps(job("front", "left"), fits, truth)[0]


def names(pairs: tuple[tuple[Camera, Camera], ...]) -> list[tuple[str, str]]:
    return [(first.name, second.name) for first, second in pairs]


def test_neighbours_go_round_the_circle() -> None:
    assert sorted(names(neighbours(job().cameras))) == sorted(
        [("front", "left"), ("left", "rear"), ("rear", "right"), ("right", "front")]
    )
    three = job("front", "left", "right")
    assert sorted(names(neighbours(three.cameras))) == [("front", "left"), ("right", "front")]
    assert names(neighbours(job("front", "left").cameras)) == [("front", "left")]
    assert names(neighbours(job("front", "rear").cameras)) == []
    assert names(neighbours(job("front").cameras)) == []


def test_two_cameras_on_one_side_follow_each_other() -> None:
    places = dict(PLACES)
    del places["right"], places["left"]
    places |= {"near": (2.0, 1.17, 2.4, 90.0), "far": (-2.0, 1.17, 2.4, 90.0)}
    places |= {"right_near": (2.0, -1.17, 2.4, -90.0), "right_far": (-2.0, -1.17, 2.4, -90.0)}
    cameras = tuple(camera(name, place) for name, place in places.items())
    found = names(neighbours(cameras))
    assert sorted(found) == sorted(
        [
            ("front", "near"),
            ("near", "far"),
            ("far", "rear"),
            ("rear", "right_far"),
            ("right_far", "right_near"),
            ("right_near", "front"),
        ]
    )
    yard = Job(name="six", vehicle=VEHICLE, lenses=(), cameras=cameras, strips=())
    line = next(line for line in seam_lines(yard) if set(line.between) == {"near", "far"})
    np.testing.assert_allclose([line.start_m, line.end_m], [[0, 1.45], [0, 3.65]], atol=1e-12)


def test_default_seams_leave_the_corners_at_45_degrees() -> None:
    half = np.sqrt(0.5)
    signs = {
        ("front", "left"): (1, 1),
        ("left", "rear"): (-1, 1),
        ("rear", "right"): (-1, -1),
        ("front", "right"): (1, -1),
    }
    lines = {line.between: line for line in seam_lines(job())}
    assert set(lines) == set(signs)
    for between, sign in signs.items():
        corner, out = np.array(sign) * [4.2, 1.15], np.array(sign) * half
        np.testing.assert_allclose(lines[between].start_m, corner + 0.3 * out)
        np.testing.assert_allclose(lines[between].end_m, corner + 2.5 * out)
        spacing = np.diff(lines[between].points_m(), axis=0)
        np.testing.assert_allclose(np.linalg.norm(spacing, axis=1), 0.05)


def test_a_stated_seam_is_taken_in_either_order_and_for_any_pair() -> None:
    stated = tuple(
        StatedSeam(
            name="own", between=between, from_m=np.array([4.2, 1.15]), to_m=np.array([7.0, 4.0])
        )
        for between in (("left", "front"), ("front", "rear"))
    )
    lines = {line.between: line for line in seam_lines(job(seams=stated))}
    assert set(lines) >= {("left", "front"), ("front", "rear")}
    assert len(lines) == 5
    np.testing.assert_allclose(lines["left", "front"].end_m, [7.0, 4.0])


def test_no_gap_where_plan_and_joint_agree() -> None:
    gap = measured()
    assert gap.uncovered_m == 0
    np.testing.assert_allclose(gap.gaps_m, 0, atol=1e-8)
    assert gap.rms_gap_m == pytest.approx(0, abs=1e-8)
    assert gap.shared_marks == 0


def test_gap_of_a_tilted_camera_is_that_of_plane_geometry() -> None:
    # 3 m up, 60 degrees from the vertical: a tenth of a degree is 3 (tan 60.1 - tan 60) = 21.0 mm,
    # straight ahead of the front camera, 5.196 m out from it.
    high = np.array([4.22, 0.0, 3.0])
    aim = Aim.from_degrees(0, 45, 0).rotation()
    drawn_with = Aim.from_degrees(0, 44.9, 0).rotation()
    truth = adjustment(adjusted("front", Pose.at(high, aim)), adjusted("twin", Pose.at(high, aim)))
    fits = {
        "front": plan_fit(Pose.at(high, drawn_with)),
        "twin": plan_fit(Pose.at(high, aim)),
    }
    x = 4.22 + 3 * np.tan(np.radians(60))
    line = SeamLine(
        between=("front", "twin"), start_m=np.array([x, 0.0]), end_m=np.array([x + 0.1, 0.0])
    )
    gap = measure_seam(line, VEHICLE, fits, truth)
    np.testing.assert_allclose(gap.gaps_m[0], [0.0210, 0], atol=5e-5)


def test_sign_worst_and_rms() -> None:
    gap = measured(turned_deg=1.0)
    assert gap.worst_gap_m is not None
    assert gap.worst_gap_m[0] > 0  # a display that takes the camera for higher draws farther out
    lengths = np.linalg.norm(gap.gaps_m, axis=1)
    assert np.linalg.norm(gap.worst_gap_m) == pytest.approx(lengths.max())
    assert gap.rms_gap_m == pytest.approx(np.sqrt(np.mean(lengths**2)))


def test_d_pixel_d_camera_against_central_differences() -> None:
    one = adjusted("front", pose("front"))
    points = np.array([[5.0, 1.5], [6.0, 3.0], [4.3, 5.0], [4.9, 0.0]])
    analytic = d_pixel_d_camera(one, points)
    ground = np.column_stack([points, np.zeros(4)])
    for column in range(14):
        step = np.zeros(14)
        step[column] = 1e-5
        ends = [
            LENS.with_vector(LENS.as_vector() + sign * step[6:]).project(
                one.pose.perturbed(sign * step[:6]).transform(ground)
            )
            for sign in (1, -1)
        ]
        numeric = (ends[0] - ends[1]) / 2e-5
        np.testing.assert_allclose(analytic[..., column], numeric, rtol=1e-5, atol=1e-4)


def test_gap_covariance_is_that_of_noisy_copies() -> None:
    rng = np.random.default_rng(11)
    mix = rng.normal(size=(28, 28)) * 0.2 + np.eye(28)
    scale = np.tile(SCALE, 2) * 0.1
    covariance = (mix @ mix.T) * scale[:, None] * scale
    fits = {"front": plan_fit(pose("front")), "left": plan_fit(pose("left"))}
    line = SeamLine(
        between=("front", "left"), start_m=np.array([5.0, 1.9]), end_m=np.array([5.05, 1.95])
    )

    def gap(step: Array) -> SeamGap:
        cameras = [
            adjusted(
                name,
                pose(name).perturbed(part[:6]),
                LENS.with_vector(LENS.as_vector() + part[6:]),
            )
            for name, part in (("front", step[:14]), ("left", step[14:]))
        ]
        return measure_seam(line, VEHICLE, fits, adjustment(*cameras, covariance=covariance))

    predicted = gap(np.zeros(28)).covariances_m2[0]
    steps = rng.multivariate_normal(np.zeros(28), covariance, size=300)
    sampled = np.cov(np.array([gap(step).gaps_m[0] for step in steps]).T)
    # 300 draws give each variance to 8 %; three of those.
    np.testing.assert_allclose(
        np.linalg.eigvalsh(sampled), np.linalg.eigvalsh(predicted), rtol=0.25
    )


def test_shared_marks_count_on_the_ground_only_and_boards_once() -> None:
    ids = (
        MarkId("corner", 0),
        MarkId("board", 1, 0, 0),
        MarkId("board", 1, 0, 1),
        MarkId("trestle"),
    )
    planned = np.array([[5.2, 2.0, 0], [5.0, 2.2, 0], [5.1, 2.2, 0], [5.5, 2.0, 0.75]])
    truth = adjustment(adjusted("front", pose("front")), adjusted("left", pose("left")))
    fits = {
        "front": plan_fit(pose("front"), ids, planned),
        "left": plan_fit(pose("left"), ids[::-1], planned[::-1]),
    }
    gap = seam_gaps(job("front", "left"), fits, truth)[0]
    assert gap.mark_ids == ids[:3]
    assert gap.shared_marks == 2
    np.testing.assert_allclose(gap.mark_gaps_m, 0, atol=1e-8)
    # Both cameras stand 2.5 m above marks some 2.7 m and 5.4 m off: 0.1 px is 0.6 to 5 mm there.
    sigmas = np.sqrt(np.linalg.eigvalsh(gap.mark_covariances_m2))
    assert (sigmas > 5e-4).all()
    assert (sigmas < 8e-3).all()


def test_marks_far_from_a_seam_say_nothing_of_it() -> None:
    ids = (MarkId("corner", 0), MarkId("far", 0))
    planned = np.array([[5.2, 2.0, 0], [3.0, 6.0, 0]])
    truth = adjustment(adjusted("front", pose("front")), adjusted("left", pose("left")))
    fits = {name: plan_fit(pose(name), ids, planned) for name in ("front", "left")}
    (line,) = seam_lines(job("front", "left"))
    assert line.distance_m(line.start_m + 0.7 * line.direction) == pytest.approx(0, abs=1e-12)
    beyond = line.end_m + 2.0 * line.direction
    assert line.distance_m(beyond) == pytest.approx(2.0)
    # The seam runs at 45 degrees: (3, 6) is nearest to its end, more than NEAR_SEAM_M away.
    assert line.distance_m(planned[1, :2]) > SETTINGS.seams.near_seam_m
    assert seam_gaps(job("front", "left"), fits, truth)[0].mark_ids == ids[:1]


def test_a_mark_that_the_joint_adjustment_rejects_shows_no_gap() -> None:
    ids = (MarkId("corner", 0), MarkId("corner", 1))
    planned = np.array([[5.2, 2.0, 0], [5.0, 2.2, 0]])
    fits = {name: plan_fit(pose(name), ids, planned) for name in ("front", "left")}
    front = replace(adjusted("front", pose("front")), used=np.array([True, False]))
    left = replace(adjusted("left", pose("left")), used=np.array([True, True]))
    truth = adjustment(front, left)
    kept = {name: without_rejected(name, fit, truth) for name, fit in fits.items()}
    assert seam_gaps(job("front", "left"), fits, truth)[0].mark_ids == ids
    assert seam_gaps(job("front", "left"), kept, truth)[0].mark_ids == ids[:1]


def test_seam_of_a_camera_without_a_fit_is_left_out() -> None:
    truth = adjustment(adjusted("front", pose("front")), adjusted("left", pose("left")))
    found = seam_gaps(job(), {"front": plan_fit(pose("front"))}, truth)
    assert found == ()


def test_uncovered_length_is_the_part_outside_one_view() -> None:
    # A front camera turned 60 degrees away leaves the far part of its left seam, or all of it.
    away = Pose.at(pose("front").camera_in_ground_m, Aim.from_degrees(-75, 45, 0).rotation())
    truth = adjustment(adjusted("front", away), adjusted("left", pose("left")))
    fits = {"front": plan_fit(away), "left": plan_fit(pose("left"))}
    gap = seam_gaps(job("front", "left"), fits, truth)[0]
    front = truth.camera("front")
    seen = sees(VEHICLE, front.pose, front.lens, gap.points_m)
    assert 0 < gap.uncovered_m <= 2.2
    assert gap.uncovered_m == pytest.approx(0.05 * (~seen).sum(), abs=0.051)
    assert np.isnan(gap.gaps_m[~seen]).all()
    assert gap.overlap_m is not None
    assert gap.overlap_m < 1.0


def test_overlap_of_two_pinhole_like_views_is_a_strip_of_known_width() -> None:
    # Two cameras look straight down from 4 m; along x the narrow lens ends at +-0.4 rad.
    tele = Lens(width=801, height=801, fx=1000.0, fy=1000.0, cx=400.0, cy=400.0)
    small = Vehicle(length_m=0.2, width_m=0.2, height_m=0.5)
    down = Aim.from_degrees(0, 90, 0).rotation()
    reach = 4 * np.tan(0.4005)
    cameras = [
        adjusted(name, Pose.at(np.array([x, 3.0, 4.0]), down), tele)
        for name, x in (("a", -1.0), ("b", 1.0))
    ]
    fits = {one.name: plan_fit(one.pose) for one in cameras}
    line = SeamLine(between=("a", "b"), start_m=np.array([0.0, 2.98]), end_m=np.array([0.0, 3.02]))
    gap = measure_seam(line, small, fits, adjustment(*cameras))
    # On the line through both centres the views meet for 2 (reach - 1); 2 cm is the search step.
    assert gap.overlap_m == pytest.approx(2 * (reach - 1), abs=0.04)
    assert gap.overlap_sigma_m is not None
    # Each edge: 1 cm of place, 2 mrad of tilt and a pixel of centre, 4 m below and 22 degrees out.
    assert 0.01 < gap.overlap_sigma_m < 0.04


def test_nearest_ground_is_where_the_lower_edge_meets_the_ground() -> None:
    # Tilted 20 degrees only, the lower edge of the picture looks down by the tilt and half a field.
    one = adjusted("front", pose("front", 20))
    down = np.radians(20) + 360 / 395
    found = nearest_ground(VEHICLE, camera("front", PLACES["front"], 20), one)
    assert found.distance_m == pytest.approx(0.02 + 2.45 / np.tan(down), abs=0.011)
    # 1 cm of height and of place, 2 mrad of tilt at 1 / sin^2, a pixel of centre.
    assert 0.01 < found.sigma_m < 0.05
    steep = nearest_ground(VEHICLE, camera("front", PLACES["front"]), adjusted("f", pose("front")))
    assert steep.distance_m <= 0.01
    up = nearest_ground(
        VEHICLE, camera("front", PLACES["front"]), adjusted("f", pose("front", -80))
    )
    assert up.distance_m == float("inf")

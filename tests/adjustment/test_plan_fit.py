"""Proves that one camera is found from its marks: aim, place and lens, with honest covariance.

The marks are computed, not drawn: a camera with a known Kannala-Brandt lens looks at thirty marks
on the ground, 1 to 8 m away, and each centre gets noise. It does not prove that marks are found
or identified, nor that a layout that lies wrong is recognised: a plan fit takes the plan as true.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.adjusting import whole
from vision.adjustment.plan_fit import (
    Guess,
    PlanFit,
    Points,
    camera_network,
    fit_plan,
    ground_residual,
)
from vision.adjustment.solving import weighted
from vision.adjustment.state import whiteners
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import LensPrior, lens_prior, stepped
from vision.camera.solver import NoFit
from vision.camera.stated_lens import StatedLens
from vision.camera.statistics import median_variance_factor
from vision.job.job import Camera
from vision.job.mark_id import MarkId
from vision.units.arrays import Array

LENS = Lens(
    width=1280,
    height=720,
    fx=426.6,
    fy=426.6,
    cx=641.3,
    cy=357.8,
    k=np.array([-0.03999, 0.005639, -0.000995, 0.0000999]),
)
POSE = Pose.at(np.array([4.25, 0.03, 2.43]), Aim.from_degrees(2.5, 47.0, -1.5).rotation())
CAMERA = Camera(
    name="front",
    picture="front.png",
    lens="wide",
    position_m=np.array([4.22, 0.0, 2.45]),
    position_sigma_m=0.02,
    aim=Aim.from_degrees(0, 45, 0),
)
FIELD = lens_prior(StatedLens(name="wide", field_of_view_rad=np.radians(187)), 1280, 720)
SURE = lens_prior(
    StatedLens(
        name="known",
        fitted=LENS,
        covariance=np.diag(np.array([0.05, 0.05, 0.05, 0.05, 1e-5, 1e-5, 1e-6, 1e-6]) ** 2),
    ),
    1280,
    720,
)
NOISE_PX = 0.06


def planned() -> Array:
    """Thirty marks on five strips across the front."""
    return np.array(
        [[x, y, 0.0] for x in (4.9, 5.7, 6.8, 8.6, 11.0) for y in (-4.0, -2.4, -0.8, 0.8, 2.4, 4.0)]
    )


def points(
    rng: np.random.Generator, *, noise_px: float = NOISE_PX, mark_sigma_m: float = 1e-4
) -> Points:
    plan = planned()
    n = len(plan)
    pixels = LENS.project(POSE.transform(plan)) + rng.normal(size=(n, 2)) * noise_px
    return Points(
        ids=tuple(MarkId("ahead", index) for index in range(n)),
        planned_m=plan,
        mark_sigma_m=np.full(n, mark_sigma_m),
        pixels_px=pixels,
        covariance_px2=np.tile(np.eye(2) * NOISE_PX**2, (n, 1, 1)),
    )


def start(prior: LensPrior = FIELD, off_deg: tuple[float, float, float] = (0, 0, 0)) -> Guess:
    pan, tilt, roll = CAMERA.aim.as_degrees()
    aim = Aim.from_degrees(pan + off_deg[0], tilt + off_deg[1], roll + off_deg[2])
    return Pose.at(CAMERA.position_m, aim.rotation()), prior.guess


def fitted(found: PlanFit | NoFit) -> PlanFit:
    assert isinstance(found, PlanFit), found
    return found


def aim_off_deg(fit: PlanFit) -> float:
    return float(np.degrees(np.abs(fit.pose.aim.minus(POSE.aim)).max()))


def test_perfect_marks_with_a_known_lens_give_the_truth() -> None:
    fit = fitted(fit_plan(CAMERA, SURE, points(np.random.default_rng(0), noise_px=0), start(SURE)))
    assert fit.used.all()
    assert aim_off_deg(fit) < 0.002
    # The tape says 4 cm elsewhere, to 10 cm: the marks must outweigh it.
    np.testing.assert_allclose(fit.pose.camera_in_ground_m, POSE.camera_in_ground_m, atol=2e-4)
    assert fit.reprojection_px.most < 0.01


def test_accuracy_with_a_known_lens() -> None:
    """Limit: median .012 degrees at 0.1 px and 40 marks; here 0.06 px and 30 marks."""
    rng = np.random.default_rng(1)
    fits = [fitted(fit_plan(CAMERA, SURE, points(rng), start(SURE))) for _ in range(15)]
    assert np.median([aim_off_deg(fit) for fit in fits]) < 0.012
    places = [fit.pose.camera_in_ground_m - POSE.camera_in_ground_m for fit in fits]
    assert np.median(np.linalg.norm(places, axis=-1)) < 0.003


def test_accuracy_with_a_stated_field_only() -> None:
    """Limit: median .059 degrees with a lens prior at 0.1 px and 40 marks."""
    rng = np.random.default_rng(2)
    fits = [fitted(fit_plan(CAMERA, FIELD, points(rng), start())) for _ in range(15)]
    assert np.median([aim_off_deg(fit) for fit in fits]) < 0.08
    assert np.median([fit.reprojection_px.rms for fit in fits]) < 1.6 * NOISE_PX
    share = np.array([0.1, 0.5, 0.8]) * np.radians(80)
    truth = LENS.radius(share) * LENS.fx
    for fit in fits:
        curve = fit.lens.radius(share) * np.sqrt(fit.lens.fx * fit.lens.fy)
        np.testing.assert_allclose(curve, truth, rtol=0.01)


@pytest.mark.parametrize(
    "off_deg", [(15, 15, 15), (-15, -15, 15), (15, -15, -15), (-15, 15, -15), (30, -10, 20)]
)
def test_the_intended_aim_may_be_far_off(off_deg: tuple[float, float, float]) -> None:
    measured = points(np.random.default_rng(3))
    near = fitted(fit_plan(CAMERA, FIELD, measured, start()))
    far = fitted(fit_plan(CAMERA, FIELD, measured, start(off_deg=off_deg)))
    assert near.used.all()
    assert far.used.all()
    np.testing.assert_allclose(far.pose.R, near.pose.R, atol=1e-5)
    assert far.chi2 == pytest.approx(near.chi2, rel=1e-4)


def test_outliers_are_rejected_and_nothing_else() -> None:
    measured = points(np.random.default_rng(4))
    pixels = measured.pixels_px.copy()
    wrong = [2, 9, 17, 24]
    pixels[wrong] += [[14.0, -6.0], [-1.5, 2.0], [40.0, 25.0], [0.0, -4.0]]
    fit = fitted(fit_plan(CAMERA, FIELD, replace(measured, pixels_px=pixels), start()))
    assert np.flatnonzero(~fit.used).tolist() == wrong
    assert aim_off_deg(fit) < 0.25
    assert fit.reprojection_px.most < 0.3
    # A rejected mark keeps its residual, measured minus predicted.
    np.testing.assert_allclose(fit.residual_px[17], [40.0, 25.0], atol=0.3)


def test_two_marks_taken_for_each_other_are_rejected() -> None:
    measured = points(np.random.default_rng(5))
    pixels = measured.pixels_px.copy()
    pixels[[7, 8]] = pixels[[8, 7]]
    fit = fitted(fit_plan(CAMERA, FIELD, replace(measured, pixels_px=pixels), start()))
    assert np.flatnonzero(~fit.used).tolist() == [7, 8]


def test_a_mark_sigma_keeps_crooked_marks_in() -> None:
    """3 mm of laying is 0.3 px near the camera: without it good marks would be rejected."""
    rng = np.random.default_rng(6)
    laid = planned() + np.c_[rng.normal(size=(30, 2)) * 0.003, np.zeros(30)]
    pixels = LENS.project(POSE.transform(laid)) + rng.normal(size=(30, 2)) * NOISE_PX
    measured = replace(points(rng, mark_sigma_m=0.003), pixels_px=pixels)
    fit = fitted(fit_plan(CAMERA, FIELD, measured, start()))
    assert fit.used.sum() >= 29
    assert 25 < fit.chi2 < 90
    assert fit.reprojection_px.rms > 2 * NOISE_PX
    assert fit.off_ground_m.rms < 0.006


def test_residuals_on_the_ground_are_on_the_marks_own_plane() -> None:
    plan = np.array([[6.0, 1.0, 0.0], [7.0, -1.0, 0.75]])
    moved = plan + np.array([[0.02, -0.01, 0.0], [-0.03, 0.04, 0.0]])
    pixels = LENS.project(POSE.transform(moved))
    residual = ground_residual(POSE, LENS, pixels, plan)
    np.testing.assert_allclose(residual, [[0.02, -0.01], [-0.03, 0.04]], atol=1e-9)
    sky = LENS.project(POSE.transform(np.array([[60.0, 0.0, 8.0]])))
    assert np.isnan(ground_residual(POSE, LENS, sky, plan[:1])).all()


def test_a_mark_beyond_the_lens_takes_no_part() -> None:
    """A mark behind the vehicle cannot be seen by the front camera, whatever was picked for it."""
    measured = points(np.random.default_rng(7))
    plan = measured.planned_m.copy()
    plan[4] = [-9.0, 0.0, 6.5]
    turning = stepped(FIELD.guess, np.array([0, 0, 0, 0, 0.0, 0, -0.02, 0]))
    assert np.isnan(turning.project(POSE.transform(plan[4]))).all()
    fit = fitted(fit_plan(CAMERA, FIELD, replace(measured, planned_m=plan), (start()[0], turning)))
    assert np.flatnonzero(~fit.used).tolist() == [4]


@pytest.mark.parametrize("count", [0, 3])
def test_too_few_marks_is_an_answer(count: int) -> None:
    every = points(np.random.default_rng(8))
    few = Points(
        ids=every.ids[:count],
        planned_m=every.planned_m[:count],
        mark_sigma_m=every.mark_sigma_m[:count],
        pixels_px=every.pixels_px[:count],
        covariance_px2=every.covariance_px2[:count],
    )
    found = fit_plan(CAMERA, FIELD, few, start())
    assert isinstance(found, NoFit)
    assert found.code == "too-few-marks"


def test_four_marks_are_enough_with_priors() -> None:
    every = points(np.random.default_rng(9))
    rows = [1, 4, 20, 27]
    few = Points(
        ids=tuple(every.ids[row] for row in rows),
        planned_m=every.planned_m[rows],
        mark_sigma_m=every.mark_sigma_m[rows],
        pixels_px=every.pixels_px[rows],
        covariance_px2=every.covariance_px2[rows],
    )
    fit = fitted(fit_plan(CAMERA, FIELD, few, start()))
    sigma = np.sqrt(np.diag(fit.covariance))
    # Four marks leave the aim loose, and the covariance says so.
    assert np.degrees(sigma[3:6]).max() > 0.2


def test_derivatives_against_central_differences() -> None:
    """Every row of the network by all fourteen steps, at a lens with bent curve."""
    measured = points(np.random.default_rng(10))
    lens = stepped(LENS, np.array([3, -2, 4, -5, 0.01, -0.002, 5e-4, -1e-4]))
    network = camera_network(CAMERA, FIELD, measured, (POSE, lens), 0.1)
    full = whiteners(network.points.covariance_px2)
    weights = weighted(full, np.linspace(0.2, 1.0, 30))
    residuals, jacobian = whole(network, weights, network.start)
    assert jacobian.shape == (len(residuals), 14)
    sizes = np.array([1e-5] * 3 + [1e-6] * 3 + [1e-3] * 4 + [1e-6] * 4)
    for column, size in enumerate(sizes):
        step = np.zeros(14)
        step[column] = size
        ahead, behind = (
            whole(network, weights, network.start.moved(way * step))[0] for way in (1, -1)
        )
        numeric = (ahead - behind) / (2 * size)
        scale = np.abs(jacobian[:, column]).max()
        np.testing.assert_allclose(jacobian[:, column], numeric, atol=1e-6 * scale)


def test_covariance_against_noisy_refits() -> None:
    """200 refits with every observation drawn anew, the place and the lens's prior with them."""
    rng = np.random.default_rng(12)
    known = np.array([1.0, 1.0, 1.5, 1.5, 2e-3, 1e-3, 3e-4, 3e-5])
    steps, normalised = [], []
    for _ in range(200):
        guess = stepped(LENS, rng.normal(size=8) * known)
        stated = StatedLens(name="drawn", fitted=guess, covariance=np.diag(known**2))
        place = POSE.camera_in_ground_m + rng.normal(size=3) * 0.02
        measured = points(rng, mark_sigma_m=1e-6)
        camera = replace(CAMERA, position_m=place)
        prior = lens_prior(stated, 1280, 720)
        fit = fitted(fit_plan(camera, prior, measured, (POSE, guess), position_sigma_m=0.02))
        turn = fit.pose.R @ POSE.R.T
        vector = 0.5 * np.array(
            [turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]]
        )
        moved = fit.pose.camera_in_ground_m - POSE.camera_in_ground_m
        steps.append(np.concatenate([moved, vector, fit.lens.as_vector() - LENS.as_vector()]))
        normalised.append(steps[-1] @ np.linalg.solve(fit.covariance, steps[-1]))
        covariance = fit.covariance
    # Chi-square of 14 degrees of freedom: mean 14, its standard error over 200 draws 0.37.
    assert np.mean(normalised) == pytest.approx(14, abs=1.5)
    ratio = np.std(steps, axis=0) / np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(ratio, 1, atol=0.2)


def test_variance_factor_is_the_median_of_chi_square_of_two() -> None:
    draws = np.random.default_rng(13).chisquare(2, size=20001)
    assert median_variance_factor(9 * draws) == pytest.approx(9, rel=0.05)
    assert median_variance_factor(0.1 * draws) == 1


def test_points_refuse_a_covariance_that_is_none() -> None:
    measured = points(np.random.default_rng(14))
    with pytest.raises(ValueError, match="positive definite"):
        replace(measured, covariance_px2=np.zeros((30, 2, 2)))
    with pytest.raises(ValueError, match=r"planned_m: expected shape \(30, 3\)"):
        replace(measured, planned_m=np.zeros((29, 3)))

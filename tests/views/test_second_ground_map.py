"""Experiment: what a ground map fitted to the marks alone would say beside the plan fit.

A homography from (x, y, 1) to directions has eight free numbers, a pose six: to the first order the
two more are a pure shear of the ground as that camera sees it. The shear is estimated from the plan
fit's residuals with its covariance. Over simulated jobs it is as sure as said; where the picture is
of no lens of our model, its rows slanted, the residuals themselves show it and the shear does not:
hence `vision.views.ground` has no second map. Not tried: other ways for a model to be wrong.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.accuracy.simulation import fitted_alone, known_lenses, simulate
from tests.paths import CLEAR_DAY
from vision.adjustment.plan_fit import PlanFit
from vision.camera.geometry import cross_matrix
from vision.job.job_file import job_from_text

JOB = known_lenses(job_from_text(CLEAR_DAY.read_bytes(), CLEAR_DAY.name))
SHEARS = np.array([[[1.0, 0.0], [0.0, -1.0]], [[0.0, 1.0], [1.0, 0.0]]])
"""Along x against y, and askew, as they move a place on the ground."""


def shear_statistic(fit: PlanFit) -> float:
    """Chi-square (2) of the shear that the marks of one camera show beside its pose and lens."""
    points = fit.points.only(fit.fitted)
    ray, R = fit.pose.transform(points.planned_m), fit.pose.R
    _, by_ray, by_lens = fit.lens.project_with_derivatives(ray)
    by_place = by_ray @ R
    by_pose = np.concatenate([-by_place, by_ray @ -cross_matrix(ray)], axis=-1)
    by_camera = np.concatenate([by_pose, by_lens], axis=-1)
    moved_m = np.einsum("kij,nj->nik", SHEARS, points.planned_m[:, :2])
    moved_m[points.planned_m[:, 2] != 0] = 0.0
    by_shear = by_place[:, :, :2] @ moved_m
    laid_m2 = np.square(points.mark_sigma_m)[:, None, None]
    spread = points.covariance_px2 + laid_m2 * (by_place @ by_place.transpose(0, 2, 1))
    weighed = np.linalg.solve(spread, by_shear)
    across = np.einsum("nik,nij->kj", weighed, by_camera)
    information = np.einsum("nik,nij->kj", weighed, by_shear) - across @ fit.covariance @ across.T
    score = np.einsum("nik,ni->k", weighed, fit.residual_px[fit.fitted])
    return float(score @ np.linalg.solve(information, score))


def fits(slant: float = 0.0) -> list[PlanFit]:
    """The front cameras of some jobs, the rows of their pictures slanted."""
    found = []
    for seed in range(12):
        truth = simulate(JOB, np.random.default_rng([5, seed]))
        assert truth is not None
        seen = next(each for each in truth.observations if each.name == "front")
        pixels = seen.points.pixels_px + slant * (seen.points.pixels_px[:, 1:] - 359.5) * [1, 0]
        points, start = replace(seen.points, pixels_px=pixels), truth.poses["front"]
        assert fitted_alone(truth, JOB.camera("front"), seen.prior, points, start)
        found.append(truth.fits["front"])
    return found


def test_a_map_by_marks_alone_shows_less_of_a_wrong_lens_than_residuals_do() -> None:
    right, wrong = fits(), fits(0.04)
    shear, worse = (np.array([shear_statistic(fit) for fit in each]) for each in (right, wrong))
    # Chi-square of 2 degrees of freedom each: the mean of 12 is 2, its sigma 0.6.
    assert np.mean(shear) == pytest.approx(2.0, abs=1.8)
    misfit, larger = (np.array([fit.chi2 for fit in each]) for each in (right, wrong))
    assert np.median(larger) - np.median(misfit) > 6
    assert np.median(worse) - np.median(shear) < 2
    assert sum(fit.used.sum() for fit in wrong) < sum(fit.used.sum() for fit in right)

"""Fits without a fit: what a test says a camera found, all residuals zero."""

from __future__ import annotations

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera, Adjustment
from vision.adjustment.plan_fit import UNKNOWNS, PlanFit, Points
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.units.arrays import Array


def perfect_fit(
    pose: Pose, lens: Lens, ids: tuple[str, ...] = (), planned_m: Array | None = None
) -> PlanFit:
    """A camera that sees marks (n,) just where they are planned, (n, 3)."""
    places = np.zeros((0, 3)) if planned_m is None else planned_m
    count = len(ids)
    nothing = np.zeros((count, 2))
    return PlanFit(
        pose=pose,
        lens=lens,
        covariance=np.eye(14),
        points=Points(
            ids=ids,
            planned_m=places,
            mark_sigma_m=np.full(count, 0.003),
            pixels_px=lens.project(pose.transform(places)),
            covariance_px2=np.tile(np.eye(2) * 0.01, (count, 1, 1)),
        ),
        used=np.ones(count, dtype=bool),
        residual_px=nothing,
        residual_m=nothing,
        rms_px=0.0,
        max_px=0.0,
        rms_m=0.0,
        max_m=0.0,
        chi2=0.0,
    )


def perfect_camera(name: str, pose: Pose, lens: Lens, covariance: Array) -> AdjustedCamera:
    """A camera adjusted to be just there; `covariance` (14, 14) of its pose steps and lens."""
    return AdjustedCamera(
        name=name,
        pose=pose,
        lens=lens,
        covariance=covariance,
        aim_covariance_rad2=np.eye(3) * 1e-6,
        position_sigma_m=np.sqrt(np.diag(covariance)[:3]),
        used=np.zeros(0, dtype=bool),
        residual_px=np.zeros((0, 2)),
    )


def perfect_adjustment(cameras: tuple[AdjustedCamera, ...], covariance: Array) -> Adjustment:
    """An adjustment of cameras alone; `covariance` of all of theirs."""
    return Adjustment(
        cameras=cameras,
        strips=(),
        marks=(),
        mark_m={},
        freed=(),
        chi2=0.0,
        degrees_of_freedom=1,
        parameter_covariance=covariance,
        camera_slice={
            each.name: slice(UNKNOWNS * i, UNKNOWNS * (i + 1)) for i, each in enumerate(cameras)
        },
    )

"""Fits without a fit: what a test says was measured and a camera found, all residuals zero."""

from __future__ import annotations

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera, AdjustedStrip, Adjustment
from vision.adjustment.plan_fit import PlanFit, Points
from vision.adjustment.state import UNKNOWNS
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.job.mark_id import MarkId
from vision.marks.measure.mark_fit import Measured
from vision.units.arrays import Array


def perfect_fit(
    pose: Pose, lens: Lens, ids: tuple[MarkId, ...] = (), planned_m: Array | None = None
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
        chi2=0.0,
    )


def well_measured(point_id: str, pixel_px: Array) -> Measured:
    """A mark clearly seen at a pixel (2,)."""
    return Measured(
        id=point_id,
        pixel_px=pixel_px,
        covariance_px2=np.eye(2) * 0.02**2,
        blur_px=0.7,
        contrast=20.0,
        explained=0.95,
        noise=2.0,
    )


def perfect_camera(name: str, pose: Pose, lens: Lens, covariance: Array) -> AdjustedCamera:
    """A camera adjusted to be just there; `covariance` (14, 14) of its pose steps and lens."""
    return AdjustedCamera(
        name=name,
        pose=pose,
        lens=lens,
        covariance=covariance,
        used=np.zeros(0, dtype=bool),
        residual_px=np.zeros((0, 2)),
    )


def perfect_strip(name: str, ends_m: Array, sigma_m: float = 0.01) -> AdjustedStrip:
    """A strip seen to lie as planned, ends (2, 2), none of its marks by itself."""
    return AdjustedStrip(
        name=name,
        ends_m=ends_m,
        covariance_m2=np.eye(4) * sigma_m**2,
        shift_m=np.zeros(2),
        shift_sigma_m=np.full(2, sigma_m),
        turn_rad=0.0,
        turn_sigma_rad=0.001,
        mark_ids=(),
        mark_shift_m=np.zeros((0, 2)),
        mark_shift_covariance_m2=np.zeros((0, 2, 2)),
        seen=True,
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

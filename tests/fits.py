"""Plan fits without a fit: what a test says a camera found, all residuals zero."""

from __future__ import annotations

import numpy as np

from vision.geometry import Array, Pose
from vision.lens import Lens
from vision.plan_fit import PlanFit, Points


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

"""Raised marks that a plan tries or proposes: what they are like and how high they stand."""

from __future__ import annotations

import numpy as np

from vision.job.job import Cross, Job, Quadrant, SingleMark
from vision.planning.sizes import MarkKind
from vision.units.arrays import Array

RAISED_SHAPE = Cross(arm_along_m=0.2, arm_across_m=0.2, line_m=0.04)
RAISED_SIGMA_M = 0.005
"""Plumbed over its place and taped up from the ground: common practice, no source. With a strip's
1 cm in each of three directions one in thirty would lie beyond the usual 3 cm."""
RAISED_HEIGHT_M = 0.75
RAISED_SHARE = 0.4
"""A raised mark stands at 75 cm, the height of a trestle (common practice, no source), and below a
low camera at this share of its height."""
STEP_M = 0.05


def raised_height_m(job: Job) -> float:
    """Height for a raised mark, well below the lowest camera, to 5 cm."""
    lowest = min(float(camera.position_m[2]) for camera in job.cameras)
    height = min(RAISED_HEIGHT_M, RAISED_SHARE * lowest)
    return max(float(np.floor(height / STEP_M + 1e-9)), 1.0) * STEP_M


def raised_shape(kind: MarkKind) -> Cross | Quadrant:
    """What a raised mark is beside marks of one kind; a single mark cannot be a board."""
    return Quadrant(radius_m=RAISED_SHAPE.arm_along_m) if kind == "quadrant" else RAISED_SHAPE


def raised_mark(
    job: Job, name: str, x_m: float, y_m: float, shape: Cross | Quadrant = RAISED_SHAPE
) -> SingleMark:
    """A raised mark over a place on the ground."""
    at: Array = np.array([x_m, y_m, raised_height_m(job)])
    return SingleMark(name=name, at_m=at, shape=shape, position_sigma_m=RAISED_SIGMA_M)

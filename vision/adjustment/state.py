"""The network's state, its points and what they weigh, as values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.groups import Group
from vision.camera.geometry import Pose
from vision.job.job import Camera
from vision.units.arrays import Array

LEAST_PX2 = 1e-8
"""(0.1 millipixel)^2: no centre is better, and a singular covariance is no reason to stop."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """Rotations (n, 3, 3), places (n, 3) and lenses (n, 8) camera by camera; types of lens (s, 8).

    `world` (w,) are the world's deviations from the plan.
    """

    R: Array
    place_m: Array
    lens: Array
    shared: Array
    world: Array

    def pose(self, index: int) -> Pose:
        """One camera's pose, brought to an exact rotation."""
        u, _, vt = np.linalg.svd(self.R[index])
        return Pose.at(self.place_m[index], u @ vt)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """One camera, which of the network's points are its own, and which type of lens it shares."""

    camera: Camera
    observations: CameraObservations
    rows: slice
    shares: int | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointRows:
    """Every point of every camera, view by view (p): where it was seen and how its place moves.

    `by_kept_m` (p, 3, kept) and `by_own_m` (p, 3, o) are constant derivatives of the places by the
    world; `blocks` (p,) is the block of each mark's own, `by_block` (b, p) their incidence matrix.
    `spread_m2` (p, 3, 3) is how far a place spreads by its mark's own deviation, as stated.
    """

    camera: NDArray[np.intp]
    ids: tuple[str, ...]
    planned_m: Array
    pixels_px: Array
    covariance_px2: Array
    by_kept_m: Array
    by_own_m: Array
    by_block: csr_array
    blocks: NDArray[np.intp]
    spread_m2: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """How every point is seen from a state, in pixels, whatever it weighs.

    `off_px` (p, 2) is predicted minus measured, `by_camera` (p, 2, 14) and `by_place` (p, 2, 3) its
    derivatives by the unknowns of the point's camera and by where the point lies; NaN where the
    lens cannot show it.
    """

    state: State
    off_px: Array
    by_camera: Array
    by_place: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weights:
    """What the observations weigh in one solution.

    `whiteners` (p, 2, 2); zero leaves a point out. `group_sigma` by group replaces the stated
    sigma of the group, in m, for an angle in rad, for a lens in its stated sigmas.
    """

    whiteners: Array
    group_sigma: dict[Group, float]


def whiteners(covariance_px2: Array) -> Array:
    """Matrices W (n, 2, 2) with W C W^T = 1; no variance counts as less than LEAST_PX2."""
    values, vectors = np.linalg.eigh(covariance_px2)
    scale = 1 / np.sqrt(np.maximum(values, LEAST_PX2))
    return np.asarray(scale[..., None] * vectors.transpose(0, 2, 1))

"""The unknowns of a network, how points are seen from them, and what observations weigh.

Every network has the same unknowns: poses (six steps each, as of `Pose.perturbed`), lenses (the
eight of `PARAMETERS`) and a world, of which the marks' own deviations come last. All but rotations
add up, so a state is one vector and the rotations beside it. A fit of one camera has one pose, one
lens and no world; a lens fit one lens and a pose for each board; two checks of one vehicle a pose
for each picture, a lens for each camera, and one more pose: how the vehicle stands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.adjustment.elimination import Incidence
from vision.adjustment.groups import Group
from vision.camera.geometry import Pose
from vision.camera.lens import PARAMETERS, Lens
from vision.camera.rotations import rotation_from_vector
from vision.job.mark_id import MarkId
from vision.units.arrays import Array

POSE, LENS = 6, len(PARAMETERS)
UNKNOWNS = POSE + LENS
"""Of one camera, everywhere: the six steps of `Pose.perturbed`, then the lens's parameters."""

LEAST_PX2 = 1e-8
"""(0.1 millipixel)^2: no centre is better, and a singular covariance is no reason to stop."""

Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Columns:
    """Where the unknowns stand: poses (q, 6), lenses (l, 8), and the world from column `base`."""

    pose: Indices
    lens: Indices
    base: int

    @classmethod
    def by_camera(cls, cameras: int, more_lenses: int = 0) -> Columns:
        """Each camera's pose and lens side by side, then lenses that are no camera's own."""
        own = np.arange(UNKNOWNS * cameras).reshape(-1, UNKNOWNS)
        base = UNKNOWNS * cameras + LENS * more_lenses
        shared = np.arange(UNKNOWNS * cameras, base).reshape(-1, LENS)
        return cls(pose=own[:, :POSE], lens=np.concatenate([own[:, POSE:], shared]), base=base)

    @classmethod
    def apart(cls, poses: int, lenses: int) -> Columns:
        """All poses, then all lenses, which several poses may share."""
        base = POSE * poses + LENS * lenses
        pose, lens = np.split(np.arange(base), [POSE * poses])
        return cls(pose=pose.reshape(-1, POSE), lens=lens.reshape(-1, LENS), base=base)

    def state(self, poses: list[Pose], lenses: list[Array], world: int) -> State:
        """Poses and lenses as they are, and `world` deviations of nothing."""
        x = np.zeros(self.base + world)
        x[self.pose[:, :3]] = np.array([p.camera_in_ground_m for p in poses]).reshape(-1, 3)
        x[self.lens] = np.array(lenses).reshape(-1, LENS)
        R = np.array([pose.R for pose in poses]).reshape(-1, 3, 3)
        return State(columns=self, R=R, x=x)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """Rotations `R` (q, 3, 3) and every other unknown in `x` (n,), by column; 0 for rotations."""

    columns: Columns
    R: Array
    x: Array

    @property
    def place_m(self) -> Array:
        """Places (q, 3)."""
        return np.asarray(self.x[self.columns.pose[:, :3]])

    @property
    def lens(self) -> Array:
        """Lenses (l, 8)."""
        return np.asarray(self.x[self.columns.lens])

    @property
    def world(self) -> Array:
        """The world's deviations from the plan (w,)."""
        return self.x[self.columns.base :]

    def pose(self, index: int) -> Pose:
        """One pose, brought to an exact rotation."""
        u, _, vt = np.linalg.svd(self.R[index])
        return Pose.at(self.place_m[index], u @ vt)

    def moved(self, step: Array) -> State:
        """The state moved by a step (n,)."""
        x, R, columns = self.x + step, self.R, self.columns
        if len(R):
            turn = columns.pose[:, 3:]
            R = rotation_from_vector(step[turn]) @ R
            x[turn] = 0.0
        # A wild step must stay a lens for the solver to see how bad it is and shorten it.
        focal = columns.lens[:, :2]
        x[focal] = np.maximum(x[focal], 0.5 * self.x[focal])
        return State(columns=columns, R=R, x=x)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """One picture: whose it is, its pose and lens among the unknowns, and its points' `rows`.

    `like` is a lens for pictures of its size.
    """

    name: str
    pose: int
    lens: int
    rows: slice
    like: Lens


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointRows:
    """Every point of every view in turn (p): where it was seen and how its place moves.

    `pose` and `lens` (p,) are those of its view. `by_kept_m` (p, 3, kept) and `by_own_m` (p, 3, o)
    are constant derivatives of the places by the world; `blocks` (p,) is the block of each mark's
    own, `by_block` their incidence.
    """

    pose: Indices
    lens: Indices
    ids: tuple[MarkId, ...]
    planned_m: Array
    pixels_px: Array
    covariance_px2: Array
    by_kept_m: Array
    by_own_m: Array
    by_block: Incidence
    blocks: Indices


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """How every point is seen from a state, in pixels, whatever it weighs.

    `off_px` (p, 2) is predicted minus measured, `by_camera` (p, 2, 14) and `by_place` (p, 2, 3) its
    derivatives by its view's pose and lens and by where the point lies; NaN where the lens cannot
    show it.
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
    """Matrices W (n, 2, 2) with W C W^T = 1; no variance counts as less than LEAST_PX2.

    W is the inverse root of C, which for two by two is t (C + s 1)^-1 with s^2 the determinant and
    t^2 the trace and twice s.
    """
    a, b, d = covariance_px2[..., 0, 0], covariance_px2[..., 0, 1], covariance_px2[..., 1, 1]
    least = 0.5 * (a + d) - np.hypot(0.5 * (a - d), b)
    lift = np.maximum(LEAST_PX2 - least, 0.0)
    a, d = a + lift, d + lift
    s = np.sqrt(a * d - b * b)
    out = np.empty_like(covariance_px2)
    out[..., 0, 0], out[..., 1, 1] = d + s, a + s
    out[..., 0, 1] = out[..., 1, 0] = -b
    return np.asarray(out / (s * np.sqrt(a + d + 2 * s))[..., None, None])

"""One least-squares network of a lens, the board's shape and every view's pose.

A view's own unknowns, its pose and what its board is bent in this picture alone, touch that view's
rows only. They are eliminated view by view (the Schur complement), so that thirteen unknowns remain
however many pictures there are, and the cost is linear in pictures:

    G   V1  V2        G of lens and board's shape (13, 13), Vi with a view's own (13, 9),
    V1' D1   .        Di a view's own (9, 9);
    V2'  .  D2        S = G - sum of Vi Di^-1 Vi'

The sums by view of Vi Di^-1 Vi' and of the right-hand sides are kept: they are all that leaving out
a view asks for, see `vision.calibration.leave_out`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from vision.calibration.padded import BENDS, SHARED, Padded
from vision.camera.geometry import Pose, cross_matrix
from vision.camera.lens import Lens, project_with_derivatives
from vision.camera.rotations import rotation_from_vector
from vision.camera.solver import NoFit, Settled, settle
from vision.units.arrays import Array, Flags

LENS, POSE = 8, 6
KEPT, OWN = LENS + SHARED, POSE + BENDS


class LensBelief(Protocol):
    """What is believed of a lens beforehand."""

    def rows(self, vector: Array) -> tuple[Array, Array]:
        """Whitened residuals (m,) of a lens (8,) and their derivative (m, 8)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """Lens (8,), the board's shape (SHARED,), `camera_from_board` (v, 3, 4), own bends (v, 3)."""

    lens: Array
    shape: Array
    poses: Array
    bends: Array

    def moved(self, step: Array) -> State:
        """After a step of the kept unknowns, KEPT, and then of each view's own, OWN each."""
        kept, own = step[:KEPT], step[KEPT:].reshape(-1, OWN)
        lens = self.lens + kept[:LENS]
        # A wild trial step could ask for a lens that cannot exist.
        lens[:2] = np.maximum(lens[:2], 0.5 * self.lens[:2])
        return State(
            lens=lens,
            shape=self.shape + kept[LENS:],
            poses=moved_poses(self.poses, own[:, :POSE]),
            bends=self.bends + own[:, POSE:],
        )

    def pose(self, view: int) -> Pose:
        """Pose of a view, exactly a turn."""
        u, _, vt = np.linalg.svd(self.poses[view, :, :3])
        return Pose(R=u @ vt, t_m=self.poses[view, :, 3])


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Sigmas of what corners share.

    Of every corner beside its own, px; of the bends that a board has for good and in one picture,
    and of its print's stretch, in half lengths of the board.
    """

    extra_px: float
    bend: float
    own_bend: float
    stretch: float

    @property
    def shape(self) -> Array:
        """Sigmas (SHARED,) of the board's shape."""
        return np.array([self.bend] * BENDS + [self.stretch] * (SHARED - BENDS))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """A state and how corners are seen from it: predicted minus measured (v, n, 2), derivatives.

    `by_kept` (v, n, 2, KEPT) and `by_own` (v, n, 2, OWN); NaN where the lens cannot see a corner.
    """

    state: State
    off_px: Array
    by_kept: Array
    by_own: Array


def seen_from(boards: Padded, state: State) -> Seen:
    """Project every corner of every view."""
    coefficients = state.shape + np.pad(state.bends, ((0, 0), (0, SHARED - BENDS)))
    point = boards.board_m + (boards.modes @ coefficients[:, None, :, None])[..., 0]
    R, t = state.poses[:, None, :, :3], state.poses[:, None, :, 3]
    turned = (R @ point[..., None])[..., 0]
    lens = Lens(width=1, height=1, fx=1, fy=1, cx=0, cy=0, k=state.lens[4:])
    pixels, by_point, by_lens = project_with_derivatives(
        turned + t, state.lens, lens.monotone_limit_rad
    )
    by_shape = by_point @ (R @ boards.modes)
    turn = by_point @ -cross_matrix(turned)
    return Seen(
        state=state,
        off_px=pixels - boards.pixels_px,
        by_kept=np.concatenate([by_lens, by_shape], axis=-1),
        by_own=np.concatenate([by_point, turn, by_shape[..., :BENDS]], axis=-1),
    )


def moved_poses(poses: Array, step: Array) -> Array:
    """Poses (v, 3, 4) after steps (v, 6): [R t], moved by t and turned on the left."""
    R = rotation_from_vector(step[:, 3:]) @ poses[..., :3]
    return np.concatenate([R, poses[..., 3:] + step[:, :3, None]], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Normal:
    """Normal equations at a state, views apart.

    `kept` (KEPT, KEPT) and `right` (KEPT,) of all views and the priors, `by_view` (v, KEPT, KEPT)
    and `right_by_view` of each view alone, `cross` (v, KEPT, OWN), `own` (v, OWN, OWN),
    `right_own` (v, OWN). `chi2_by_view` (v,) is each view's, with its own bends' prior; `chi2` the
    whole. Gradients are right-hand sides of a step.
    """

    kept: Array
    right: Array
    by_view: Array
    right_by_view: Array
    cross: Array
    own: Array
    right_own: Array
    chi2_by_view: Array
    chi2: float

    def step(self, damping: float) -> tuple[Array, float]:
        """Step of the kept unknowns and then of each view's own, and the decrease promised."""
        d_kept = np.maximum(np.diag(self.kept), 1e-300)
        d_own = np.maximum(np.einsum("vaa->va", self.own), 1e-300)
        own = self.own + damping * d_own[:, :, None] * np.eye(OWN)
        solved = np.linalg.solve(
            own, np.concatenate([self.cross.transpose(0, 2, 1), self.right_own[..., None]], axis=2)
        )
        system = self.kept + damping * np.diag(d_kept) - (self.cross @ solved[..., :-1]).sum(axis=0)
        right = self.right - (self.cross @ solved[..., -1:])[..., 0].sum(axis=0)
        root = np.sqrt(d_kept)
        kept = np.linalg.solve(system / np.outer(root, root), right / root) / root
        steps = solved[..., -1] - solved[..., :-1] @ kept
        promised = kept @ self.right + np.vdot(steps, self.right_own)
        promised += damping * (kept @ (d_kept * kept) + np.vdot(steps, d_own * steps))
        return np.concatenate([kept, steps.ravel()]), float(promised)

    def reduced(self) -> tuple[Array, Array, Array, Array]:
        """What each view says of the kept unknowns with its own eliminated, from its rows alone.

        Matrices (v, KEPT, KEPT), right-hand sides (v, KEPT), chi-squares (v,) at the best own
        unknowns, and the inverse of `own`.
        """
        inverse: Array = np.asarray(np.linalg.inv(self.own), dtype=np.float64)
        half = self.cross @ inverse
        matrix = self.by_view - half @ self.cross.transpose(0, 2, 1)
        right = self.right_by_view - (half @ self.right_own[..., None])[..., 0]
        chi2 = self.chi2_by_view - np.einsum(
            "va,vab,vb->v", self.right_own, inverse, self.right_own
        )
        return matrix, right, chi2, inverse


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighing:
    """What every row weighs: `whiteners` (v, n, 2, 2), zero for corners left out, and `spread`."""

    whiteners: Array
    spread: Spread

    @property
    def used(self) -> Flags:
        """Corners that take part, (v, n)."""
        return np.asarray(self.whiteners.any(axis=(2, 3)))


def normal_of(seen: Seen, weighing: Weighing, prior: LensBelief) -> Normal | None:
    """Normal equations; None where a corner that takes part cannot be seen."""
    used, W = weighing.used, weighing.whiteners
    if not np.isfinite(seen.off_px[used]).all():
        return None
    views = len(W)

    def rows(values: Array) -> Array:
        values = np.where(used[(...,) + (None,) * (values.ndim - 2)], values, 0.0)
        return (W @ values).reshape(views, -1, values.shape[-1])

    r = rows(seen.off_px[..., None])
    by_kept, by_own = rows(seen.by_kept), rows(seen.by_own)
    kept_t, own_t = by_kept.transpose(0, 2, 1), by_own.transpose(0, 2, 1)
    by_view, right = kept_t @ by_kept, -(kept_t @ r)[..., 0]
    own, right_own = own_t @ by_own, -(own_t @ r)[..., 0]
    bend = weighing.spread.own_bend
    bent = np.arange(POSE, OWN)
    own[:, bent, bent] += 1 / bend**2
    right_own[:, POSE:] -= seen.state.bends / bend**2
    chi2_by_view = np.square(r).sum(axis=(1, 2)) + np.square(seen.state.bends / bend).sum(axis=1)
    prior_kept, prior_right, prior_chi2 = prior_of(seen.state, weighing.spread, prior)
    return Normal(
        kept=by_view.sum(axis=0) + prior_kept,
        right=right.sum(axis=0) + prior_right,
        by_view=by_view,
        right_by_view=right,
        cross=kept_t @ by_own,
        own=own,
        right_own=right_own,
        chi2_by_view=chi2_by_view,
        chi2=float(chi2_by_view.sum()) + prior_chi2,
    )


def prior_of(state: State, spread: Spread, prior: LensBelief) -> tuple[Array, Array, float]:
    """Matrix, right-hand side and chi-square of what is believed of lens and board beforehand."""
    r, rows = prior.rows(state.lens)
    matrix, right = np.zeros((KEPT, KEPT)), np.zeros(KEPT)
    matrix[:LENS, :LENS], right[:LENS] = rows.T @ rows, -rows.T @ r
    weight = spread.shape**-2
    shape = np.arange(LENS, KEPT)
    matrix[shape, shape], right[LENS:] = weight, -weight * state.shape
    return matrix, right, float(r @ r + (weight * state.shape) @ state.shape)


def settled(
    boards: Padded,
    weighing: Weighing,
    prior: LensBelief,
    start: Seen,
    tolerance: float,
    most_steps: int,
) -> Settled[Seen, Normal] | NoFit:
    """Walk to the minimum with these weights, from `start`."""
    return settle(
        lambda seen: normal_of(seen, weighing, prior),
        lambda seen, step: seen_from(boards, seen.state.moved(step)),
        start,
        tolerance=tolerance,
        max_iterations=most_steps,
    )

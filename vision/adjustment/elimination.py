"""Normal equations of the network, with every mark's own deviation eliminated.

The unknowns are kept ones and, mark by mark, a small block of the mark's own. The kept ones are
those of poses and lenses, of which a point touches its picture's alone, and the world's (strips,
single marks, ...), which any point may touch. For two cameras and two marks the normal matrix is

    C1  .   .  X1 | Y11 Y12      C, X  a camera's own, and with the world's
     .  C2  .  X2 | Y21 Y22      T, W  the types' and the world's
     .   .  T   . |  .   .       Y, Z  a camera's with a mark's (0 where it does not show the mark),
    X1' X2' .   W | Z1  Z2             the world's with a mark's
    --------------+--------      D     a mark's own
    Y11' Y21' . Z1'| D1  .
    Y12' Y22' . Z2'|  .  D2

so what is kept is summed camera by camera, from products of rows as short as what a point touches
(lens priors and readings, which touch more, are few). The right-hand side is carried along as one
more of the world's columns, and the sum of squares as its diagonal.

With D = L L' and H = L^-1 [Y' 0 Z'], the kept unknowns solve what remains when H' H is subtracted,
the Schur complement. That gives the same step and the same covariance as the whole matrix, at a
cost that grows with the kept unknowns only (the reduced normal equations of photogrammetry).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera.solver import SINGULAR, damped_step
from vision.units.arrays import Array

Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Incidence:
    """Which points belong to each of `count` blocks: those of `order` from its start to the next.

    `starts` are those of the blocks that have points, `filled` which ones these are.
    """

    count: int
    order: Indices
    starts: Indices
    filled: Indices

    def summed(self, values: Array) -> Array:
        """Sum values (p, i, j) of the points block by block, (b, i, j)."""
        out = np.zeros((self.count, *values.shape[1:]))
        if len(self.filled):
            out[self.filled] = np.add.reduceat(values[self.order], self.starts, axis=0)
        return out


def incidence(blocks: Indices, count: int) -> Incidence:
    """Which points belong to which block: `blocks` (p,), below 0 none."""
    order = np.argsort(blocks, kind="stable")
    order = order[blocks[order] >= 0]
    filled, starts = np.unique(blocks[order], return_index=True)
    return Incidence(count=count, order=order, starts=starts, filled=filled)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Whitened rows of the network at one state.

    Points, picture by picture as in `views`: `r` (p, 2), `by_camera` (p, 2, c) by the columns that
    the picture's points touch, one (c,) of `touched` for each, `by_world` (p, 2, w), and `by_own`
    (p, 2, o) by its block of `blocks` (p,), zero where that is below 0; `by_block` is their
    `incidence`. The w of the world are the last of the kept unknowns (k).

    Others, on the kept unknowns only: `others` (m,) and `by_kept_others` (m, k). Priors of single
    unknowns: `prior` (k,) and `prior_own` (b, o), each unknown over its sigma, and `weight` (k,),
    `weight_own` (b, o), one over the sigma and 0 where there is no prior.
    """

    views: tuple[slice, ...]
    touched: tuple[Indices, ...]
    blocks: Indices
    by_block: Incidence
    r: Array
    by_camera: Array
    by_world: Array
    by_own: Array
    others: Array
    by_kept_others: Array
    prior: Array
    weight: Array
    prior_own: Array
    weight_own: Array

    @property
    def after_cameras(self) -> Indices:
        """Columns of the world, and of r."""
        size = len(self.weight) + 1
        return np.arange(size - 1 - self.by_world.shape[2], size)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Covariance:
    """Covariance of all unknowns: `kept` (k, k) of the kept ones.

    Block i moves by -`follows[i]` (o, k) times the kept unknowns and by itself with covariance
    `own[i]` (o, o).
    """

    kept: Array
    follows: Array
    own: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reduced:
    """The linear model of `rows`.

    `kept` (k + 1, k + 1) is the normal matrix of the kept unknowns, the right-hand side its last
    column; `own` (b, o, o) are those of the blocks.
    """

    rows: Rows
    kept: Array
    own: Array

    @property
    def chi2(self) -> float:
        """The sum of squares at the state."""
        return float(self.kept[-1, -1])

    def step(self, damping: float) -> tuple[Array, float]:
        """See `vision.camera.solver.Linear`."""
        scale = _lengths(self.kept)[:-1]
        root, half, remaining = self._eliminated(damping)
        normal, gradient = remaining[:-1, :-1] / scale[:, None] / scale, remaining[:-1, -1]
        step = damped_step(normal, gradient / scale, damping) / scale
        gained, scaled = float(gradient @ step), scale * step
        gained += damping * float(scaled @ scaled)
        if not len(root):
            return -step, gained
        left = (half @ np.append(-step, 1.0)).reshape(*root.shape[:2], 1)
        step_own = (root.transpose(0, 2, 1) @ left)[..., 0]
        gained += float(half[:, -1] @ half[:, -1])
        gained += damping * float(np.sum((_lengths(self.own) * step_own) ** 2))
        return -np.concatenate([step, step_own.ravel()]), gained

    def covariance(self) -> Covariance | None:
        """Covariance a priori; None where the rows do not determine every unknown."""
        scale = _lengths(self.kept)[:-1]
        root, half, remaining = self._eliminated(0.0)
        normal = remaining[:-1, :-1] / scale[:, None] / scale
        try:
            lower = np.linalg.cholesky(normal)
        except np.linalg.LinAlgError:
            return None
        lower_inverse = np.linalg.inv(lower)
        inverse = lower_inverse.T @ lower_inverse
        # The product of the norms is the condition number, or up to its n-fold.
        if np.linalg.norm(normal) * np.linalg.norm(inverse) * SINGULAR >= 1:
            return None
        back = root.transpose(0, 2, 1)
        return Covariance(
            kept=inverse / scale[:, None] / scale,
            follows=back @ half[:, :-1].reshape(*root.shape[:2], len(scale)),
            own=back @ root,
        )

    def _eliminated(self, damping: float) -> tuple[Array, Array, Array]:
        """L^-1 (b, o, o) of the damped blocks, H (b * o, k + 1), what remains (k + 1, k + 1)."""
        if not len(self.own):
            return self.own, np.zeros((0, len(self.kept))), self.kept
        root = np.linalg.inv(np.linalg.cholesky(_with_diagonal(self.own, 1 + damping)))
        half = _half(self.rows, root).reshape(-1, len(self.kept))
        return root, half, self.kept - half.T @ half


def reduce(rows: Rows) -> Reduced | None:
    """The linear model of these rows; None where anything is not finite, or a block singular.

    A block has a prior, so only a point that all but touches its camera can make it so.
    """
    with np.errstate(over="ignore"):
        kept = _kept(rows)
        if not len(rows.weight_own):
            none = np.zeros((0, 0, 0))
            return Reduced(rows=rows, kept=kept, own=none) if np.isfinite(kept).all() else None
        own = rows.by_block.summed(rows.by_own.transpose(0, 2, 1) @ rows.by_own)
    diagonal = np.arange(own.shape[1])
    own[:, diagonal, diagonal] += rows.weight_own**2
    if not (np.isfinite(kept).all() and np.isfinite(own).all()):
        return None
    try:
        np.linalg.cholesky(_with_diagonal(own, 1 - SINGULAR))
    except np.linalg.LinAlgError:
        return None
    return Reduced(rows=rows, kept=kept, own=own)


def _kept(rows: Rows) -> Array:
    """The normal matrix of the kept unknowns, r as one more column, (k + 1, k + 1)."""
    others = np.concatenate([rows.by_kept_others, rows.others[:, None]], axis=1)
    out = np.asarray(others.T @ others)
    unknowns = np.arange(len(rows.weight))
    out[unknowns, unknowns] += rows.weight**2
    out[unknowns, -1] += rows.weight * rows.prior
    out[-1, unknowns] = out[unknowns, -1]
    out[-1, -1] += rows.prior @ rows.prior + np.vdot(rows.prior_own, rows.prior_own)
    short = np.concatenate([rows.by_camera, rows.by_world, rows.r[..., None]], axis=2)
    for view, touched in zip(rows.views, rows.touched, strict=True):
        each = short[view].reshape(-1, short.shape[2])
        columns = np.concatenate([touched, rows.after_cameras])
        out[columns[:, None], columns] += each.T @ each
    return out


def _half(rows: Rows, root: Array) -> Array:
    """H (b, o, k + 1), r as one more column, from the inverse roots L^-1 (b, o, o)."""
    by_own = root[rows.blocks] @ rows.by_own.transpose(0, 2, 1)
    half = np.zeros((*by_own.shape[:2], len(rows.weight) + 1))
    half[..., -1] = (by_own @ rows.r[..., None])[..., 0]
    half[..., -1 - rows.by_world.shape[2] : -1] = by_own @ rows.by_world
    of_camera = by_own @ rows.by_camera
    for view, touched in zip(rows.views, rows.touched, strict=True):
        half[view, :, touched] = of_camera[view]
    half = rows.by_block.summed(half)
    half[..., -1] += (root @ (rows.weight_own * rows.prior_own)[..., None])[..., 0]
    return half


def _with_diagonal(blocks: Array, factor: float) -> Array:
    """Blocks (b, o, o) with their diagonals multiplied."""
    out = blocks.copy()
    diagonal = np.arange(out.shape[1])
    out[:, diagonal, diagonal] *= factor
    return out


def _lengths(normal: Array) -> Array:
    """Lengths (..., n) of the columns whose normal matrix (..., n, n) this is; 1 for none."""
    squared = np.diagonal(normal, axis1=-2, axis2=-1)
    return np.sqrt(np.where(squared > 0, squared, 1.0))

"""Normal equations of the network, with every mark's own deviation eliminated.

The unknowns are kept ones (poses, lenses, strips, ...) and, mark by mark, a small block of the
mark's own. A point depends on the kept unknowns and on one block; blocks do not meet. With N the
normal matrix, the kept unknowns solve the Schur complement N_kk - N_ko N_oo^-1 N_ok, whose N_oo is
inverted block by block: the same step and the same covariance as from the whole matrix, at a cost
that grows with the kept unknowns only (the reduced normal equations of photogrammetry).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.geometry import Array
from vision.solver import SINGULAR, damped_step

Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grouping:
    """Points (p) grouped by block: `order` sorts them, `starts` begin each of `present`."""

    order: Indices
    starts: Indices
    present: Indices
    count: int


def grouping(blocks: Indices, count: int) -> Grouping:
    """Group points by their block (p,), below 0 for none, of `count` blocks."""
    order = np.argsort(blocks, kind="stable")
    order = order[blocks[order] >= 0]
    present, starts = np.unique(blocks[order], return_index=True)
    return Grouping(order=order, starts=starts, present=present, count=count)


def _summed(values: Array, by: Grouping) -> Array:
    """Sum values (p, ...) block by block, (count, ...)."""
    out = np.zeros((by.count, *values.shape[1:]))
    if len(by.order):
        out[by.present] = np.add.reduceat(values[by.order], by.starts, axis=0)
    return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Whitened rows of the network at one state.

    Points: `r` (p, 2), `by_kept` (p, 2, k), `by_own` (p, 2, o), grouped by `by_block`. Others, on
    the kept unknowns only: `others` (m,) and `by_kept_others` (m, k). Priors of single unknowns:
    `prior` (k,) and `prior_own` (b, o), each unknown over its sigma, and `weight` (k,),
    `weight_own` (b, o), one over the sigma and 0 where there is no prior.
    """

    r: Array
    by_kept: Array
    by_own: Array
    by_block: Grouping
    others: Array
    by_kept_others: Array
    prior: Array
    weight: Array
    prior_own: Array
    weight_own: Array


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
    """The linear model of `Rows`, scaled so that the normal matrix has a unit diagonal."""

    chi2: float
    kept: Array
    own: Array
    cross: Array
    gradient: Array
    gradient_own: Array
    scale: Array
    scale_own: Array

    def step(self, damping: float) -> tuple[Array, float]:
        """See `vision.solver.Linear`."""
        count, size = self.gradient_own.shape
        inverse = np.linalg.inv(self.own + damping * np.eye(size))
        follows = inverse @ self.cross.transpose(0, 2, 1)
        flat = self.cross.transpose(1, 0, 2).reshape(len(self.kept), count * size)
        reduced = self.kept - flat @ follows.reshape(flat.T.shape)
        own_alone = (inverse @ self.gradient_own[..., None])[..., 0]
        step = damped_step(reduced, self.gradient - flat @ own_alone.ravel(), damping)
        step_own = own_alone - follows @ step
        along = self.gradient @ step + float(np.sum(self.gradient_own * step_own))
        promised = float(along + damping * (step @ step + np.sum(step_own * step_own)))
        whole = np.concatenate([step / self.scale, (step_own / self.scale_own).ravel()])
        return -whole, promised

    def covariance(self) -> Covariance | None:
        """Covariance a priori; None where the rows do not determine every unknown."""
        count, size = self.gradient_own.shape
        inverse = np.linalg.inv(self.own)
        follows = inverse @ self.cross.transpose(0, 2, 1)
        flat = self.cross.transpose(1, 0, 2).reshape(len(self.kept), count * size)
        values, vectors = np.linalg.eigh(self.kept - flat @ follows.reshape(flat.T.shape))
        if len(values) and values[0] <= SINGULAR * max(values[-1], 1.0):
            return None
        root = vectors / np.sqrt(values) / self.scale[:, None]
        unit = self.scale_own[..., :, None]
        return Covariance(
            kept=root @ root.T,
            follows=follows * self.scale / unit,
            own=inverse / unit / self.scale_own[..., None, :],
        )


def reduce(rows: Rows) -> Reduced | None:
    """The linear model of these rows; None where anything is not finite."""
    points = rows.by_kept.reshape(-1, rows.by_kept.shape[2])
    kept = points.T @ points + rows.by_kept_others.T @ rows.by_kept_others
    gradient = points.T @ rows.r.ravel() + rows.by_kept_others.T @ rows.others
    gradient += rows.weight * rows.prior
    kept[np.diag_indices_from(kept)] += rows.weight**2
    by_own = rows.by_own.transpose(0, 2, 1)
    own = _summed(by_own @ rows.by_own, rows.by_block)
    size = rows.weight_own.shape[1]
    own[:, np.arange(size), np.arange(size)] += rows.weight_own**2
    gradient_own = _summed((by_own @ rows.r[..., None])[..., 0], rows.by_block)
    gradient_own += rows.weight_own * rows.prior_own
    cross = _summed(rows.by_kept.transpose(0, 2, 1) @ rows.by_own, rows.by_block)
    with np.errstate(over="ignore"):
        chi2 = float(
            np.sum(rows.r**2)
            + rows.others @ rows.others
            + rows.prior @ rows.prior
            + np.sum(rows.prior_own**2)
        )
    if not (np.isfinite(chi2) and np.isfinite(kept).all() and np.isfinite(own).all()):
        return None
    scale, scale_own = np.sqrt(np.diag(kept)), np.sqrt(np.diagonal(own, axis1=1, axis2=2))
    scale = np.where(scale > 0, scale, 1.0)
    return Reduced(
        chi2=chi2,
        kept=kept / scale[:, None] / scale,
        own=own / scale_own[:, :, None] / scale_own[:, None, :],
        cross=cross / scale[:, None] / scale_own[:, None, :],
        gradient=gradient / scale,
        gradient_own=gradient_own / scale_own,
        scale=scale,
        scale_own=scale_own,
    )

"""Every picture against a lens fitted to all the others, from the one solution of all.

The network is taken to be linear about its minimum. There what a view says of the kept unknowns is
a matrix and a right-hand side (`Normal.reduced`); the others' minimum without it is one solution of
thirteen unknowns, so that all pictures together cost less than one more step of the fit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.calibration.bundle import LENS, POSE, Normal, Weighing, normal_of
from vision.calibration.lens_fit import LensFit, whitened
from vision.units.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LeftOut:
    """By view of a fit: the lens of all others (v, 8), and how it predicts this one.

    `rms_px` (v,) of the used corners' residuals, with the view's own pose. `chi2_used` and
    `chi2_all` (v,): chi-square over degrees of freedom of the used corners and of all, with what
    the others leave open of the lens allowed for. NaN of the only view there is.
    """

    lenses: Array
    rms_px: Array
    chi2_used: Array
    chi2_all: Array


def leave_out(fit: LensFit) -> LeftOut:
    """Leave out each view in turn."""
    solution = fit.solution
    views = len(fit.views)
    if views == 1:
        nothing = np.full(1, np.nan)
        lenses = np.full((1, LENS), np.nan)
        return LeftOut(lenses=lenses, rms_px=nothing, chi2_used=nothing, chi2_all=nothing)
    normal, used = solution.normal, solution.weighing.used
    matrix, right, _, _ = normal.reduced()
    information = np.asarray(np.linalg.inv(solution.covariance), dtype=np.float64)
    others: Array = information - matrix
    step = np.asarray(-np.linalg.solve(others, right[..., None])[..., 0], dtype=np.float64)
    full, _ = whitened(solution.boards, solution.seen, fit.extra_sigma_px)
    there = solution.boards.there & np.isfinite(solution.seen.off_px).all(axis=-1)
    weighing = Weighing(
        whiteners=np.where(there[..., None, None], full, 0.0), spread=solution.weighing.spread
    )
    everything = normal_of(solution.seen, weighing, fit.prior)
    assert everything is not None, "corners that cannot be seen were left out above"
    freedom = [np.maximum(1, 2 * each.sum(axis=1) - POSE) for each in (used, there)]
    return LeftOut(
        lenses=solution.seen.state.lens + step[:, :LENS],
        rms_px=_rms_px(fit, normal, step),
        chi2_used=_predicted_chi2(normal, others, step) / freedom[0],
        chi2_all=_predicted_chi2(everything, others, step) / freedom[1],
    )


def _predicted_chi2(normal: Normal, others: Array, step: Array) -> Array:
    """Least of a view's own chi-square and the others' together, beyond theirs alone, (v,)."""
    matrix, right, chi2, _ = normal.reduced()
    toward = right + (others @ step[..., None])[..., 0]
    best = np.linalg.solve(matrix + others, toward[..., None])[..., 0]
    away = best - step
    own = chi2 - 2 * np.einsum("va,va->v", right, best)
    own += np.einsum("va,vab,vb->v", best, matrix, best)
    return np.asarray(own + np.einsum("va,vab,vb->v", away, others, away))


def _rms_px(fit: LensFit, normal: Normal, step: Array) -> Array:
    """RMS residual of the used corners by the others' lens and the view's own pose and bends."""
    seen, used = fit.solution.seen, fit.solution.weighing.used
    right = normal.right_own - (normal.cross.transpose(0, 2, 1) @ step[..., None])[..., 0]
    own = np.linalg.solve(normal.own, right[..., None])
    moved = (seen.by_kept @ step[:, None, :, None])[..., 0]
    moved = moved + (seen.by_own @ own[:, None])[..., 0]
    square = np.where(used, np.square(seen.off_px + moved).sum(axis=-1), 0.0)
    return np.asarray(np.sqrt(square.sum(axis=1) / np.maximum(used.sum(axis=1), 1)))

"""Whether the lens is of another kind than its polynomial can say, and what that does to it.

Four terms of a lens whose elements are not on one axis (decentring: Brown, "Decentering distortion
of lenses", Photogrammetric Engineering 32, 1966; thin prism: Weng, Cohen and Herniou, "Camera
calibration with distortion models and accuracy evaluation", IEEE PAMI 14, 1992) and one of the next
higher order are added to the solved network, and the gain in its sum of squares is tested.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.calibration.bundle import KEPT, LENS
from vision.calibration.lens_fit import LensFit
from vision.calibration.settings import LENS as TUNED
from vision.camera.geometry import cross_matrix
from vision.camera.statistics import chi_square_tail
from vision.units.arrays import Array

TERMS = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ModelError:
    """A model error that the pictures show: `chance` that it is none.

    `rim_px` is what it moves corners in the outer fifth of what is reached,
    RMS, beside a turn; `covariance`
    (8, 8) what the lens's own parameters move when the terms are let in, squared.
    """

    chance: float
    rim_px: float
    covariance: Array


def model_error(fit: LensFit) -> ModelError | None:
    """Test the further terms; None where there is no need of them."""
    solution = fit.solution
    seen, used = solution.seen, solution.weighing.used
    if 2 * used.sum() < TUNED.fewest_rows_for_terms:
        return None
    terms, theta = _terms(fit)
    gain, terms_step, kept_step = _let_in(fit, terms)
    chance = chi_square_tail(gain / max(fit.variance_factor, 1.0), TERMS)
    if chance > TUNED.model_error_chance:
        return None
    moved = terms @ terms_step + seen.by_kept[..., :LENS] @ kept_step[:LENS]
    moved[used] -= _turned(fit, moved[used])
    outer = used & (theta >= 0.8 * theta[used].max())
    rim = float(np.sqrt(np.square(moved[outer]).sum(axis=-1).mean()))
    if rim < TUNED.least_model_error_px:
        return None
    step = kept_step[:LENS]
    return ModelError(chance=chance, rim_px=rim, covariance=np.outer(step, step))


def _turned(fit: LensFit, moved: Array) -> Array:
    """The part of moves (m, 2) of the used corners that one turn of the camera makes."""
    rays = fit.lens.unproject(fit.solution.boards.pixels_px[fit.solution.weighing.used])
    _, d_point, _ = fit.lens.project_with_derivatives(rays)
    turn = np.nan_to_num(d_point @ cross_matrix(rays)).reshape(-1, 3)
    return np.asarray(turn @ np.linalg.lstsq(turn, moved.ravel(), rcond=None)[0]).reshape(-1, 2)


def _terms(fit: LensFit) -> tuple[Array, Array]:
    """Moves (v, n, 2, TERMS) in px of corners for one unit of each term, and their angles (v, n).

    A unit of each moves a corner at the edge angle by about the focal length.
    """
    boards, lens = fit.solution.boards, fit.lens
    focal = np.array([lens.fx, lens.fy])
    m = (boards.pixels_px - [lens.cx, lens.cy]) / focal / fit.prior.edge_rad
    x, y = m[..., 0], m[..., 1]
    r2 = x * x + y * y
    terms = np.zeros((*x.shape, 2, TERMS))
    terms[..., 0, 0], terms[..., 1, 0] = r2 + 2 * x * x, 2 * x * y
    terms[..., 0, 1], terms[..., 1, 1] = 2 * x * y, r2 + 2 * y * y
    terms[..., 0, 2] = r2
    terms[..., 1, 3] = r2
    terms[..., :, 4] = m * (r2**5)[..., None]
    rays = lens.unproject(boards.pixels_px)
    theta = np.arccos(np.clip(np.nan_to_num(rays[..., 2], nan=1.0), -1, 1))
    return terms * focal[:, None], theta


def _let_in(fit: LensFit, terms: Array) -> tuple[float, Array, Array]:
    """Decrease of the sum of squares with the terms free, their step and the kept unknowns'."""
    solution = fit.solution
    seen, W, normal = solution.seen, solution.weighing.whiteners, solution.normal
    used = solution.weighing.used[..., None]
    views = len(W)

    def rows(values: Array) -> Array:
        whole = W @ np.where(used[..., None], values, 0.0)
        return whole.reshape(views, -1, values.shape[-1])

    X, r = rows(terms), rows(seen.off_px[..., None])
    kept, own = rows(seen.by_kept), rows(seen.by_own)
    X_t = X.transpose(0, 2, 1)
    inverse = np.linalg.inv(normal.own)
    with_own = X_t @ own
    half = with_own @ inverse
    matrix = (X_t @ X - half @ with_own.transpose(0, 2, 1)).sum(axis=0)
    with_kept = (X_t @ kept - half @ normal.cross.transpose(0, 2, 1)).sum(axis=0)
    right = (-(X_t @ r)[..., 0] - (half @ normal.right_own[..., None])[..., 0]).sum(axis=0)
    gain = with_kept @ solution.covariance
    matrix = matrix - gain @ with_kept.T + np.eye(TERMS) / TUNED.term_prior**2
    step = np.linalg.solve(matrix, right)
    assert gain.shape == (TERMS, KEPT)
    return float(right @ step), step, -gain.T @ step

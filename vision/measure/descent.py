"""Drawings fitted to many patches at once: damped Gauss-Newton, each mark at its own pace.

The levels are linear and are solved for at every state (variable projection: Golub and Pereyra,
SIAM J. Numer. Anal. 10(2), 1973); states and levels together make the normal equations.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.geometry import Array
from vision.measure.drawing import START_BLUR_PX, draw, moved
from vision.measure.patches import Patches, per_mark

PULL = 1e-3
"""Weight of one pixel that draws each level to the patch's own: levels that cover no pixel stay
finite."""
STATE_SIGMA = np.array([1.0, 1.0, 0.05, 0.6, 0.012, 1.0, 6.0, 2.0])
"""Weak knowledge of a state, in its own units. A mark small in the picture cannot tell turn, blur
and tape itself; a large one is not held by this. The centre's metre keeps an even patch finite."""
LEAST_NOISE = 0.5
FIRST_DAMPING, MOST_DAMPING = 1e-3, 10.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fits:
    """Drawings of m marks at their states (m, p), and the normal equations there.

    `levels` (m, k), `cost` (m,), `normal` (m, p + k, p + k), `right` (m, p + k) without the priors;
    `weight` (m,) is the sum of the pixels' weights, `residual` (n,) and `basis` (n, k) are the
    pixels'.
    """

    state: Array
    levels: Array
    cost: Array
    normal: Array
    right: Array
    weight: Array
    residual: Array
    basis: Array

    @property
    def noise2(self) -> Array:
        """Variance of a pixel, (m,), from the misfit."""
        freedom = np.maximum(self.weight - self.normal.shape[1], 5.0)
        return np.asarray(np.maximum(self.cost / freedom, LEAST_NOISE**2))


def evaluate(patches: Patches, state: Array, weights: Array) -> Fits:
    """Draw every mark and solve for its levels. `weights` (n,), of the pixels."""
    drawing = draw(patches, state)
    basis, spans = drawing.basis, patches.spans
    m, k, p = len(state), basis.shape[1], state.shape[1]
    weighted = basis * weights[:, None]
    system = np.stack([weighted[a].T @ basis[a] for a in spans])
    pulled = np.stack([weighted[a].T @ patches.levels[a] for a in spans])
    system[:, range(k), range(k)] += PULL
    pulled[:, [0, 1, 2, 5]] += PULL * patches.middle[:, None]
    levels: Array = np.linalg.solve(system, pulled[..., None])[..., 0].astype(np.float64)
    at_pixel = levels[patches.of]
    residual = patches.levels - np.einsum("nk,nk->n", basis, at_pixel)
    slopes = drawing.slopes(at_pixel)
    lever = slopes * weights[:, None]
    normal, right = np.empty((m, p + k, p + k)), np.empty((m, p + k))
    for i, a in enumerate(spans):
        normal[i, :p, :p] = lever[a].T @ slopes[a]
        normal[i, :p, p:] = lever[a].T @ basis[a]
        right[i, :p] = lever[a].T @ residual[a]
    normal[:, p:, :p] = np.swapaxes(normal[:, :p, p:], 1, 2)
    normal[:, p:, p:] = system
    # At the solved levels nothing pulls at them any more.
    right[:, p:] = 0.0
    return Fits(
        state=state,
        levels=levels,
        cost=per_mark(patches, weights * residual**2),
        normal=normal,
        right=right,
        weight=per_mark(patches, weights),
        residual=residual,
        basis=basis,
    )


def prior(state: Array, noise2: Array) -> tuple[Array, Array]:
    """Weak knowledge of a state (m, p), as (precision, pull), (m, p) each."""
    p = state.shape[1]
    precision = noise2[:, None] / STATE_SIGMA[:p] ** 2
    middle = np.zeros(p)
    middle[3] = START_BLUR_PX
    pull = precision * (middle - state)
    # Neither the centre nor the shadow's edge is expected anywhere.
    pull[:, [0, 1, *range(5, min(p, 7))]] = 0.0
    return precision, pull


def information(fits: Fits) -> Array:
    """The normal matrices with the priors, (m, p + k, p + k)."""
    p = fits.state.shape[1]
    normal = fits.normal.copy()
    normal[:, range(p), range(p)] += prior(fits.state, fits.noise2)[0]
    return normal


def _step(fits: Fits, damping: Array) -> Array:
    p = fits.state.shape[1]
    normal, right = information(fits), fits.right.copy()
    right[:, :p] += prior(fits.state, fits.noise2)[1]
    scale = np.sqrt(np.diagonal(normal, axis1=1, axis2=2)) + 1e-9
    system = normal / (scale[:, :, None] * scale[:, None, :])
    system += damping[:, None, None] * np.eye(normal.shape[1])
    return np.linalg.solve(system, (right / scale)[..., None])[:, :p, 0] / scale[:, :p]


def descend(patches: Patches, state: Array, weights: Array, most_steps: int, end_px: float) -> Fits:
    """Least squares of every mark from a state (m, p); a mark rests once its centre does."""
    state = state.copy()
    active, work, work_weights = np.arange(len(state)), patches, weights
    fits = evaluate(work, state, weights)
    damping = np.full(len(state), FIRST_DAMPING)
    for _ in range(most_steps):
        step = _step(fits, damping)
        trial = evaluate(work, moved(fits.state, step), work_weights)
        better = (trial.cost <= fits.cost * (1 + 1e-9)) | (damping > MOST_DAMPING)
        centre = np.einsum("nij,nj->ni", work.d_pixel_d_mark, step[:, :2])
        rests = np.hypot(*centre.T) < end_px
        rests &= np.abs(step[:, 3]) < 10 * end_px
        fits = _merged(trial, fits, better)
        state[active] = fits.state
        damping = np.where(better, damping * 0.2, np.maximum(damping, FIRST_DAMPING) * 10)
        going = ~(better & rests)
        if not going.any():
            break
        if not going.all():
            rows = going[work.of]
            work, work_weights, active = work.take(going), work_weights[rows], active[going]
            fits, damping = _taken(fits, going, rows), damping[going]
    return evaluate(patches, state, weights)


def _merged(trial: Fits, fits: Fits, better: NDArray[np.bool_]) -> Fits:
    """Each mark's better fit; the pixels' arrays are the trial's, and not used on the way."""

    def of(name: str) -> Array:
        one, other = getattr(trial, name), getattr(fits, name)
        flags = better.reshape((-1,) + (1,) * (one.ndim - 1))
        return np.asarray(np.where(flags, one, other))

    return replace(trial, **{name: of(name) for name in _PER_MARK})


def _taken(fits: Fits, keep: NDArray[np.bool_], rows: NDArray[np.bool_]) -> Fits:
    per_mark = {name: getattr(fits, name)[keep] for name in _PER_MARK}
    return replace(fits, residual=fits.residual[rows], basis=fits.basis[rows], **per_mark)


_PER_MARK = ("state", "levels", "cost", "normal", "right", "weight")

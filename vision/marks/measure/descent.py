"""Drawings fitted to many patches at once: damped Gauss-Newton, each mark at its own pace.

The levels are linear and are solved for at every state (variable projection: Golub and Pereyra,
SIAM J. Numer. Anal. 10(2), 1973); states and levels together make the normal equations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.marks.damping import damped_step
from vision.marks.measure.drawing import Drawing, draw, moved
from vision.marks.measure.patches import Patches, per_mark
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array

TUNED = SETTINGS.measure


STATE_SIGMA = np.array(TUNED.state_sigma)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fits:
    """Drawings of m marks at their states (m, p), and the normal equations there.

    `levels` (m, k), `cost` (m,), `normal` (m, p + k, p + k), `right` (m, p) without the priors;
    `count` (m,) pixels weigh something; `weights`, `residual` (n,), `slopes` (n, p) and `basis`
    (n, k) are the pixels'.
    """

    state: Array
    levels: Array
    cost: Array
    normal: Array
    right: Array
    count: Array
    weights: Array
    residual: Array
    slopes: Array
    basis: Array

    @property
    def noise2(self) -> Array:
        """Variance of a pixel, (m,), from the misfit."""
        freedom = np.maximum(self.count - self.normal.shape[1], 5.0)
        return np.asarray(np.maximum(self.cost / freedom, TUNED.least_noise**2))

    def take(self, keep: NDArray[np.bool_], rows: NDArray[np.bool_]) -> Fits:
        """The marks where `keep` (m,), whose pixels are where `rows` (n,)."""
        return Fits(
            **{name: getattr(self, name)[keep] for name in _PER_MARK},
            **{name: getattr(self, name)[rows] for name in _PER_PIXEL},
        )


_PER_MARK = ("state", "levels", "cost", "normal", "right", "count")
_PER_PIXEL = ("weights", "residual", "slopes", "basis")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levelled:
    """Drawn marks at their best levels (m, k).

    `residual` (n,) and `cost` (m,) are there; `system` (m, k, k) is the normal matrix of the levels
    alone, `rows` (k, n) the drawing's basis.
    """

    levels: Array
    residual: Array
    cost: Array
    system: Array
    rows: Array


def levelled(patches: Patches, drawing: Drawing, weights: Array) -> Levelled:
    """Solve for the levels of drawn marks. `weights` (n,), of the pixels."""
    k = drawing.basis.shape[1]
    rows = np.concatenate([drawing.basis.T, patches.levels[None]])
    products = _products(rows[:k] * weights, rows, patches.spans)
    system, pulled = products[:, :, :k], products[:, :, k]
    system[:, range(k), range(k)] += TUNED.pull
    pulled[:, [0, 1, 2, 5]] += TUNED.pull * patches.middle[:, None]
    levels = np.asarray(np.linalg.solve(system, pulled[..., None])[..., 0], dtype=np.float64)
    residual = patches.levels - (rows[:k] * patches.at_pixels(levels)).sum(axis=0)
    return Levelled(
        levels=levels,
        residual=np.asarray(residual),
        cost=per_mark(patches, weights * residual**2),
        system=system,
        rows=rows[:k],
    )


def evaluate(
    patches: Patches,
    state: Array,
    drawing: Drawing,
    weights: Array,
    known: Levelled | None = None,
) -> Fits:
    """The drawn marks at their best levels, and the normal equations of states and levels.

    `known` is what `levelled` gives, where that is at hand.
    """
    at = known or levelled(patches, drawing, weights)
    k, p = len(at.rows), state.shape[1]
    slopes = drawing.slopes(patches.at_pixels(at.levels).T)
    rows = np.concatenate([slopes.T, at.rows, at.residual[None]])
    products = _products(rows[:p] * weights, rows, patches.spans)
    normal = np.empty((len(state), p + k, p + k))
    normal[:, :p] = products[:, :, :-1]
    normal[:, p:, :p] = np.swapaxes(normal[:, :p, p:], 1, 2)
    normal[:, p:, p:] = at.system
    return Fits(
        state=state,
        levels=at.levels,
        cost=at.cost,
        normal=normal,
        right=products[:, :, -1],
        count=per_mark(patches, np.sign(weights) * told(patches.levels)),
        weights=weights,
        residual=at.residual,
        slopes=slopes,
        basis=drawing.basis,
    )


def _products(a: Array, b: Array, spans: list[slice]) -> Array:
    """Sums (m, i, j) over each mark's pixels of products of rows (i, n) and (j, n)."""
    return np.stack([a[:, span] @ b[:, span].T for span in spans]).astype(np.float64)


def told(levels: Array) -> NDArray[np.bool_]:
    """Which levels (n,) tell of noise at all."""
    return np.asarray((levels > TUNED.darkest_told) & (levels < TUNED.lightest_told))


def prior(state: Array, noise2: Array) -> tuple[Array, Array]:
    """Weak knowledge of a state (m, p), as (precision, pull), (m, p) each."""
    p = state.shape[1]
    precision = noise2[:, None] / STATE_SIGMA[:p] ** 2
    middle = np.zeros(p)
    middle[3] = TUNED.focus_blur_px
    pull = precision * (middle - state)
    # Neither the centre nor the shadow's edge is expected anywhere.
    pull[:, [0, 1, *range(5, min(p, 7))]] = 0.0
    return precision, pull


def information(fits: Fits, noise2: Array) -> Array:
    """The normal matrices with the priors, (m, p + k, p + k), at a variance of a pixel (m,)."""
    p = fits.state.shape[1]
    normal = fits.normal.copy()
    normal[:, range(p), range(p)] += prior(fits.state, noise2)[0]
    return normal


def _step(fits: Fits, damping: Array) -> tuple[Array, Array]:
    """What the states and the levels change by, (m, p + k), and what that promises, (m,)."""
    p = fits.state.shape[1]
    normal = information(fits, fits.noise2)
    # At the solved levels nothing pulls at them any more.
    right = np.zeros(normal.shape[:2])
    right[:, :p] = fits.right + prior(fits.state, fits.noise2)[1]
    step = damped_step(normal, right, damping)
    return step, np.einsum("mi,mi->m", step, right)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Noise:
    """Robust standard deviation of the residuals round each pixel, `spread` (n,), in levels.

    `share` (n,) is what a pixel weighs by it, 1 on the quieter of a mark's tape and ground.
    """

    spread: Array
    share: Array

    def weights(self, residual: Array, rows: slice | NDArray[np.intp] = slice(None)) -> Array:
        """Weights for the residuals of the pixels `rows`: Tukey's biweight times the share."""
        t = residual / (TUNED.robust_reach * self.spread[rows])
        return np.where(np.abs(t) < 1, (1 - t**2) ** 2, 0.0) * self.share[rows]


def noise_of(patches: Patches, residual: Array, basis: Array) -> Noise:
    """The noise of tape and ground of each mark: asphalt is rougher than tape."""
    size, known = np.abs(residual), told(patches.levels)
    on_ground = basis[:, 0] + basis[:, 1] > 0.5
    spread, share = np.empty_like(size), np.empty_like(size)
    for a in patches.spans:
        ground, tells = on_ground[a], known[a]
        parts = [ground, ~ground]
        if min((part & tells).sum() for part in parts) < TUNED.least_of_a_kind:
            parts = [np.ones_like(ground)]
        for part in parts:
            sizes = size[a][part & tells] if (part & tells).any() else size[a][part]
            middle = len(sizes) // 2
            spread[a][part] = max(1.4826 * np.partition(sizes, middle)[middle], TUNED.least_noise)
        share[a] = (spread[a].min() / spread[a]) ** 2
    return Noise(spread=spread, share=share)


def descend(
    patches: Patches,
    state: Array,
    most_steps: int,
    end_px: float,
    robust: bool = False,
) -> Fits:
    """Least squares of every mark from a state (m, p); a mark rests once its centre does.

    If `robust`, what the residuals at the start show of the noise sets the pixels' weights, anew
    after every step; otherwise all weigh alike. The last step is taken without being drawn: it is
    so small that all else is as it was.
    """
    drawing, weights = draw(patches, state), np.ones_like(patches.levels)
    noise = None
    if robust:
        residual = levelled(patches, drawing, weights).residual
        noise = noise_of(patches, residual, drawing.basis)
        weights = noise.weights(residual)
    fits = evaluate(patches, state, drawing, weights)
    done = {name: np.array(getattr(fits, name)) for name in (*_PER_MARK, *_PER_PIXEL)}
    work, active, rows = patches, np.arange(len(state)), np.arange(len(patches.levels))
    damping = np.full(len(state), TUNED.first_damping)
    for _ in range(most_steps):
        step, promised = _step(fits, damping)
        there = moved(fits.state, step[:, : state.shape[1]])
        last = _rests(work, step, end_px) & (promised < TUNED.least_promise * fits.cost)
        ended = active[last]
        done["state"][ended] = there[last]
        done["levels"][ended] += step[last, state.shape[1] :]
        if last.all():
            break
        if last.any():
            going = ~last
            kept = going[work.of]
            work, active, rows = work.take(going), active[going], rows[kept]
            damping, there, fits = damping[going], there[going], fits.take(going, kept)
        drawing = draw(work, there)
        at = levelled(work, drawing, fits.weights)
        better = np.asarray(at.cost <= fits.cost * (1 + 1e-9)) | (damping > TUNED.most_damping)
        if noise is None:
            trial = evaluate(work, there, drawing, fits.weights, at)
        else:
            trial = evaluate(work, there, drawing, noise.weights(at.residual, rows))
        fits = _merged(work, trial, fits, better)
        damping = np.where(better, damping * 0.2, np.maximum(damping, TUNED.first_damping) * 10)
        for name in _PER_MARK:
            done[name][active] = getattr(fits, name)
        for name in _PER_PIXEL:
            done[name][rows] = getattr(fits, name)
    return Fits(**done)


def _rests(patches: Patches, step: Array, end_px: float) -> NDArray[np.bool_]:
    centre = np.einsum("nij,nj->ni", patches.d_pixel_d_mark, step[:, :2])
    return np.asarray((np.hypot(*centre.T) < end_px) & (np.abs(step[:, 3]) < 10 * end_px))


def _merged(patches: Patches, trial: Fits, fits: Fits, better: NDArray[np.bool_]) -> Fits:
    """The trial where it is better, and else what there was."""
    if better.all():
        return trial
    pixels = better[patches.of]

    def chosen(name: str, flags: NDArray[np.bool_]) -> Array:
        one = getattr(trial, name)
        flags = flags.reshape((-1,) + (1,) * (one.ndim - 1))
        return np.asarray(np.where(flags, one, getattr(fits, name)))

    return Fits(
        **{name: chosen(name, better) for name in _PER_MARK},
        **{name: chosen(name, pixels) for name in _PER_PIXEL},
    )

"""The centre of one mark, measured by drawing the mark into the picture and fitting it.

The known mark with its piece of tape is drawn through pose and lens onto the picture's own pixels,
with a blur in picture pixels, and centre, turn, blur, levels, the tape's own offset and, where
there is one, the edge of a shadow are fitted (Gauss-Newton, analytic derivatives). Nothing is
resampled, so that the noise of neighbouring pixels stays as independent as the picture has it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.geometry import Array, frozen_array
from vision.measure.drawing import START_BLUR_PX, DrawingState, draw, shade
from vision.measure.patches import Patch

ROUGH = (6, 5e-3)
FINE = (4, 1e-3)
"""Most Gauss-Newton steps of a round, and the move of the centre in px at which it ends. Only the
last round's end counts, and it starts within thousandths of a pixel of it."""
FLOOR_SIGMA_PX = 0.01
"""What calibration of a sensor's pixel grid leaves: no centre is claimed better than this."""
SHADOW_SIGMA_PX = 0.05
"""The same where a shadow's edge crosses: its penumbra is not drawn, and pulls at the centre."""
SHADOW_GAIN = 0.6
"""A shadow edge is added only where it takes this share of the misfit away."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A mark's measured centre in the picture turned back, with covariance.

    `blur_px` fitted blur (sigma); `contrast` (tape minus ink) over the residual noise;
    `explained` share of the patch's variance that the drawn mark explains (0 to 1).
    """

    id: str
    pixel_px: Array
    covariance_px2: Array
    blur_px: float
    contrast: float
    explained: float
    noise: float
    turn_rad: float = 0.0
    shadow: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "pixel_px", frozen_array(self.pixel_px, (2,), "pixel_px"))
        object.__setattr__(
            self, "covariance_px2", frozen_array(self.covariance_px2, (2, 2), "covariance_px2")
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    state: DrawingState
    levels: Array
    residual: Array
    weights: Array
    jacobian: Array
    cost: float


def _evaluate(patch: Patch, state: DrawingState, weights: Array) -> _Fit:
    basis, slopes = draw(patch, state)
    if state.shadow is not None:
        basis, slopes = shade(patch, state, basis, slopes)
    # A little pull of each level towards the patch's mean keeps levels that cover no pixel finite.
    pull = 1e-3
    middle = float(np.median(patch.levels))
    target = np.zeros(basis.shape[1])
    target[[0, 1, 2, 5]] = middle
    normal = basis.T @ (basis * weights[:, None]) + pull * np.eye(basis.shape[1])
    levels = np.linalg.solve(normal, basis.T @ (weights * patch.levels) + pull * target)
    residual = patch.levels - basis @ levels
    jacobian = np.concatenate([slopes.transpose(0, 2, 1) @ levels, basis], axis=1)
    cost = float(weights @ residual**2)
    return _Fit(
        state=state,
        levels=np.asarray(levels, dtype=np.float64),
        residual=residual,
        weights=weights,
        jacobian=jacobian,
        cost=cost,
    )


def _prior(patch: Patch, state: DrawingState, noise2: float) -> tuple[Array, Array]:
    """Weak knowledge of turn, blur and tape offset, as (precision, pull), (p,) each.

    A mark small in the picture cannot tell them itself; a large one is not held by this.
    """
    sigma = [0.05, 0.6, 0.012]
    precision = np.zeros(5 if state.shadow is None else 7)
    pull = np.zeros_like(precision)
    precision[2:5] = noise2 / np.square(sigma)
    pull[2:5] = precision[2:5] * np.array([-state.turn, START_BLUR_PX - state.blur, -state.tape])
    if state.shadow is not None:
        precision[5:] = noise2 / np.square([1.0, 6.0])
    return precision, pull


def _gauss_newton(
    patch: Patch, start: DrawingState, weights: Array, effort: tuple[int, float]
) -> _Fit:
    fit = _evaluate(patch, start, weights)
    damping = 1e-3
    most_steps, end_px = effort
    for _ in range(most_steps):
        noise2 = max(fit.cost / max(weights.sum() - 10, 5), 0.25)
        p = fit.jacobian.shape[1] - len(fit.levels)
        weighted = fit.jacobian * weights[:, None]
        normal = fit.jacobian.T @ weighted
        right = weighted.T @ fit.residual
        precision, pull = _prior(patch, fit.state, noise2)
        normal[np.arange(p), np.arange(p)] += precision
        right[:p] += pull
        scale = np.sqrt(np.diag(normal)) + 1e-9
        system = normal / np.outer(scale, scale) + damping * np.eye(len(scale))
        step = (np.linalg.solve(system, right / scale) / scale)[:p]
        trial = _evaluate(patch, fit.state.moved(step, patch), weights)
        if trial.cost <= fit.cost * (1 + 1e-9) or damping > 10:
            moved = patch.d_pixel_d_mark @ step[:2]
            fit, damping = trial, damping * 0.2
            if np.hypot(*moved) < end_px and abs(step[3]) < 10 * end_px:
                break
        else:
            damping = max(damping, 1e-3) * 10
    return fit


def measure(patch: Patch) -> Measured | None:
    """Fit the drawn mark to its patch; None where the mark is not there.

    Robust weights in a second round set aside what is not tape, ink or ground: leaves, a crossing
    tape, a person's shoe. The covariance is that of the original pixels' noise, widened by how
    much neighbouring residuals are alike (effective number of an AR(1) field, each way).
    """
    ones = np.ones(len(patch.levels))
    fit = _gauss_newton(patch, DrawingState(), ones, ROUGH)
    shadow = _shadow_start(patch, fit)
    if shadow is not None:
        shaded = _gauss_newton(patch, shadow, ones, ROUGH)
        if shaded.cost < (1 - SHADOW_GAIN) * fit.cost:
            fit = shaded
    for _ in range(2):
        scale = max(1.4826 * float(np.median(np.abs(fit.residual))), 0.5)
        t = fit.residual / (4.0 * scale)
        weights = np.where(np.abs(t) < 1, (1 - t**2) ** 2, 0.0)
        fit = _gauss_newton(patch, fit.state, weights, FINE)
    return _answer(patch, fit)


def _shadow_start(patch: Patch, fit: _Fit) -> DrawingState | None:
    """Angle and offset of the step that the misfit is most like; None where noise explains it."""
    away = patch.pixels - patch.centre_px
    basis = fit.jacobian[:, -len(fit.levels) :]
    clear = basis[:, 2] > 0.5
    if clear.sum() < 30:
        return None
    # The tape's slopes would take most of a step near its middle: give them back before looking.
    whole = fit.residual + basis[:, 3:5] @ fit.levels[3:5]
    residual, place = whole[clear] - whole[clear].mean(), away[clear]
    best, start = 0.15 * float(residual @ residual), None
    for angle in np.arange(0, np.pi, np.pi / 8):
        across = place @ np.array([np.cos(angle), np.sin(angle)])
        for offset in np.percentile(across, [12, 25, 38, 50, 62, 75, 88]):
            side = across > offset
            count = side.sum()
            if count < 8 or len(side) - count < 8:
                continue
            gain = residual[side].sum() ** 2 * (1 / count + 1 / (len(side) - count))
            if gain > best:
                best, start = gain, (float(angle), float(offset))
    if start is None:
        return None
    state = fit.state
    return DrawingState(s=0.0, q=0.0, turn=0.0, blur=min(state.blur, 1.5), tape=0.0, shadow=start)


def _answer(patch: Patch, fit: _Fit) -> Measured | None:
    count = float(fit.weights.sum())
    parameters = fit.jacobian.shape[1]
    if count < parameters + 8:
        return None
    noise2 = max(fit.cost / (count - parameters), 0.08)
    in_mark = _centre_covariance(patch, fit, noise2)
    if in_mark is None:
        return None
    in_mark = in_mark * _alikeness(patch, fit)
    A = patch.d_pixel_d_mark
    floor = FLOOR_SIGMA_PX if fit.state.shadow is None else SHADOW_SIGMA_PX
    covariance = A @ in_mark @ A.T + floor**2 * np.eye(2)
    if not np.isfinite(covariance).all():
        return None
    sign = 1.0 if patch.mark.ink == "dark" else -1.0
    contrast = sign * (fit.levels[2] - fit.levels[5]) / np.sqrt(noise2)
    spread = patch.levels - patch.levels.mean()
    explained = 1 - float(fit.residual @ fit.residual) / max(float(spread @ spread), 1e-9)
    return Measured(
        id=patch.mark.id,
        pixel_px=patch.centre_px + A @ np.array([fit.state.s, fit.state.q]),
        covariance_px2=0.5 * (covariance + covariance.T),
        blur_px=fit.state.blur,
        contrast=float(contrast),
        explained=explained,
        noise=float(np.sqrt(noise2)),
        turn_rad=fit.state.turn,
        shadow=fit.state.shadow is not None,
    )


def centre_covariance(patch: Patch, state: DrawingState, noise2: float) -> Array | None:
    """Covariance (2, 2) in m2 of a centre (s, q) in a patch as drawn, by independent noise alone.

    None where the patch does not hold the mark.
    """
    fit = _evaluate(patch, state, np.ones(len(patch.levels)))
    return _centre_covariance(patch, fit, noise2)


def _centre_covariance(patch: Patch, fit: _Fit, noise2: float) -> Array | None:
    parameters = fit.jacobian.shape[1]
    p = parameters - len(fit.levels)
    normal = fit.jacobian.T @ (fit.jacobian * fit.weights[:, None])
    normal[np.arange(p), np.arange(p)] += _prior(patch, fit.state, noise2)[0]
    normal += 1e-3 * np.diag([0.0] * p + [1.0] * (parameters - p))
    try:
        return np.asarray(np.linalg.inv(normal)[:2, :2] * noise2)
    except np.linalg.LinAlgError:
        return None


def _alikeness(patch: Patch, fit: _Fit) -> float:
    """By how much correlated residuals widen a variance, 1 or more."""
    low = patch.pixels.min(axis=0)
    size = patch.pixels.max(axis=0) - low + 1
    image, there = np.zeros(size[::-1]), np.zeros(size[::-1])
    u, v = (patch.pixels - low).T
    image[v, u] = fit.residual * np.sqrt(fit.weights)
    there[v, u] = 1.0
    widening = 1.0
    for axis in (0, 1):
        first, second = (slice(None, -1), slice(1, None))
        a = (first, slice(None)) if axis == 0 else (slice(None), first)
        b = (second, slice(None)) if axis == 0 else (slice(None), second)
        both = there[a] * there[b]
        pairs = both.sum()
        if pairs < 20:
            continue
        likeness = (image[a] * image[b] * both).sum() / pairs
        rho = float(np.clip(likeness / max(float((image**2).sum() / there.sum()), 1e-9), 0, 0.8))
        widening *= (1 + rho) / (1 - rho)
    return widening

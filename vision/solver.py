"""Weighted least squares on any state: damped Gauss-Newton with the covariance of the result."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from vision.geometry import Array

State = TypeVar("State")

FIRST_DAMPING = 1e-4
LEAST_DAMPING = 1e-15
MOST_DAMPING = 1e12
"""Damping is relative to the unit diagonal of the scaled normal matrix; past the most, no step."""

LEAST_GAIN = 1e-4
"""A step is taken when it gains more than this share of what the linear model promised."""

DONE = 1e-14
"""Stop when a full Gauss-Newton step would lower the sum of squares by less than this share: the
step is then some 1e-7 sqrt(m) standard errors long."""

BLIND = 1e-12
"""Changes of the sum of squares below this share drown in rounding; such a step is taken on the
word of the gradient, which is exact to far less."""

GOOD_ENOUGH = 1e-4
"""Where no better step is found, or no time is left, this share is still a fit: the state is then
within about a tenth of a standard error of the minimum."""

ROUNDING = 1e-24
"""Share of the first sum of squares below which a perfect fit is only rounding."""

SINGULAR = 1e-13
"""Smallest eigenvalue of the scaled normal matrix against the largest; some hundred roundings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoFit:
    """An ordinary outcome: there is no usable fit, and why (a code and a sentence)."""

    code: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution(Generic[State]):
    """The state that minimises the sum of squares of whitened residuals.

    `residuals` (m,) and `jacobian` (m, n) at `state`, whitened (unit variance a priori);
    `covariance` (n, n) of the step parameters, a priori; `chi2` the sum of squares.
    """

    state: State
    residuals: Array
    jacobian: Array
    covariance: Array
    chi2: float
    iterations: int


def solve(
    evaluate: Callable[[State], tuple[Array, Array]],
    retract: Callable[[State, Array], State],
    start: State,
    *,
    max_iterations: int = 50,
    tolerance: float = DONE,
) -> Solution[State] | NoFit:
    """Minimise |r(state)|^2, where evaluate(state) gives whitened r (m,) and dr/dstep (m, n).

    Levenberg-Marquardt with the columns scaled to unit length. `retract(state, step)` applies a
    step (n,); the Jacobian is by that step at zero. A trial whose residuals or derivatives are not
    finite is refused like one that makes the fit worse. `tolerance` is the share of the sum of
    squares that a full step may still promise at the end; see `DONE`. NoFit codes: 'not-finite'
    (at the start), 'singular' (the rows do not determine every unknown), 'not-converged'.
    """
    at = _evaluated(evaluate, start)
    if at is None:
        return NoFit(code="not-finite", text="the start has residuals that are not finite")
    floor = ROUNDING * at.chi2
    damping = FIRST_DAMPING
    iterations = 0
    while True:
        normal, gradient, scale = _scaled_normal(at.residuals, at.jacobian)
        decrease = float(gradient @ _damped_step(normal, gradient, LEAST_DAMPING))
        if decrease <= tolerance * at.chi2 + floor or iterations >= max_iterations:
            break
        iterations += 1
        better: _Evaluated[State] | None = None
        while better is None and damping <= MOST_DAMPING:
            step = _damped_step(normal, gradient, damping)
            promised = float(step @ (2 * gradient - normal @ step))
            trial = _evaluated(evaluate, retract(at.state, -step / scale))
            gained = -np.inf if trial is None else at.chi2 - trial.chi2
            if max(abs(gained), promised) < BLIND * at.chi2:
                gained = promised
            if gained > LEAST_GAIN * promised:
                better = trial
            damping = _next_damping(damping, gained, promised)
        if better is None:
            break
        at = better
    if decrease > max(GOOD_ENOUGH, tolerance) * at.chi2 + floor:
        text = f"the fit still moved after {iterations} steps"
        return NoFit(code="not-converged", text=text)
    covariance = normal_inverse(at.jacobian)
    if covariance is None:
        return NoFit(code="singular", text="the observations do not determine every unknown")
    return Solution(
        state=at.state,
        residuals=at.residuals,
        jacobian=at.jacobian,
        covariance=covariance,
        chi2=at.chi2,
        iterations=iterations,
    )


def normal_inverse(jacobian: Array) -> Array | None:
    """Inverse of J^T J for J (m, n), or None where it is singular to working precision.

    Columns are brought to unit length first, so that mixed units (metres, radians, pixels,
    polynomial coefficients) do not pass for dependence.
    """
    length = np.linalg.norm(jacobian, axis=0)
    if not (np.isfinite(length).all() and (length > 0).all()):
        return None
    scaled = jacobian / length
    values, vectors = np.linalg.eigh(scaled.T @ scaled)
    if values[0] <= SINGULAR * values[-1]:
        return None
    root = vectors / np.sqrt(values) / length[:, None]
    inverse: Array = root @ root.T
    return inverse


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Evaluated(Generic[State]):
    state: State
    residuals: Array
    jacobian: Array
    chi2: float


def _evaluated(
    evaluate: Callable[[State], tuple[Array, Array]], state: State
) -> _Evaluated[State] | None:
    """Evaluate a state; None where anything is not finite."""
    residuals, jacobian = evaluate(state)
    if not (np.isfinite(residuals).all() and np.isfinite(jacobian).all()):
        return None
    with np.errstate(over="ignore"):
        chi2 = float(residuals @ residuals)
    if not np.isfinite(chi2):
        return None
    return _Evaluated(state=state, residuals=residuals, jacobian=jacobian, chi2=chi2)


def _next_damping(damping: float, gained: float, promised: float) -> float:
    """Less damping after a step that kept its promise, more after one that did not."""
    if gained > 0.75 * promised:
        return max(damping * 0.02, LEAST_DAMPING)
    if gained > 0.25 * promised:
        return damping
    return damping * (4.0 if gained > LEAST_GAIN * promised else 10.0)


def _scaled_normal(residuals: Array, jacobian: Array) -> tuple[Array, Array, Array]:
    """J^T J and J^T r with the columns of J at unit length, and those lengths (1 for a zero)."""
    scale = np.linalg.norm(jacobian, axis=0)
    scale = np.where(scale > 0, scale, 1.0)
    scaled = jacobian / scale
    return scaled.T @ scaled, scaled.T @ residuals, scale


def _damped_step(normal: Array, gradient: Array, damping: float) -> Array:
    """Solve (N + damping I) step = gradient; a matrix singular even so is damped by rounding."""
    identity = np.eye(len(gradient))
    step: Array
    try:
        step = np.linalg.solve(normal + damping * identity, gradient).astype(np.float64)
    except np.linalg.LinAlgError:
        damping = max(damping, 1e-10)
        step = np.linalg.solve(normal + damping * identity, gradient).astype(np.float64)
    return step

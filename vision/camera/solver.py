"""Weighted least squares on any state: damped Gauss-Newton with the covariance of the result."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np

from vision.units.arrays import Array
from vision.units.reason import Reason

State = TypeVar("State")

FIRST_DAMPING = 1e-4
LEAST_DAMPING = 1e-15
MOST_DAMPING = 1e12
"""Damping is relative to the unit diagonal of the scaled normal matrix; past the most, no step."""

LEAST_RAISED = 1e-9
"""Less than this is no damping: a step that fails goes on from here."""

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

NOTHING_LEFT = 1e-16
"""Where no better step is found and less than this is left to gain, it is a fit whatever the sum of
squares: a perfect fit's is rounding, and whitened rows are then 1e-8 standard errors away."""

SINGULAR = 1e-13
"""Smallest eigenvalue of the scaled normal matrix against the largest; some hundred roundings."""


SINGULAR_DAMPING = 1e-10
"""What a singular matrix is damped with: far above rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoFit:
    """An ordinary outcome: there is no usable fit, and why."""

    reason: Reason

    @property
    def code(self) -> str:
        """The code of the reason."""
        return self.reason.code


class Linear(Protocol):
    """The sum of squares near one state, as a linear model knows it."""

    @property
    def chi2(self) -> float:
        """The sum of squares at the state."""

    def step(self, damping: float) -> tuple[Array, float]:
        """The step to take, and the decrease of the sum of squares that it promises.

        `damping` is relative to the unit diagonal of the scaled normal matrix.
        """


LinearT = TypeVar("LinearT", bound=Linear)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settled(Generic[State, LinearT]):
    """Where the steps ended, and the linear model there."""

    state: State
    linear: LinearT
    iterations: int


def settle(
    linearise: Callable[[State], LinearT | None],
    retract: Callable[[State, Array], State],
    start: State,
    *,
    max_iterations: int = 50,
    tolerance: float = DONE,
    damping: float = FIRST_DAMPING,
) -> Settled[State, LinearT] | NoFit:
    """Levenberg-Marquardt on whatever can linearise itself, with unit diagonal damping.

    A trial whose linear model is None (residuals or derivatives that are not finite) is refused
    like one that makes the fit worse. `tolerance` is the share of the sum of squares that a full
    step may still promise at the end; see `DONE`. NoFit codes: 'not-finite' (at the start),
    'not-converged'. `damping` is that of the first step; a start near the minimum needs none.
    """
    state, at = start, linearise(start)
    if at is None:
        return NoFit(reason=Reason("not-finite"))
    floor = ROUNDING * at.chi2
    iterations = 0
    while True:
        full = at.step(LEAST_DAMPING)
        decrease = full[1]
        if decrease <= tolerance * at.chi2 + floor or iterations >= max_iterations:
            break
        iterations += 1
        better: tuple[State, LinearT] | None = None
        while better is None and damping <= MOST_DAMPING:
            step, promised = at.step(damping) if damping > LEAST_DAMPING else full
            trial_state = retract(state, step)
            trial = linearise(trial_state)
            gained = -np.inf if trial is None else at.chi2 - trial.chi2
            if max(abs(gained), promised) < BLIND * at.chi2:
                gained = promised
            if trial is not None and gained > LEAST_GAIN * promised:
                better = trial_state, trial
            damping = _next_damping(damping, gained, promised)
        if better is None:
            break
        state, at = better
    if decrease > max(GOOD_ENOUGH, tolerance) * at.chi2 + max(floor, NOTHING_LEFT):
        return NoFit(reason=Reason("not-converged", steps=iterations))
    return Settled(state=state, linear=at, iterations=iterations)


def _next_damping(damping: float, gained: float, promised: float) -> float:
    """Less damping after a step that kept its promise, more after one that did not.

    The quarters are those of Fletcher, "A modified Marquardt subroutine for non-linear least
    squares", AERE-R 6799, 1971.
    """
    if gained > 0.75 * promised:
        return max(damping * 0.02, LEAST_DAMPING)
    if gained > 0.25 * promised:
        return damping
    return max(damping, LEAST_RAISED) * (4.0 if gained > LEAST_GAIN * promised else 10.0)


def damped_step(normal: Array, gradient: Array, damping: float) -> Array:
    """Solve (N + damping I) step = gradient; a matrix singular even so is damped by rounding.

    N (n, n) has a unit diagonal and no negative eigenvalue but by rounding; one without
    Cholesky roots is singular.
    """
    damped = normal.copy()
    diagonal = np.arange(len(gradient))
    damped[diagonal, diagonal] += damping
    try:
        np.linalg.cholesky(damped)
    except np.linalg.LinAlgError:
        damped[diagonal, diagonal] += SINGULAR_DAMPING
    return np.asarray(np.linalg.solve(damped, gradient))

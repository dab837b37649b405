"""Least squares of any rows, by the normal equations that every network of the project uses.

The covariance by eigenvalues stands beside them as an independent judge.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from vision.adjustment.elimination import Reduced, Rows, incidence, reduce
from vision.camera.solver import DONE, SINGULAR, NoFit, settle
from vision.units.arrays import Array
from vision.units.reason import Reason

State = TypeVar("State")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution(Generic[State]):
    """The state that minimises the sum of squares of whitened residuals.

    `covariance` (n, n) of the step parameters, a priori; `chi2` the sum of squares.
    """

    state: State
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
    """Minimise |r(state)|^2, where evaluate(state) gives whitened r (m,) and dr/dstep (m, n)."""
    found = settle(
        lambda state: dense(*evaluate(state)),
        retract,
        start,
        max_iterations=max_iterations,
        tolerance=tolerance,
    )
    if isinstance(found, NoFit):
        return found
    covariance = found.linear.covariance()
    if covariance is None:
        return NoFit(reason=Reason("singular"))
    return Solution(
        state=found.state,
        covariance=covariance.kept,
        chi2=found.linear.chi2,
        iterations=found.iterations,
    )


def dense(residuals: Array, jacobian: Array) -> Reduced | None:
    """The linear model of rows that are of no picture."""
    size, none = jacobian.shape[1], np.zeros(0, dtype=np.intp)
    return reduce(
        Rows(
            views=(),
            touched=(),
            blocks=none,
            by_block=incidence(none, 0),
            r=np.zeros((0, 2)),
            by_camera=np.zeros((0, 2, 0)),
            by_world=np.zeros((0, 2, 0)),
            by_own=np.zeros((0, 2, 0)),
            others=residuals,
            by_kept_others=jacobian,
            prior=np.zeros(size),
            weight=np.zeros(size),
            prior_own=np.zeros((0, 0)),
            weight_own=np.zeros((0, 0)),
        )
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

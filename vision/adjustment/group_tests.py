"""Tests of whole groups: a strip, a mounting, a single mark or a reading against what was stated.

With r the whitened distances of a group from where it was stated to lie, A their derivative and C
the covariance of the unknowns, the covariance of r is Q = 1 - A C A^T while the group is held, and
the redundancy matrix (1 + A C A^T)^-1 that it would have once it is held again while it is free.
A bias b, in stated sigmas, then shifts the statistic by b^T Q b (Baarda, "A testing procedure for
use in geodetic networks", 1968): the least bias that is found in 80 of 100 jobs follows from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import optimize, special, stats

from vision.adjustment.network import Network
from vision.adjustment.screening import LEAST_REDUNDANCY, Solved, variance_factor
from vision.adjustment.values import GroupTest
from vision.geometry import Array

FAMILY_ALPHA = 0.0025
"""Chance that any group of a faultless job is set free. A fault too small to be found leaves the
same chance of naming something else, and a second name beside a right one is as often false: a
wrong name is worse than several faults that are too small to matter and stay unnamed."""

POWER = 0.8
"""Share of jobs in which a bias of the detectable size is found."""


def group_alpha(count: int) -> float:
    """Level of one test of `count` so that the family keeps its level (Sidak)."""
    return float(1 - (1 - FAMILY_ALPHA) ** (1 / max(count, 1)))


@lru_cache(maxsize=64)
def noncentrality(degrees: int, alpha: float) -> float:
    """Shift of a chi-square (`degrees`) that a test of level `alpha` finds with POWER."""
    limit = float(stats.chi2.isf(alpha, degrees))

    def missing(shift: float) -> float:
        return float(stats.ncx2.sf(limit, degrees, shift)) - POWER

    return float(optimize.brentq(missing, 1e-6, 200.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Suspicion:
    """What one solution says against a group; the fields are those of `GroupTest`.

    `q` (k, k) is the redundancy matrix of the group's rows, whitened by `sigma`.
    """

    statistic: float
    degrees_of_freedom: int
    p_value: float
    support: float
    sigma: float
    q: Array


def suspicions(
    network: Network, solution: Solved, groups: tuple[str, ...], *, freed: tuple[str, ...] = ()
) -> dict[str, Suspicion]:
    """What speaks against each of `groups`; those in `freed` are free in this solution."""
    if not groups:
        return {}
    offs, jacobians, sigmas = [], [], []
    for group in groups:
        sigma = network.group_sigma(group)
        off, jacobian = network.group_rows(solution.state, group)
        offs.append(off / sigma)
        jacobians.append(jacobian / sigma)
        sigmas.append(sigma)
    every = np.concatenate(jacobians)
    half = every @ solution.covariance.kept
    out, first = {}, 0
    for group, r, sigma in zip(groups, offs, sigmas, strict=True):
        rows = slice(first, first + len(r))
        first = rows.stop
        out[group] = _suspicion(solution, r, half[rows] @ every[rows].T, sigma, group in freed)
    return out


def _suspicion(solution: Solved, r: Array, spread: Array, sigma: float, free: bool) -> Suspicion:
    """One group's, from its whitened distance (k,) and what the solution leaves of it open."""
    values, vectors = np.linalg.eigh(np.eye(len(r)) + (spread if free else -spread))
    redundant = 1 / values if free else values
    judged = redundant > LEAST_REDUNDANCY
    parts = np.square(vectors.T @ r)[judged] / values[judged]
    k, statistic = int(judged.sum()), float(parts.sum())
    factor = variance_factor(solution, 0.0 if free else statistic, 0 if free else k)
    return Suspicion(
        statistic=statistic,
        degrees_of_freedom=k,
        p_value=float(special.chdtrc(k, statistic / factor)) if k else 1.0,
        support=_support(parts / factor, redundant[judged]),
        sigma=sigma,
        q=(vectors * redundant) @ vectors.T,
    )


def group_tests(
    network: Network, solution: Solved, groups: tuple[str, ...], *, freed: tuple[str, ...] = ()
) -> dict[str, GroupTest]:
    """Test each of `groups`, with what its test can detect at all; see `suspicions`."""
    alpha = group_alpha(len(network.groups()))
    out = {}
    for group, found in suspicions(network, solution, groups, freed=freed).items():
        q, sigma, k = found.q, found.sigma, found.degrees_of_freedom
        out[group] = GroupTest(
            group=group,
            statistic=found.statistic,
            degrees_of_freedom=k,
            p_value=found.p_value,
            support=found.support,
            redundancy=float(np.trace(q) / len(q)),
            sharpness=_sharpness(q, _alike(group, len(q)), sigma, k, alpha),
            detectable_turn_rad=_detectable_turn(network, group, q, sigma, k, alpha),
        )
    return out


def _support(parts: Array, redundancy: Array) -> float:
    """Twice the logarithm of how much likelier a fault of the group makes the data.

    `parts` (k,) of the statistic and `redundancy` (k,) by direction. A fault is drawn from f times
    the stated variances; a direction's part then has 1 + q f times the variance it had, and f is
    taken where it is likeliest. Many directions or a wide fault must pay for what they could have
    explained as well (Kass and Raftery, "Bayes factors", JASA 90, 1995).
    """
    if not len(parts):
        return 0.0
    f = max(float(parts.mean()) - 1.0, 0.0) / float(redundancy.mean())
    wider = 1 + redundancy * f
    return float(np.sum(parts * (1 - 1 / wider) - np.log(wider)))


def _alike(group: str, count: int) -> Array:
    """Biases of the group as a whole, (k, j): both ends of a strip go together."""
    return np.vstack([np.eye(2), np.eye(2)]) if group.startswith("strip ") else np.eye(count)


def _sharpness(q: Array, biases: Array, sigma: float, k: int, alpha: float) -> Array:
    """Inverse squares (j, j) of the least biases found, along what `biases` (k, j) span."""
    if k == 0:
        return np.zeros((biases.shape[1],) * 2)
    values, vectors = np.linalg.eigh(biases.T @ q @ biases)
    seen = np.where(values > LEAST_REDUNDANCY, values, 0.0)
    return np.asarray((vectors * seen) @ vectors.T / (sigma**2 * noncentrality(k, alpha)))


def _detectable_turn(
    network: Network, group: str, q: Array, sigma: float, k: int, alpha: float
) -> float | None:
    """Least turn of a strip about its middle that is found, rad; None for other groups."""
    kind, _, name = group.partition(" ")
    if kind != "strip":
        return None
    strip = network.world.job.strip(name)
    across = 0.5 * strip.length_m * np.array([-strip.along[1], strip.along[0]])
    turning = np.concatenate([-across, across])[:, None]
    squared = float(_sharpness(q, turning, sigma, k, alpha)[0, 0])
    return float(1 / np.sqrt(squared)) if squared > 0 else float("inf")

"""What changed: everything is held as it was until a test says that it cannot have stayed so.

Each camera's turn, its shift, and each strip that was said to lie where it lay is a group. With all
groups held, each is tested as if it alone were free: with d its estimate and C that estimate's
covariance in the network in which it is free, and g what it gives by itself, d (C + g^2)^-1 d is a
chi-square when nothing changed. The most significant is set free, and so on; what proves needless
once others are free is held again. The level is that of the whole job (Sidak). How surely a change
is seen follows from the noncentral chi-square of the same form, hence the least one that would be.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.spatial.transform import Rotation

from vision.adjustment.groups import Group
from vision.camera.geometry import rotation_angle
from vision.camera.solver import NoFit, Solution
from vision.camera.statistics import chi_square_tail, family_level
from vision.comparison.change import Epoch
from vision.comparison.network import FREED_SIGMA, PairNetwork, PairState
from vision.units.arrays import Array

FAMILY_ALPHA = 0.02
"""Chance that anything at all is named in a job in which nothing changed."""

FURTHER_ALPHA = 0.005
"""The same for a further change once one is named: most of those would be its shadow."""

POWER = 0.95
"""Share of cases in which a change of the detectable size is seen."""

WILD_RAD = float(np.radians(1.0))
"""A camera that its own checks put this far apart starts free: held, it would lead others astray.
It is held again if it then passes."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tested:
    """One group in the network in which it is free: estimate (k,), covariance (k, k), p-value.

    The estimate is a turn's rotation vector, a shift, or the moves of a strip's ends; `spread` is
    its covariance when nothing changed, what it gives by itself included.
    """

    estimate: Array
    covariance: Array
    spread: Array
    p_value: float


@dataclass(slots=True, kw_only=True)
class Found:
    """Where the search stands: what is free, the solution, and the tests of all groups in it."""

    network: PairNetwork
    free: frozenset[Group]
    solution: Solution[PairState]
    tests: dict[Group, Tested] = field(default_factory=dict)

    @property
    def variance_factor(self) -> float:
        """Chi-square over degrees of freedom of the joint network."""
        rows, unknowns = self.solution.jacobian.shape
        return float(self.solution.chi2 / max(rows - unknowns, 1))


def group_alpha(count: int, freed: int) -> float:
    """Level of one test of `count`, so that the family keeps its own."""
    return family_level(FURTHER_ALPHA if freed else FAMILY_ALPHA, count)


def search(network: PairNetwork, epochs: tuple[Epoch, Epoch]) -> Found | NoFit:
    """Find what changed. NoFit where the network of both checks does not settle."""
    free, start = _wild(network, epochs)
    solution = network.solve(free, start)
    if isinstance(solution, NoFit):
        return solution
    found = Found(network=network, free=free, solution=solution)
    _hold_again(found)
    count, tried = len(network.groups()), {found.free}
    while len(found.free) < count:
        found.tests = _tests(found)
        held = {g: t.p_value for g, t in found.tests.items() if g not in found.free}
        worst = min(held, key=held.__getitem__)
        if held[worst] >= group_alpha(count, len(found.free)):
            return found
        following = network.solve(found.free | {worst}, found.solution.state)
        if isinstance(following, NoFit):
            return found
        found.free, found.solution = found.free | {worst}, following
        _hold_again(found, but=worst)
        # Two explanations that take turns would go on for ever: the later one stands.
        if found.free in tried:
            break
        tried.add(found.free)
    found.tests = _tests(found)
    return found


def _wild(network: PairNetwork, epochs: tuple[Epoch, Epoch]) -> tuple[frozenset[Group], PairState]:
    """Turns so large that both checks alone show them, and a state that has them."""
    state = network.start
    turns, free = list(state.turns), set[Group]()
    for index in network.both:
        name = network.names[index]
        before, after = (epoch.adjustment.camera(name).pose.R for epoch in epochs)
        if rotation_angle(after, before) > WILD_RAD:
            turns[index] = after @ before.T
            free.add(Group("turn", name))
    return frozenset(free), replace(state, turns=tuple(turns))


def _hold_again(found: Found, but: Group | None = None) -> None:
    """Hold what is free and need not be, the least significant first."""
    network = found.network
    while found.free - {but}:
        found.tests = _tests(found)
        count = len(network.groups())
        p = {group: found.tests[group].p_value for group in found.free - {but}}
        least = max(p, key=p.__getitem__)
        if p[least] < group_alpha(count, len(found.free) - 1):
            return
        free = found.free - {least}
        solution = network.solve(free, network.held(found.solution.state, free))
        if isinstance(solution, NoFit):
            return
        found.free, found.solution = free, solution


def _tests(found: Found) -> dict[Group, Tested]:
    """Every group, in the network in which it is free beside what is free already."""
    network, factor = found.network, max(1.0, found.variance_factor)
    sigma = network.prior_sigma(found.free)
    value = _values(network, found.solution.state)
    tests = {}
    for group, columns in network.groups().items():
        held = found.solution.covariance[np.ix_(columns, columns)]
        # Priors have their mean at zero, so to take one away is to take away its precision alone.
        information = np.linalg.inv(held)
        weight = 1 / np.square(sigma[columns]) - 1 / FREED_SIGMA**2
        covariance = np.linalg.inv(information - np.diag(weight))
        estimate = covariance @ information @ value[columns]
        spread = covariance + network.give(group) ** 2 * np.eye(len(columns))
        statistic = float(estimate @ np.linalg.solve(spread, estimate))
        tests[group] = Tested(
            estimate=estimate,
            covariance=covariance,
            spread=spread,
            p_value=chi_square_tail(statistic / factor, len(columns)),
        )
    return tests


def _values(network: PairNetwork, state: PairState) -> Array:
    """Shifts, turns and moves of strips as they stand in the state, by column (size,)."""
    value = np.zeros(network.size)
    for index in network.both:
        own = network.change_columns(index)
        turned = Rotation.from_matrix(state.turns[index]).as_rotvec()
        value[own] = np.concatenate([state.shifts[index], turned])
    value[network.ground_start :] = state.ground
    return value

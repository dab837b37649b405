"""What changed: everything is held as it was until a test says that it cannot have stayed so.

Each camera's turn, its shift, and each strip that was said to lie where it lay is a group. With all
groups held, each is tested as if it alone were free: with d its estimate and C that estimate's
covariance in the network in which it is free, and g what it gives by itself, d (C + g^2)^-1 d is a
chi-square when nothing changed. The most significant is set free, and so on; what proves needless
once others are free is held again. The level is that of the whole job (Sidak). How surely a change
is seen follows from the noncentral chi-square of the same form, hence the least one that would be.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vision.adjustment.groups import Group
from vision.adjustment.solving import Solved, run
from vision.adjustment.state import Seen, Weights, whiteners
from vision.camera.geometry import rotation_angle
from vision.camera.solver import NoFit
from vision.camera.statistics import chi_square_tail, family_level
from vision.comparison.change import Epoch
from vision.comparison.pair import Pair
from vision.comparison.settings import SETTINGS
from vision.units.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tested:
    """One group in the network in which it is free: estimate (k,), covariance (k, k), p-value.

    The estimate is a turn's rotation vector, a shift, or the moves of a strip's ends; `touched`
    (c, c) is the covariance of the columns that it depends on, and `spread` that of the estimate
    when nothing changed, what it gives by itself included.
    """

    estimate: Array
    covariance: Array
    touched: Array
    spread: Array
    p_value: float


@dataclass(slots=True, kw_only=True)
class Found:
    """Where the search stands: what is free, the solution, and the tests of all groups in it."""

    pair: Pair
    free: frozenset[Group]
    solution: Solved
    tests: dict[Group, Tested] = field(default_factory=dict)

    @property
    def variance_factor(self) -> float:
        """Chi-square over degrees of freedom of the joint network."""
        return self.solution.chi2 / max(self.solution.degrees_of_freedom, 1)

    def solve(self, free: frozenset[Group]) -> Solved | NoFit:
        """Solve with these groups free, from where it stands."""
        return _solve(self.pair, free, self.solution.seen)


def group_alpha(count: int, freed: int) -> float:
    """Level of one test of `count`, so that the family keeps its own."""
    return family_level(SETTINGS.further_alpha if freed else SETTINGS.family_alpha, count)


def search(pair: Pair, epochs: tuple[Epoch, Epoch]) -> Found | NoFit:
    """Find what changed. NoFit where the network of both checks does not settle."""
    free = _wild(pair, epochs)
    solution = _solve(pair, free, pair.network.seen(pair.network.start))
    if isinstance(solution, NoFit):
        return solution
    found = Found(pair=pair, free=free, solution=solution)
    _hold_again(found)
    count, tried = len(pair.ties), {found.free}
    while len(found.free) < count:
        found.tests = _tests(found)
        held = {g: t.p_value for g, t in found.tests.items() if g not in found.free}
        worst = min(held, key=held.__getitem__)
        if held[worst] >= group_alpha(count, len(found.free)):
            return found
        following = found.solve(found.free | {worst})
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


def _solve(pair: Pair, free: frozenset[Group], start: Seen) -> Solved | NoFit:
    """Solve with these groups free."""
    network = pair.network
    full = whiteners(network.points.covariance_px2)
    weights = network.freeing(Weights(whiteners=full, group_sigma={}), free)
    return run(network, weights, start, tolerance=SETTINGS.tolerance)


def _wild(pair: Pair, epochs: tuple[Epoch, Epoch]) -> frozenset[Group]:
    """Turns so large that both checks alone show them."""
    free = set()
    for name in pair.both:
        before, after = (epoch.adjustment.camera(name).pose.R for epoch in epochs)
        if rotation_angle(after, before) > SETTINGS.wild_rad:
            free.add(Group("turn", name))
    return frozenset(free)


def _hold_again(found: Found, but: Group | None = None) -> None:
    """Hold what is free and need not be, the least significant first."""
    while found.free - {but}:
        found.tests = _tests(found)
        p = {group: found.tests[group].p_value for group in found.free - {but}}
        least = max(p, key=p.__getitem__)
        if p[least] < group_alpha(len(found.pair.ties), len(found.free) - 1):
            return
        solution = found.solve(found.free - {least})
        if isinstance(solution, NoFit):
            return
        found.free, found.solution = found.free - {least}, solution


def _tests(found: Found) -> dict[Group, Tested]:
    """Every group, in the network in which it is free beside what is free already."""
    kept, factor = found.solution.covariance.kept, max(1.0, found.variance_factor)
    tests = {}
    for group, tie in found.pair.ties.items():
        value, by_touched = tie.rows(found.solution.state)
        touched = kept[np.ix_(tie.columns, tie.columns)]
        if group not in found.free:
            # Priors have their mean at zero: to take one away is to take away its precision alone.
            less = 1 / tie.sigma**2 - 1 / tie.freed_sigma**2
            gain = touched @ by_touched.T
            left = np.eye(len(value)) / less - by_touched @ gain
            touched = np.asarray(touched + gain @ np.linalg.solve(left, gain.T))
            value = np.asarray(np.linalg.solve(left, value) / less)
        covariance = by_touched @ touched @ by_touched.T
        spread = covariance + tie.sigma**2 * np.eye(len(value))
        statistic = float(value @ np.linalg.solve(spread, value)) / factor
        tests[group] = Tested(
            estimate=value,
            covariance=covariance,
            touched=touched,
            spread=spread,
            p_value=chi_square_tail(statistic, len(value)),
        )
    return tests

"""What changed: everything is held as it was until a test says that it cannot have stayed so.

Each camera's turn, its shift, its exchange for another with a lens of its own, and each strip that
was said to lie where it lay is a group. With all
groups held, each is tested as if it alone were free: with d its estimate and C that estimate's
covariance in the network in which it is free, and g what it gives by itself, d (C + g^2)^-1 d is a
chi-square when nothing changed. Of the significant ones that which a change of its usual size
explains best is set free, and so on; what proves needless
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
from vision.units.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tested:
    """One group in the network in which it is free: estimate (k,), covariance (k, k), p-value.

    The estimate is a turn's rotation vector, a shift, or the moves of a strip's ends; `touched`
    (c, c) is the covariance of the columns that it depends on, and `spread` that of the estimate
    when nothing changed, what it gives by itself included. `nats` is by how much a change of the
    usual size makes it likelier (`_nats`).
    """

    estimate: Array
    covariance: Array
    touched: Array
    spread: Array
    p_value: float
    nats: float


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
    start = pair.network.seen(pair.network.start)
    free = _wild(pair, epochs)
    solution = _solve(pair, free, start)
    if isinstance(solution, NoFit):
        # What is held against pictures that say otherwise may not settle at all: with every lens
        # free, then every turn as well, it does, and what need not be is held again.
        for kinds in (("exchange",), ("exchange", "turn", "shift")):
            free = frozenset(free | {group for group in pair.ties if group.kind in kinds})
            solution = _solve(pair, free, start)
            if not isinstance(solution, NoFit):
                break
    if isinstance(solution, NoFit):
        return NoFit(reason=Reason("checks-torn", why=solution.reason))
    found = Found(pair=pair, free=free, solution=solution)
    _hold_again(found)
    count, tried = len(pair.ties), {found.free}
    while len(found.free) < count:
        found.tests = _tests(found)
        held = {g: t.p_value for g, t in found.tests.items() if g not in found.free}
        alpha = group_alpha(count, len(found.free))
        able = [group for group, p in held.items() if p < alpha]
        if not able:
            return found
        worst = max(able, key=lambda group: found.tests[group].nats)
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
        usual = usual_size(group) ** 2 * np.eye(len(value))
        tests[group] = Tested(
            estimate=value,
            covariance=covariance,
            touched=touched,
            spread=spread,
            p_value=chi_square_tail(statistic, len(value)),
            nats=_nats(value, factor * spread, usual),
        )
    return tests


def usual_size(group: Group) -> float:
    """Sigma of a group that did change: rad of a turn, m of a shift or move, units of a lens."""
    if group.kind == "exchange":
        return 1.0
    if group.kind == "turn":
        return SETTINGS.knock_rad
    return SETTINGS.knock_m if group.kind == "shift" else SETTINGS.moved_m


def _nats(value: Array, spread: Array, usual: Array) -> float:
    """How much likelier a value (k,) is as a change of usual size than as none.

    Both are normal, with covariance `spread` where nothing changed and wider by `usual` where
    something did: the logarithm of the ratio, which makes eight numbers of a lens pay for what
    three of a turn explain as well (Kass and Raftery, "Bayes factors", JASA 90, 1995).
    """
    wide = spread + usual
    sizes = [float(value @ np.linalg.solve(each, value)) for each in (spread, wide)]
    logs = [float(np.linalg.slogdet(each)[1]) for each in (spread, wide)]
    return 0.5 * (sizes[0] - sizes[1] + logs[0] - logs[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """What was found, each named camera's turn weighed against another lens.

    `lens_nats` by camera: by how much another lens explains better than any turn and shift.
    """

    found: Found
    lens_nats: dict[str, float]

    @property
    def exchanged(self) -> tuple[str, ...]:
        """Cameras whose picture comes through another lens, surely."""
        return tuple(n for n, nats in self.lens_nats.items() if nats > SETTINGS.lens_nats)

    @property
    def torn(self) -> tuple[str, ...]:
        """Cameras of which nobody can say whether they turned or have another lens."""
        low, high = -SETTINGS.sure_nats, SETTINGS.lens_nats
        return tuple(n for n, nats in self.lens_nats.items() if low < nats <= high)


TURNS = (("turn",), ("shift",), ("turn", "shift"))
LENSES = (("exchange",), ("exchange", "turn", "shift"))
"""What may have happened to a camera: it was knocked, or exchanged and put up somehow."""


def weighed(found: Found) -> Weighed:
    """Every camera that is named, as knocked and as exchanged, and by what odds.

    One after the other: each explanation is solved anew, and the likelier stays.
    """
    nats: dict[str, float] = {}
    for name in found.pair.both:
        own = {Group(kind, name) for kind in ("turn", "shift", "exchange")}
        if not own & found.free:
            continue
        turns, lenses = (
            [each for kinds in ways if (each := _explained(found, own, kinds, name)) is not None]
            for ways in (TURNS, LENSES)
        )
        if not turns or not lenses:
            continue
        best = [max(each, key=lambda one: one[0]) for each in (turns, lenses)]
        nats[name] = best[1][0] - best[0][0]
        found = max(best, key=lambda one: one[0])[1]
    found.tests = _tests(found)
    return Weighed(found=found, lens_nats=nats)


def _explained(
    found: Found, own: set[Group], kinds: tuple[str, ...], name: str
) -> tuple[float, Found] | None:
    """The evidence, in nats, for what was found with these of a camera's groups free alone."""
    chosen = {group for group in own if group.kind in kinds}
    free = found.free - own | chosen
    solution = found.solve(free)
    if isinstance(solution, NoFit):
        return None
    instead = Found(pair=found.pair, free=free, solution=solution)
    factor = max(1.0, found.variance_factor)
    return -0.5 * solution.chi2 / factor - _paid(instead, chosen), instead


def _paid(found: Found, groups: set[Group]) -> float:
    """What free groups pay for their size and for the width of what they could explain, in nats.

    All together, since a lens and a turn take each other's place: with d all their values, S their
    covariance and U what they usually are, 1/2 d (S + U)^-1 d + 1/2 log det(1 + U S^-1).
    """
    kept, state = found.solution.covariance.kept, found.solution.state
    values, rows, usual, give = [], [], [], []
    for group in sorted(groups):
        tie = found.pair.ties[group]
        value, by_touched = tie.rows(state)
        row = np.zeros((len(value), len(kept)))
        row[:, tie.columns] = by_touched
        values.append(value)
        rows.append(row)
        usual += [usual_size(group) ** 2] * len(value)
        give += [tie.sigma**2] * len(value)
    by_all, value = np.vstack(rows), np.concatenate(values)
    spread = by_all @ kept @ by_all.T + np.diag(give)
    wide = spread + np.diag(usual)
    logs = [float(np.linalg.slogdet(each)[1]) for each in (wide, spread)]
    return 0.5 * (float(value @ np.linalg.solve(wide, value)) + logs[0] - logs[1])


def without_lenses(found: Found) -> Found | None:
    """The same with every lens free, None where that does not settle: what then still stands."""
    free = found.free | {group for group in found.pair.ties if group.kind == "exchange"}
    solution = found.solve(free)
    if isinstance(solution, NoFit):
        return None
    return Found(pair=found.pair, free=free, solution=solution)

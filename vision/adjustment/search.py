"""Solve the network: robust start, wrong picks out, faulty groups free, then what it all means."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from vision.adjustment.adjusted import (
    Adjustment,
    CameraObservations,
    Explanation,
    FurtherReading,
)
from vision.adjustment.building import build_network
from vision.adjustment.further import deciding_reading
from vision.adjustment.group_tests import Suspicion, group_alpha, group_tests, suspicions
from vision.adjustment.groups import Group
from vision.adjustment.network import Network
from vision.adjustment.prior_inflation import inflated_sigmas
from vision.adjustment.screening import point_statistics, robust_pass, screen_points
from vision.adjustment.settings import SETTINGS
from vision.adjustment.solution import adjustment_of
from vision.adjustment.solving import Solved, run, weights_of
from vision.adjustment.state import State, whiteners
from vision.camera.solver import NoFit
from vision.job.job import Job
from vision.job.layout import Layout
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason


@dataclass(slots=True, kw_only=True)
class _Search:
    """The state of the search for a network without gross faults.

    `freed` are all groups that are free; `explanations` say for what reason.
    """

    job: Job
    network: Network
    full: Array
    used: Flags
    freed: tuple[Group, ...]
    solution: Solved
    explanations: tuple[Explanation, ...] = ()
    _known: dict[tuple[frozenset[Group], bytes], Solved | NoFit] = field(default_factory=dict)

    def solve(self, freed: tuple[Group, ...], used: Flags) -> Solved | NoFit:
        """Solve with other groups free or other points used, from where it stands."""
        key = (frozenset(freed), used.tobytes())
        if key not in self._known:
            weights = self.network.freeing(weights_of(self.full, used), freed)
            self._known[key] = run(
                self.network, weights, self.solution.seen, tolerance=SETTINGS.solve_tolerance
            )
        return self._known[key]

    def screen(self) -> bool:
        """Leave wrong picks out, one at a time; True when anything changed."""
        any_change = False
        for _ in range(SETTINGS.screen_rounds):
            used = screen_points(self.network, self.solution, self.full, self.used)
            if used is None:
                break
            solution = self.solve(self.freed, used)
            if isinstance(solution, NoFit):
                break
            self.used, self.solution, any_change = used, solution, True
        return any_change

    def free_groups(self) -> bool:
        """Set the best explanation free until no group fails; True when any was set free."""
        groups = self.network.groups()
        before = self.freed
        while len(self.freed) < len(groups) // 2:
            held = tuple(g for g in groups if g not in self.freed)
            tests = suspicions(self.network, self.solution, held)
            if min(t.p_value for t in tests.values()) >= group_alpha(len(groups)):
                break
            log_bayes = self.log_bayes(self.solution, self.freed)
            best = max(log_bayes, key=log_bayes.__getitem__)
            if self._leave_pick_out(best, tests):
                continue
            solution = self.solve((*self.freed, best), self.used)
            if isinstance(solution, NoFit):
                break
            self.freed, self.solution = (*self.freed, best), solution
        return self.freed != before

    def _leave_pick_out(self, group: Group, tests: dict[Group, Suspicion]) -> bool:
        """Leave out the pick that explains more than its single mark being misplaced does.

        True where there was one. A mark that one camera alone shows looks misplaced when its pick
        is wrong: then the mark is named.
        """
        kind, name = group
        own = self.used & self.network.shows(MarkId(name))
        if kind != "mark" or own.sum() < SETTINGS.fewest_views:
            return False
        statistic = point_statistics(self.network, self.solution, self.full, self.used)
        worst = int(np.argmax(np.where(own, statistic, -1.0)))
        if statistic[worst] <= tests[group].statistic:
            return False
        used = self.used.copy()
        used[worst] = False
        solution = self.solve(self.freed, used)
        if isinstance(solution, NoFit):
            return False
        self.used, self.solution = used, solution
        return True

    def log_bayes(self, base: Solved, freed: tuple[Group, ...]) -> dict[Group, float]:
        """Log Bayes factor of every group that is held in `base`, which has `freed` free.

        By the first solution's covariance; those that could be the best are solved, and what the
        sum of squares really falls by stands in place of what it was promised to.
        """
        held = tuple(g for g in self.network.groups() if g not in freed)
        tests = suspicions(self.network, base, held)
        log_bayes = {group: test.log_bayes for group, test in tests.items()}
        best = max(log_bayes.values())
        rivals = [
            g for g in held if log_bayes[g] > best - SETTINGS.rival_log_bayes and log_bayes[g] > 0
        ]
        for group in sorted(rivals, key=log_bayes.__getitem__, reverse=True)[
            : SETTINGS.most_rivals
        ]:
            solution = self.solve((*freed, group), self.used)
            if isinstance(solution, NoFit):
                continue
            log_bayes[group] += 0.5 * ((base.chi2 - solution.chi2) - tests[group].statistic)
        return log_bayes

    def restore_groups(self) -> bool:
        """Hold freed groups again, the least suspect first, where they pass; True when any did."""
        count, before = len(self.network.groups()), self.freed
        while self.freed:
            best_p = -1.0
            best: tuple[tuple[Group, ...], Solved] | None = None
            for group in self.freed:
                others = tuple(g for g in self.freed if g != group)
                solution = self.solve(others, self.used)
                if isinstance(solution, NoFit):
                    continue
                test = suspicions(self.network, solution, (group,))[group]
                if test.p_value > max(best_p, group_alpha(count)):
                    best_p, best = test.p_value, (others, solution)
            if best is None:
                break
            self.freed, self.solution = best
        return self.freed != before

    def explain(self) -> None:
        """Say how sure each freed group is the cause; free also what ties with it.

        Which of those is wrong cannot be told; with all of them free none pulls the others off, and
        the sigmas say what is left.
        """
        found = list(self.freed)
        for group in found:
            others = tuple(g for g in found if g != group)
            base = self.solve(others, self.used)
            if isinstance(base, NoFit):
                continue
            log_bayes = self.log_bayes(base, others)
            order = sorted(log_bayes, key=log_bayes.__getitem__, reverse=True)
            tests = suspicions(self.network, base, tuple(order))
            # Where the evidence is thin all is near: what is not suspect itself explains nothing.
            near = [
                g
                for g in order
                if log_bayes[g] > log_bayes[group] - SETTINGS.tie_log_bayes
                and (g == group or tests[g].p_value < SETTINGS.suspect)
            ]
            rival = next((g for g in order if g not in near), None)
            self.explanations = (
                *self.explanations,
                Explanation(
                    groups=tuple(near),
                    log_bayes=tuple(log_bayes[g] for g in near),
                    rival=rival,
                    rival_log_bayes=0.0 if rival is None else log_bayes[rival],
                    decided_by=self._decided_by(others, near) if len(near) > 1 else None,
                ),
            )
        named = dict.fromkeys(g for each in self.explanations for g in each.groups)
        tied = tuple(g for g in named if g not in self.freed)
        if not tied:
            return
        solution = self.solve((*self.freed, *tied), self.used)
        if not isinstance(solution, NoFit):
            self.freed, self.solution = (*self.freed, *tied), solution

    def adjustment(self) -> Adjustment:
        """Everything that was found; places as they lie where no strip hardly believed pulls."""
        tests = group_tests(self.network, self.solution, freed=self.freed)
        weights = self.network.freeing(weights_of(self.full, self.used), self.freed)
        inflated = inflated_sigmas(self.network, tests, self.freed)
        placed = self.solution
        if inflated:
            lighter = replace(weights, group_sigma=weights.group_sigma | inflated)
            again = run(self.network, lighter, placed.seen, tolerance=SETTINGS.solve_tolerance)
            if not isinstance(again, NoFit):
                placed, weights = again, lighter
        return adjustment_of(
            self.job,
            self.network,
            self.solution,
            self.used,
            tests=tests,
            placed=placed,
            weights=weights,
            freed=self.freed,
            explanations=self.explanations,
        )

    def _decided_by(self, freed: tuple[Group, ...], tie: list[Group]) -> FurtherReading | None:
        """Which further reading would tell those that tie apart, `freed` being free anyhow."""
        each = [self.solve((*freed, group), self.used) for group in tie[: SETTINGS.most_compared]]
        solved = tuple(one for one in each if not isinstance(one, NoFit))
        if len(solved) < len(each):
            return None
        return deciding_reading(self.job, self.network, solved)


def adjust(
    job: Job, layout: Layout, observations: tuple[CameraObservations, ...]
) -> Adjustment | NoFit:
    """Solve the network of all cameras that were identified.

    Unknowns are every camera's pose and lens, every seen strip's ends and bow and every seen mark's
    own deviation; observations are mark centres, lens priors, mounting positions, strip ends, the
    marks' own sigmas and the readings. Intended aim weighs nothing. A camera with fewer than three
    usable points takes no part. Returns NoFit when no camera is left or the network does not
    settle.
    """
    enough = tuple(seen for seen in observations if usable(seen).sum() >= SETTINGS.fewest_points)
    if not enough:
        return NoFit(reason=Reason("no-camera", needed=SETTINGS.fewest_points))
    return _adjusted(job, layout, enough)


def adjust_readings(job: Job, layout: Layout) -> Adjustment | NoFit:
    """Solve the network of the job's readings alone, without a picture.

    Strips and marks that a reading names, and the mountings that lengths were measured to; what no
    reading names stays as stated. NoFit where no reading can be used: an angle needs its camera's
    picture.
    """
    network = build_network(job, layout, ())
    if not any(group.kind == "reading" for group in network.statements):
        return NoFit(reason=Reason("no-reading"))
    return _adjusted(job, layout, ())


def _adjusted(
    job: Job, layout: Layout, observations: tuple[CameraObservations, ...]
) -> Adjustment | NoFit:
    network = build_network(job, layout, observations)
    full = whiteners(network.points.covariance_px2)
    seen, used = robust_pass(network)
    freed = wild_readings(network, seen.state)
    weights = weights_of(full, used)
    solution = run(
        network, network.freeing(weights, freed), seen, tolerance=SETTINGS.solve_tolerance
    )
    if isinstance(solution, NoFit):
        return solution
    search = _Search(job=job, network=network, full=full, used=used, freed=freed, solution=solution)
    # Groups first: a strip laid wrong makes its own good marks look like wrong picks.
    search.free_groups()
    while search.screen() and search.free_groups():
        pass
    if search.restore_groups():
        search.free_groups()
        search.screen()
    search.explain()
    return search.adjustment()


def wild_readings(network: Network, state: State) -> tuple[Group, ...]:
    """Readings so far off that to start with them would only lead the solution astray."""
    return tuple(
        group
        for group, each in network.statements.items()
        if group.kind == "reading"
        and np.abs(each.rows(state)[0]).max() > SETTINGS.wild_sigmas * each.sigma
    )


def usable(seen: CameraObservations) -> Flags:
    """Which points the starting lens can show at all as planned, (n,) bool."""
    pose, lens = seen.start
    if not seen.points.ids:
        return np.zeros(0, dtype=bool)
    predicted = lens.project(pose.transform(seen.points.planned_m))
    return np.asarray(np.isfinite(predicted).all(axis=1))

"""Solve the network: robust start, wrong picks out, faulty groups free, then what it all means."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.adjustment.network import Network, State, build_network, whiteners
from vision.adjustment.report import adjustment_of
from vision.adjustment.screening import (
    Used,
    group_alpha,
    group_p_values,
    robust_pass,
    run,
    screen_points,
    weights_of,
)
from vision.adjustment.values import Adjustment, CameraObservations
from vision.geometry import Array
from vision.job import Job
from vision.layout import Layout
from vision.plan_fit import Flags
from vision.solver import NoFit, Solution

LEAST_POINTS = 3
"""Fewer points than this do not hold a camera's turn."""

SCREEN_ROUNDS = 20


@dataclass(slots=True, kw_only=True)
class _Search:
    """The state of the search for a network without gross faults."""

    network: Network
    full: tuple[Array, ...]
    used: Used
    freed: tuple[str, ...]
    solution: Solution[State]

    def solve(self, freed: tuple[str, ...], used: Used) -> Solution[State] | NoFit:
        """Solve with other groups free or other points used, from where it stands."""
        weights = weights_of(self.full, used).freeing(freed)
        return run(self.network, weights, self.solution.state)

    def screen(self) -> bool:
        """Leave wrong picks out, one at a time; True when anything changed."""
        any_change = False
        for _ in range(SCREEN_ROUNDS):
            used = screen_points(self.network, self.solution, self.full, self.used)
            if used is None:
                break
            solution = self.solve(self.freed, used)
            if isinstance(solution, NoFit):
                break
            self.used, self.solution, any_change = used, solution, True
        return any_change

    def free_groups(self) -> bool:
        """Set the most significant group free until none fails; True when any was."""
        groups = self.network.groups()
        alpha = group_alpha(len(groups))
        before = self.freed
        while len(self.freed) < len(groups) // 2:
            held = {g: c for g, c in groups.items() if g not in self.freed}
            p = group_p_values(self.network, self.solution, self.used, held)
            worst = min(p, key=p.__getitem__)
            if p[worst] >= alpha:
                break
            solution = self.solve((*self.freed, worst), self.used)
            if isinstance(solution, NoFit):
                break
            self.freed, self.solution = (*self.freed, worst), solution
        return self.freed != before

    def restore_groups(self) -> None:
        """Hold each freed group again where it passes its test now that the others are free."""
        groups = self.network.groups()
        alpha = group_alpha(len(groups))
        for group in self.freed:
            others = tuple(g for g in self.freed if g != group)
            solution = self.solve(others, self.used)
            if isinstance(solution, NoFit):
                continue
            p = group_p_values(self.network, solution, self.used, {group: groups[group]})
            if p[group] >= alpha:
                self.freed, self.solution = others, solution


def adjust(
    job: Job, layout: Layout, observations: tuple[CameraObservations, ...]
) -> Adjustment | NoFit:
    """Solve the network of all cameras that were identified.

    Unknowns are every camera's pose and lens, every seen strip's ends and every seen mark's own
    deviation; observations are mark centres, lens priors, mounting positions, strip ends and the
    marks' own sigmas. Intended aim weighs nothing. A camera with fewer than three usable points
    takes no part. Returns NoFit when no camera is left or the network does not settle.
    """
    enough = tuple(seen for seen in observations if usable(seen).sum() >= LEAST_POINTS)
    if not enough:
        return NoFit(
            code="no-camera",
            text=f"no camera shows {LEAST_POINTS} identified marks, so nothing can be adjusted",
        )
    network = build_network(job, layout, enough)
    full = tuple(whiteners(seen.points.covariance_px2) for seen in enough)
    state, used = robust_pass(network, tuple(usable(seen) for seen in enough))
    solution = run(network, weights_of(full, used), state)
    if isinstance(solution, NoFit):
        return solution
    search = _Search(network=network, full=full, used=used, freed=(), solution=solution)
    # Groups first: a strip laid wrong makes its own good marks look like wrong picks.
    search.free_groups()
    while search.screen() and search.free_groups():
        pass
    search.restore_groups()
    search.screen()
    return adjustment_of(job, network, search.solution, search.used, search.freed)


def usable(seen: CameraObservations) -> Flags:
    """Which points the starting lens can show at all as planned, (n,) bool."""
    pose, lens = seen.start
    if not seen.points.ids:
        return np.zeros(0, dtype=bool)
    predicted = lens.project(pose.transform(seen.points.planned_m))
    return np.asarray(np.isfinite(predicted).all(axis=1))

"""Which observations to believe: robust weights, tests of points and of groups.

Everything is computed from one solution with the Woodbury formula: with whitened residuals r of a
few rows, their derivative A and the covariance C of the unknowns, Q = 1 - A C A^T is the covariance
of r, and r^T Q^-1 r is the drop of chi-square when the rows are taken out (Baarda's w-test in
several dimensions). For rows that took no part it is r^T (1 + A C A^T)^-1 r.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from vision.adjustment.network import Network, State, Weights, whiteners
from vision.geometry import Array
from vision.plan_fit import Flags
from vision.solver import DONE, NoFit, Solution, solve

GROSS_CHI2 = float(stats.chi2.isf(1e-6, 2))
"""A point beyond this (5.3 sigma) is a wrong pick, not bad luck."""

RETURN_CHI2 = float(stats.chi2.isf(1e-4, 2))
"""A point that was left out comes back below this; lower than GROSS_CHI2 so that none flickers."""

ROBUST_ROUNDS = 6
CAUCHY_CUT = 3.0
FARTHEST = 1e5
"""Distances in sigmas beyond this weigh alike: nothing at all."""

LEAST_REDUNDANCY = 1e-3
"""Directions of a group that the rest of the network controls less than this are not judged."""

RAYLEIGH_MEDIAN = float(np.sqrt(2 * np.log(2)))

MIN_POINTS = 4
"""A camera keeps this many points whatever the tests say: fewer could not show which is wrong."""

Used = tuple[Flags, ...]
"""Which points take part, view by view."""


def weights_of(full: tuple[Array, ...], used: Used) -> Weights:
    """Every used point with its own covariance, every group as stated."""
    return Weights(
        whiteners=tuple(
            np.where(u[:, None, None], w, 0.0) for w, u in zip(full, used, strict=True)
        ),
        group_sigma_m={},
    )


def run(
    network: Network,
    weights: Weights,
    start: State,
    *,
    max_iterations: int = 50,
    tolerance: float = DONE,
) -> Solution[State] | NoFit:
    """Solve with these weights."""
    return solve(
        lambda state: network.evaluate(state, weights),
        network.retract,
        start,
        max_iterations=max_iterations,
        tolerance=tolerance,
    )


def variance_factor(
    solution: Solution[State], used: Used, without: float = 0.0, k: int = 0
) -> float:
    """max(1, variance factor), with the suspects' own share of chi-square (k rows) taken out."""
    freedom = degrees_of_freedom(solution, used) - k
    return max(1.0, (solution.chi2 - without) / freedom) if freedom > 0 else 1.0


def degrees_of_freedom(solution: Solution[State], used: Used) -> int:
    """Rows that weigh something, minus unknowns."""
    left_out = sum(int((~u).sum()) for u in used)
    rows, unknowns = solution.jacobian.shape
    return int(rows - 2 * left_out - unknowns)


# --- robust first pass -------------------------------------------------------------------------


def robust_pass(network: Network, used: Used) -> tuple[State, Used]:
    """Reweighted solutions from the cameras' own fits; returns a state and who looks sound.

    A point's residual is taken with the mark's own deviation put back, against the covariance of
    both: the deviation would otherwise swallow a wrong pick. Groups are weighted down likewise, or
    a strip laid wrong would make its own good marks look bad.
    """
    state = network.start
    group_sigma: dict[str, float] = {}
    for _ in range(ROBUST_ROUNDS):
        distances = _combined_distances(network, state)
        flat = np.concatenate([d[u] for d, u in zip(distances, used, strict=True)])
        scale = max(1.0, float(np.median(flat)) / RAYLEIGH_MEDIAN)
        reduced = []
        for view, distance, u in zip(network.views, distances, used, strict=True):
            excess = np.where(
                u, np.square(np.minimum(distance, FARTHEST) / (scale * CAUCHY_CUT)), 0.0
            )
            own = view.observations.points.covariance_px2
            both = own + np.where(u[:, None, None], view.own_covariance_px2, 0.0)
            inflated = own + excess[:, None, None] * both
            reduced.append(np.where(u[:, None, None], whiteners(inflated), 0.0))
        weights = Weights(whiteners=tuple(reduced), group_sigma_m=group_sigma)
        # Only the weights are wanted of a round, not its last digit.
        solution = run(network, weights, state, max_iterations=10, tolerance=1e-4)
        if isinstance(solution, NoFit):
            break
        state = solution.state
        group_sigma = _robust_group_sigma(network, state)
    distances = _combined_distances(network, state)
    sound = [
        u & _keep_enough(np.where(u, d, np.inf), np.sqrt(GROSS_CHI2))
        for d, u in zip(distances, used, strict=True)
    ]
    return state, tuple(sound)


def _keep_enough(distance: Array, limit: float) -> Flags:
    """Which are below the limit, which is raised where fewer than MIN_POINTS would stay."""
    enough = np.sort(distance)[min(MIN_POINTS, len(distance)) - 1]
    return np.asarray(distance <= max(limit, enough))


def _combined_distances(network: Network, state: State) -> list[Array]:
    """Each point's distance in sigmas from its strip's line as it now lies, view by view (n,)."""
    line = state.world.copy()
    for own in network.world.marks.values():
        line[own] = 0.0
    on_line = State(poses=state.poses, lenses=state.lenses, world=line)
    distances = []
    for i, view in enumerate(network.views):
        r, _ = network.points(on_line, i)
        both = view.observations.points.covariance_px2 + view.own_covariance_px2
        finite = np.asarray(np.isfinite(r).all(axis=1) & np.isfinite(both).all(axis=(1, 2)))
        both = np.where(finite[:, None, None], both, np.eye(2))
        solved = np.linalg.solve(both, np.where(finite[:, None], r, 0.0)[..., None])[..., 0]
        squared = np.sum(r * solved, axis=1)
        distances.append(np.where(finite, np.sqrt(np.maximum(squared, 0.0)), np.inf))
    return distances


def _robust_group_sigma(network: Network, state: State) -> dict[str, float]:
    """Cauchy weights of the groups' priors, as sigmas."""
    sigma = {}
    for group in network.groups():
        stated = network.group_sigma_m(group)
        off = network.group_rows(state, group)[0] / stated
        excess = float(off @ off) / len(off) / CAUCHY_CUT**2
        sigma[group] = stated * float(np.sqrt(1 + excess))
    return sigma


# --- tests of points -----------------------------------------------------------------------------


def point_statistics(
    network: Network, solution: Solution[State], full: tuple[Array, ...], used: Used
) -> list[Array]:
    """Chi-square (2) of each point, view by view (n,): of leaving it out, or of taking it in."""
    out = []
    for i, (whitener, u) in enumerate(zip(full, used, strict=True)):
        r, jacobian = network.points(solution.state, i)
        finite = np.isfinite(r).all(axis=1)
        r, jacobian = r[finite], jacobian[finite]
        whitener, sign = whitener[finite], np.where(u[finite], -1.0, 1.0)
        r = (whitener @ r[..., None])[..., 0]
        jacobian = whitener @ jacobian
        half = (jacobian.reshape(-1, network.size) @ solution.covariance).reshape(jacobian.shape)
        spread = half @ jacobian.transpose(0, 2, 1)
        values, vectors = np.linalg.eigh(np.eye(2) + sign[:, None, None] * spread)
        parts = np.square((vectors.transpose(0, 2, 1) @ r[..., None])[..., 0])
        judged = values > LEAST_REDUNDANCY
        statistic = np.full(len(u), np.inf)
        safe = np.where(judged, values, 1.0)
        statistic[finite] = np.where(judged, parts / safe, 0.0).sum(axis=1)
        out.append(statistic)
    return out


def screen_points(
    network: Network, solution: Solution[State], full: tuple[Array, ...], used: Used
) -> Used | None:
    """Take the worst gross point out, else let those back in that fit; None when all is well.

    One at a time: of two cameras that disagree about one mark, both look bad until the worse one
    is out, and both would come back together.
    """
    statistics = point_statistics(network, solution, full, used)
    after = tuple(u.copy() for u in used)
    worst, camera, row = -1.0, 0, 0
    for i, (statistic, u) in enumerate(zip(statistics, used, strict=True)):
        candidates = np.where(u, statistic, -1.0)
        if u.sum() > MIN_POINTS and candidates.max() > worst:
            worst, camera, row = float(candidates.max()), i, int(np.argmax(candidates))
    if worst / variance_factor(solution, used, worst, 2) > GROSS_CHI2:
        after[camera][row] = False
        return after
    limit = RETURN_CHI2 * variance_factor(solution, used)
    returning: dict[str, tuple[float, int, int]] = {}
    for i, (statistic, u) in enumerate(zip(statistics, used, strict=True)):
        ids = network.views[i].observations.points.ids
        for n in np.flatnonzero(~u & (statistic < limit)):
            mark = network.world.mark_of_point[ids[n]]
            entry = (float(statistic[n]), i, int(n))
            returning[mark] = min(entry, returning.get(mark, entry))
    for _, view, point in returning.values():
        after[view][point] = True
    return after if returning else None

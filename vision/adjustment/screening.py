"""Which observations to believe: robust weights, and tests of single points.

Everything is computed from one solution with the Woodbury formula: with whitened residuals r of a
few rows, their derivative A and the covariance C of the unknowns, Q = 1 - A C A^T is the covariance
of r, and r^T Q^-1 r is the drop of chi-square when the rows are taken out (Baarda's w-test in
several dimensions, one outlier at a time: data snooping). For rows that took no part it is r^T (1 +
A C A^T)^-1 r.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.adjustment.groups import Group
from vision.adjustment.network import Network
from vision.adjustment.settings import SETTINGS
from vision.adjustment.solving import Solved, settled, spread_of, weights_of
from vision.adjustment.state import Seen, State, whiteners
from vision.camera import statistics
from vision.camera.solver import NoFit
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, Flags

RAYLEIGH_MEDIAN = float(np.sqrt(2 * np.log(2)))


def variance_factor(solution: Solved, without: float = 0.0, k: int = 0) -> float:
    """max(1, variance factor), with the suspects' own share of chi-square (k rows) taken out."""
    return statistics.variance_factor(solution.chi2 - without, solution.degrees_of_freedom - k)


# --- robust first pass -------------------------------------------------------------------------


def robust_pass(network: Network) -> tuple[Seen, Flags]:
    """Reweighted solutions from the cameras' own fits; returns how all is seen, who looks sound.

    A point's residual is taken with the mark's own deviation put back, against the covariance of
    both: the deviation would otherwise swallow a wrong pick. Groups are weighted down likewise, or
    a strip laid wrong would make its own good marks look bad. A single mark is a group, and moves
    before its points are suspected. Points that the starting lenses cannot show take no part.
    """
    of_strip = np.array([network.world.planned[m].strip is not None for m in network.marks])
    seen = network.seen(network.start)
    used = np.asarray(np.isfinite(seen.off_px).all(axis=1))
    own_px = seen.by_place @ _own_spread_m(network)
    spread = own_px @ own_px.transpose(0, 2, 1)
    both = network.points.covariance_px2 + np.where(used[:, None, None], spread, 0.0)
    distance = np.where(of_strip, _distances(seen.off_px, both), 0.0)
    group_sigma: dict[Group, float] = {}
    factors, before = np.zeros(0), np.full(1, np.nan)
    for _ in range(SETTINGS.robust_rounds):
        share = _shares(distance, used)
        now = np.minimum(np.concatenate([share, factors]), 1e3)
        moved = np.abs(now - before).max(initial=0.0) if len(now) == len(before) else np.inf
        if moved < SETTINGS.settled_weights:
            break
        before = now
        inflated = network.points.covariance_px2 + np.square(share)[:, None, None] * both
        weights = replace(weights_of(whiteners(inflated), used), group_sigma=group_sigma)
        # Only the weights are wanted of a round, not its last digit.
        found = settled(
            network,
            weights,
            seen,
            max_iterations=SETTINGS.robust_iterations,
            tolerance=SETTINGS.robust_tolerance,
        )
        if isinstance(found, NoFit):
            break
        seen = found.state
        group_sigma = _robust_group_sigma(network, seen.state)
        stated = [each.sigma for each in network.statements.values()]
        factors = np.array(list(group_sigma.values())) / np.array(stated)
        distance = _distances(_off_line_px(network, seen.state), both)
        farthest = distance[used].max(initial=0.0) / SETTINGS.cauchy_cut
        if max(factors.max(initial=1.0), farthest) < SETTINGS.clean:
            break
    return seen, _sound(network, used, distance)


def _shares(distance: Array, used: Flags) -> Array:
    """Distances (p,) over the robust cut, which is wider where all of them are; 0 if not used."""
    scale = max(1.0, float(np.median(distance[used])) / RAYLEIGH_MEDIAN) if used.any() else 1.0
    capped = np.minimum(distance, SETTINGS.farthest)
    return np.where(used, capped / (scale * SETTINGS.cauchy_cut), 0.0)


def _own_spread_m(network: Network) -> Array:
    """Root (p, 3, n) of the covariance of each place by its mark's own deviation, as stated."""
    world, points = network.world, network.points
    # A single mark is kept, and so is what a reading names, but their spread is their own alike.
    kept_sigma = world.sigma[: world.kept].copy()
    for columns in (*world.strips.values(), *world.heights.values()):
        kept_sigma[columns] = 0.0
    kept_sigma[list(world.bows.values())] = 0.0
    _, own_sigma = world.split(world.sigma, points.blocks)
    by_kept, by_own = points.by_kept_m * kept_sigma, points.by_own_m * own_sigma[:, None]
    return np.concatenate([by_kept, by_own], axis=2)


def _sound(network: Network, used: Flags, distance: Array) -> Flags:
    """Who is no gross pick by its distance; each camera keeps a few, whatever that says."""
    sound = used.copy()
    for view in network.views:
        off = np.where(used[view.rows], distance[view.rows], np.inf)
        enough = np.sort(off)[min(SETTINGS.points_kept, len(off)) - 1]
        sound[view.rows] &= off <= max(np.sqrt(SETTINGS.gross_chi2), enough)
    return sound


def _off_line_px(network: Network, state: State) -> Array:
    """How far each point (p, 2) is seen from its strip's line, or its mark, as it now lies."""
    line = state.x.copy()
    line[network.kept :] = 0.0
    for name, own in network.world.marks.items():
        if network.world.planned[name].strip is not None:
            line[network.base + own.start : network.base + own.stop] = 0.0
    return network.predicted(replace(state, x=line))[0]


def _distances(off_px: Array, covariance_px2: Array) -> Array:
    """Lengths (n,) of `off_px` (n, 2) in sigmas; infinite where it is not known."""
    known = np.asarray(np.isfinite(off_px).all(axis=1))
    off = np.where(known[:, None], off_px, 0.0)
    squared = np.sum(off * np.linalg.solve(covariance_px2, off[..., None])[..., 0], axis=1)
    return np.where(known, np.sqrt(np.maximum(squared, 0.0)), np.inf)


def _robust_group_sigma(network: Network, state: State) -> dict[Group, float]:
    """Cauchy weights of the groups' priors, as sigmas."""
    sigma = {}
    for group, statement in network.statements.items():
        off = statement.rows(state)[0] / statement.sigma
        excess = float(off @ off) / len(off) / SETTINGS.cauchy_cut**2
        sigma[group] = statement.sigma * float(np.sqrt(1 + excess))
    return sigma


# --- tests of points -----------------------------------------------------------------------------


def point_statistics(network: Network, solution: Solved, full: Array, used: Flags) -> Array:
    """Chi-square (2) of each point (p,): of leaving it out, or of taking it in."""
    known = np.asarray(np.isfinite(solution.seen.off_px).all(axis=1))
    whitener = np.where(known[:, None, None], full, 0.0)
    r, by_camera, by_world, by_own = network.point_rows(solution.seen, whitener)
    by_kept = network.by_kept(by_camera, by_world)
    spread = spread_of(solution.covariance, by_kept, by_own, network.points.blocks)
    sign = np.where(used, -1.0, 1.0)[:, None, None]
    values, vectors = np.linalg.eigh(np.eye(2) + sign * spread)
    parts = np.square((vectors.transpose(0, 2, 1) @ r[..., None])[..., 0])
    judged = values > SETTINGS.least_redundancy
    statistic = np.where(judged, parts / np.where(judged, values, 1.0), 0.0).sum(axis=1)
    return np.where(known, statistic, np.inf)


def screen_points(network: Network, solution: Solved, full: Array, used: Flags) -> Flags | None:
    """Take the worst gross point out, else let those back in that fit; None when all is well.

    One at a time: of two cameras that disagree about one mark, both look bad until the worse one
    is out, and both would come back together.
    """
    statistic = point_statistics(network, solution, full, used)
    may_go = used.copy()
    for view in network.views:
        may_go[view.rows] &= used[view.rows].sum() > SETTINGS.points_kept
    suspects = np.where(may_go, statistic, -1.0)
    after = used.copy()
    worst = int(np.argmax(suspects)) if len(suspects) else 0
    gross = float(suspects[worst]) if len(suspects) else -1.0
    if gross / variance_factor(solution, gross, 2) > SETTINGS.gross_chi2:
        after[worst] = False
        return after
    limit = SETTINGS.return_chi2 * variance_factor(solution)
    returning: dict[MarkId, tuple[float, int]] = {}
    for row in np.flatnonzero(~used & (statistic < limit)):
        mark = network.marks[row]
        entry = (float(statistic[row]), int(row))
        returning[mark] = min(entry, returning.get(mark, entry))
    for _, back in returning.values():
        after[back] = True
    return after if returning else None

"""Tests of whole groups: a strip, a mounting, a single mark or a reading against what was stated.

With r the whitened distances of a group from where it was stated to lie, A their derivative and C
the covariance of the unknowns, the covariance of r is Q = 1 - A C A^T while the group is held, and
the redundancy matrix (1 + A C A^T)^-1 that it would have once it is held again while it is free.
What these say of a fault of the group as a whole is in `faults`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.adjustment.adjusted import GroupTest
from vision.adjustment.faults import GroupRows
from vision.adjustment.groups import Group
from vision.adjustment.network import Network
from vision.adjustment.screening import variance_factor
from vision.adjustment.settings import SETTINGS
from vision.adjustment.solving import Solved
from vision.camera.statistics import chi_square_tail, family_level, likeliest_spread
from vision.units.arrays import Array


def group_alpha(count: int) -> float:
    """Level of one test of `count`, so that the family keeps its own."""
    return family_level(SETTINGS.family_alpha, count)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Suspicion:
    """What one solution says against a group; the fields are those of `GroupTest`.

    `q` (k, k) is the redundancy matrix of the group's whitened rows, and `pull` (k,) their distance
    as a fault weighs it: r where the group is held, Q r where it is free. `factor` is the variance
    factor, 1 or more.
    """

    statistic: float
    degrees_of_freedom: int
    p_value: float
    log_bayes: float
    q: Array
    pull: Array
    factor: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Stack:
    """Rows of several groups on one another, whitened by each group's stated sigma.

    `off` (m,) is how far they lie from what was stated, `spread` (m, m) its covariance by the
    solution, and `rows` where each group has its own.
    """

    rows: dict[Group, slice]
    off: Array
    spread: Array


def _stacked(network: Network, solution: Solved, groups: tuple[Group, ...]) -> _Stack:
    rows: dict[Group, slice] = {}
    offs, jacobians, first = [np.zeros(0)], [np.zeros((0, network.kept))], 0
    for group in groups:
        off, jacobian = network.group_rows(solution.state, group)
        rows[group] = slice(first, first + len(off))
        first += len(off)
        offs.append(off / network.statements[group].sigma)
        jacobians.append(jacobian / network.statements[group].sigma)
    every = np.concatenate(jacobians)
    spread = every @ solution.covariance.kept @ every.T
    return _Stack(rows=rows, off=np.concatenate(offs), spread=spread)


def suspicions(
    network: Network, solution: Solved, groups: tuple[Group, ...], *, freed: tuple[Group, ...] = ()
) -> dict[Group, Suspicion]:
    """What speaks against each of `groups`; those in `freed` are free in this solution."""
    stack = _stacked(network, solution, groups)
    return {
        group: _suspicion(solution, stack.off[own], stack.spread[own, own], group in freed)
        for group, own in stack.rows.items()
    }


def _suspicion(solution: Solved, r: Array, spread: Array, free: bool) -> Suspicion:
    """One group's, from its whitened distance (k,) and the spread (k, k) of that."""
    values, vectors = np.linalg.eigh(np.eye(len(r)) + (spread if free else -spread))
    redundant = 1 / values if free else values
    judged = redundant > SETTINGS.least_redundancy
    parts = np.square(vectors.T @ r)[judged] / values[judged]
    k, statistic = int(judged.sum()), float(parts.sum())
    factor = variance_factor(solution, 0.0 if free else statistic, 0 if free else k)
    q = (vectors * redundant) @ vectors.T
    return Suspicion(
        statistic=statistic,
        degrees_of_freedom=k,
        p_value=chi_square_tail(statistic / factor, k),
        log_bayes=likeliest_spread(parts / factor, redundant[judged])[1],
        q=q,
        pull=q @ r if free else r,
        factor=factor,
    )


def group_tests(
    network: Network, solution: Solved, *, freed: tuple[Group, ...] = ()
) -> dict[Group, GroupTest]:
    """Test every group, with what its test can detect at all; those in `freed` are free."""
    groups = network.groups()
    level = group_alpha(len(groups))
    stack = _stacked(network, solution, groups)
    hides = _explained(stack, freed)
    out = {}
    for index, (group, own) in enumerate(stack.rows.items()):
        found = _suspicion(solution, stack.off[own], stack.spread[own, own], group in freed)
        statement = network.statements[group]
        ways, sigma = statement.ways(solution.state), statement.sigma
        out[group] = GroupTest(
            group=group,
            statistic=found.statistic,
            degrees_of_freedom=found.degrees_of_freedom,
            p_value=found.p_value,
            level=level,
            log_bayes=found.log_bayes,
            rows=GroupRows(
                redundancy=found.q,
                pull=found.pull,
                explained=np.delete(hides[own], index, axis=1),
                ways={kind: way / sigma for kind, way in ways.items()},
                factor=found.factor,
                sigma=sigma,
            ),
        )
    return out


def _explained(stack: _Stack, freed: tuple[Group, ...]) -> Array:
    """How the rows' distances show through each group in turn, (m, n, widest), all being held.

    Of the redundancy that a fault w (m,) of one group has, group j explains |w^T e_j|^2 as well:
    with Q in blocks e_j = Q_.j Q_jj^(-1/2).
    """
    free = np.zeros(len(stack.off), dtype=bool)
    for group in freed:
        free[stack.rows[group]] = True
    across = stack.spread[:, free]
    held = np.linalg.solve(np.eye(int(free.sum())) + stack.spread[np.ix_(free, free)], across.T)
    q = np.eye(len(free)) - stack.spread + across @ held
    widest = max((own.stop - own.start for own in stack.rows.values()), default=0)
    out = np.zeros((len(free), len(stack.rows), widest))
    for index, own in enumerate(stack.rows.values()):
        values, vectors = np.linalg.eigh(q[own, own])
        judged = values > SETTINGS.least_redundancy
        root = vectors[:, judged] / np.sqrt(values[judged])
        out[:, index, : root.shape[1]] = q[:, own] @ root
    return out

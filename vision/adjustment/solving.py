"""Solve a network whose weights are given, with the covariance of everything."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.adjustment.elimination import Covariance, Reduced, reduce
from vision.adjustment.network import Network
from vision.adjustment.state import Seen, State, Weights
from vision.adjustment.world import Blocks
from vision.camera.solver import DONE, LEAST_DAMPING, NoFit, Settled, settle
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solved:
    """The network at its minimum, how the points are seen there, covariance a priori, and chi2."""

    seen: Seen
    covariance: Covariance
    chi2: float
    degrees_of_freedom: int

    @property
    def state(self) -> State:
        """Where the unknowns stand."""
        return self.seen.state


def weights_of(full: Array, used: Flags) -> Weights:
    """Every used point with its own covariance (`full` whitens it), every group as stated."""
    return Weights(whiteners=np.where(used[:, None, None], full, 0.0), group_sigma={})


def weighted(full: Array, weight: Array) -> Weights:
    """Every point with its covariance over its weight (p,); every group as stated."""
    return Weights(whiteners=full * np.sqrt(weight)[:, None, None], group_sigma={})


def run(
    network: Network,
    weights: Weights,
    start: Seen,
    *,
    max_iterations: int = 50,
    tolerance: float = DONE,
) -> Solved | NoFit:
    """Solve with these weights. NoFit codes as of `vision.camera.solver.settle`."""
    found = settled(network, weights, start, max_iterations=max_iterations, tolerance=tolerance)
    return found if isinstance(found, NoFit) else solved(network, weights, found)


def solved(network: Network, weights: Weights, found: Settled[Seen, Reduced]) -> Solved | NoFit:
    """The minimum with its covariance; NoFit 'singular' where an unknown is not determined."""
    covariance = found.linear.covariance()
    if covariance is None:
        return NoFit(reason=Reason("singular"))
    used = np.asarray(weights.whiteners.any(axis=(1, 2)))
    return Solved(
        seen=found.state,
        covariance=covariance,
        chi2=found.linear.chi2,
        degrees_of_freedom=network.degrees_of_freedom(used),
    )


def settled(
    network: Network,
    weights: Weights,
    start: Seen,
    *,
    max_iterations: int = 50,
    tolerance: float = DONE,
    damping: float = LEAST_DAMPING,
) -> Settled[Seen, Reduced] | NoFit:
    """Walk to the minimum. What is seen goes with a state: it is the same whatever it weighs."""
    return settle(
        lambda seen: reduce(network.rows(seen, weights)),
        lambda seen, step: network.seen(seen.state.moved(step)),
        start,
        max_iterations=max_iterations,
        tolerance=tolerance,
        damping=damping,
    )


def spread_of(covariance: Covariance, by_kept: Array, by_own: Array, blocks: Blocks) -> Array:
    """Covariances (n, j, j) of n figures with derivatives (n, j, kept) and (n, j, o) by a block.

    `blocks` (n,) is below 0 where a figure depends on kept unknowns only.
    """
    n, j, size = by_kept.shape
    spread = np.zeros((n, j, j))
    if len(covariance.own):
        own = np.where((blocks >= 0)[:, None, None], by_own, 0.0)
        by_kept = by_kept - own @ covariance.follows[blocks]
        spread += own @ covariance.own[blocks] @ own.transpose(0, 2, 1)
    half = (by_kept.reshape(n * j, size) @ covariance.kept).reshape(n, j, size)
    return spread + half @ by_kept.transpose(0, 2, 1)

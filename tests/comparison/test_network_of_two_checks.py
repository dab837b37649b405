"""Proves that two checks make one network, with each thing that they share in it once.

Derivatives against central differences, a large turn's sigmas against the whole covariance, and
what counts as the same lens, laying and mark.

Does not prove what is named: `test_what_changed`.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.accuracy.compare import Between
from tests.comparing import ALL, compared, stated_otherwise, two_checks
from tests.differences import assert_rows_as_differences
from vision.adjustment.groups import Group
from vision.adjustment.state import Weights, whiteners
from vision.camera.geometry import d_aim_d_rotation_vector
from vision.camera.solver import NoFit
from vision.camera.statistics import noncentrality
from vision.comparison.change import Shared
from vision.comparison.epoch_ground import lay_out, same_laying
from vision.comparison.pair import build_pair
from vision.comparison.search import search
from vision.comparison.settings import SETTINGS
from vision.comparison.ties import d_vector_d_turn


def test_derivatives_of_the_joint_network(still):
    """Every row by every column, of a pair whose cameras are turned by up to two degrees."""
    before, after = still
    after = stated_otherwise(after)
    network = build_pair((before, after), frozenset({"left", "front"}), False).network
    rng = np.random.default_rng(1)
    free = (Group("turn", "front"), Group("shift", "left"), Group("move", "left"))
    full = whiteners(network.points.covariance_px2)
    weights = network.freeing(Weights(whiteners=full, group_sigma={}), free)
    state = network.start.moved(rng.normal(0, 0.01, network.size))
    assert_rows_as_differences(network, weights, state, closeness=1e-5)


def test_derivative_of_a_turn_s_vector():
    rng = np.random.default_rng(2)
    for size in (0.0, 1e-6, 1e-3, 0.1, 2.0, 3.0):
        axis = rng.normal(size=3)
        vector = size * axis / np.linalg.norm(axis)
        turn, by_turn = Rotation.from_rotvec(vector), d_vector_d_turn(vector)
        for column, step in enumerate(1e-6 * np.eye(3)):
            ends = [(Rotation.from_rotvec(w) * turn).as_rotvec() for w in (step, -step)]
            np.testing.assert_allclose((ends[0] - ends[1]) / 2e-6, by_turn[:, column], atol=1e-7)


def test_sigmas_of_a_large_turn_are_those_of_the_whole_solution(job):
    """Pan, tilt and roll of a camera turned by five degrees, against both poses' covariance."""
    turn = np.radians([-3.0, 2.5, 3.0])
    checks = two_checks(job, Between(camera="front", turn=turn, relaid=False))
    tied = build_pair(checks, frozenset(), False)
    found = search(tied, checks)
    assert not isinstance(found, NoFit)
    assert Group("turn", "front") in found.free
    state, pose = found.solution.state, tied.network.columns.pose
    before, after = tied.before["front"], tied.after["front"]
    R = state.R[after] @ state.R[tied.stance]
    by_turns = np.concatenate(
        [
            d_aim_d_rotation_vector(R) @ np.hstack([np.eye(3), state.R[after]]),
            -d_aim_d_rotation_vector(state.R[before]),
        ],
        axis=1,
    )
    columns = np.concatenate([pose[after, 3:], pose[tied.stance, 3:], pose[before, 3:]])
    covariance = found.solution.covariance.kept[np.ix_(columns, columns)]
    whole = np.sqrt(np.diag(by_turns @ covariance @ by_turns.T))
    front = next(each for each in compared(checks, Shared()).cameras if each.name == "front")
    np.testing.assert_allclose(front.aim_sigma_rad, whole, rtol=1e-3)


def test_a_strip_that_is_planned_otherwise_counts_as_laid_anew(still):
    first, second = still
    strips = second.job.strips
    longer = replace(strips[0], to_m=strips[0].to_m + np.array([0.5, 0]))
    other = replace(second, job=replace(second.job, strips=(longer, *strips[1:])))
    assert same_laying(first.job, other.job, strips[0].name) is False
    assert same_laying(first.job, other.job, strips[1].name) is True
    assert same_laying(first.job, other.job, "roof") is None


def test_knowledge_of_a_lens_counts_once(still):
    kinds = Counter(group.kind for group in build_pair(still, ALL, False).network.groups())
    assert kinds["lens"] == kinds["mounting"] == 4
    # What the later job states otherwise is knowledge of its own.
    before, after = still
    network = build_pair((before, stated_otherwise(after)), ALL, False).network
    kinds = Counter(group.kind for group in network.groups())
    assert kinds["lens"] == kinds["mounting"] == 5


def test_shared_marks_have_one_set_of_unknowns(job, still):
    names = frozenset([*(s.name for s in job.strips), *(m.name for m in job.marks)])
    apart, together = (lay_out(still, shared).world for shared in (frozenset(), names))
    moves = 4 * len(job.strips)
    assert len(together.moves) == len(job.strips)
    assert not apart.moves
    assert together.size - moves < 0.6 * apart.size


def test_the_chance_that_a_change_is_seen():
    # Two-sided test of one normal at 5 %: 95 % power at (1.960 + 1.645)^2, any table of the normal.
    assert noncentrality(1, 0.05, SETTINGS.power) == pytest.approx(
        (1.95996 + 1.64485) ** 2, rel=1e-3
    )

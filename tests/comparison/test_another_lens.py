"""Proves that an exchanged camera is told as that, before any turn of it is told.

Proves, on simulated pairs of checks whose truth is known: another lens of the type is named, alone
and beside a turned camera; a turn stays a turn; where marks fit both about as well, that is said,
and what would help; the words and the exit stay true to it.

Does not prove how often: `python -m tests.accuracy.exchanged` counts it.
"""

from __future__ import annotations

import numpy as np

from tests.accuracy.compare import Between
from tests.comparing import compared, named, two_checks
from vision.comparison.pair import build_pair
from vision.comparison.ties import unit_whitening
from vision.documents.comparison_words import sentences, steps_back


def test_another_lens_is_named_and_no_turn_of_it(job):
    result = compared(two_checks(job, Between(exchanged=("rear",), relaid=False), seed=4))
    assert [each.name for each in result.exchanged] == ["rear"]
    assert named(result) == {}
    assert "rear" not in {camera.name for camera in result.cameras}
    (rear,) = result.exchanged
    assert rear.log10_odds > 2
    lines = sentences(result, "since 3 March 2026", 0.05)
    assert any(line.startswith("rear: its picture comes through another lens") for line in lines)
    assert any("rear" in step and "display anew" in step for step in steps_back(result))


def test_a_turn_beside_it_is_still_a_turn(job):
    turn = np.radians([1.4, 0.0, 0.0])
    between = Between(camera="front", turn=turn, exchanged=("rear",), relaid=False)
    result = compared(two_checks(job, between, seed=4))
    assert [each.name for each in result.exchanged] == ["rear"]
    assert named(result) == {"front": (True, False)}


def test_nothing_is_exchanged_where_nothing_changed(still):
    assert compared(still).exchanged == ()


def test_a_lens_of_its_own_for_each_picture(still):
    pair = build_pair(still, frozenset(), untouched=False)
    state = pair.network.start
    assert len(state.lens) == len(pair.before) + len(pair.after)
    tie = next(tie for group, tie in pair.ties.items() if str(group) == "exchange front")
    off, _ = tie.rows(state)
    np.testing.assert_allclose(off, 0, atol=1e-12)


def test_one_unit_of_each_kind(still):
    prior = still[0].observations[0].prior
    guess = prior.guess.as_vector()
    longer = guess.copy()
    longer[:2] *= 1.01
    off = unit_whitening(prior) @ (longer - guess)
    np.testing.assert_allclose(off, [1, 0, 0, 0, 0, 0, 0, 0], atol=1e-9)
    aside = guess + np.eye(8)[2] * 4 * prior.guess.width / 1280
    np.testing.assert_allclose((unit_whitening(prior) @ (aside - guess))[2], 1)

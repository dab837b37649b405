"""Odds of a naming: how signs add up, what a rival costs, what lies where a mark is not seen.

Not shown here: that stated odds hold, which `python -m tests.accuracy.odds --draws` prints.
"""

from __future__ import annotations

import numpy as np
import pytest

from vision.identification.odds import log10_odds, shown, summed, tape_nats
from vision.identification.odds_table import BACKGROUND, SEEN_HOW, TAPE_BACKGROUND, TAPE_SEEN
from vision.identification.settings import SETTINGS
from vision.marks.measure.matching import Matches

TUNED = SETTINGS.odds


def matches(
    correlation: float, *, step: float = 0.4, level: float = 0.0, spread: float = 0.05
) -> Matches:
    """Two marks: one that is used and clearly seen beside ground of level 0, and one like this."""
    return Matches(
        found_px=np.array([[100.0, 100.0], [200.0, 100.0]]),
        correlation=np.array([0.95, correlation]),
        ground=np.array([0.0, 0.0]),
        step=np.array([0.4, step]),
        level=np.array([0.1, level]),
        spread=np.array([0.25, spread]),
    )


def nats(seen: Matches, off_px: float = 0.3) -> float:
    told = shown(
        seen,
        np.array([0.1, off_px]),
        np.array([15.0, 15.0]),
        np.zeros(2, dtype=bool),
        np.array([True, False]),
    )
    return float(told.nats[1])


def test_tables_are_shares() -> None:
    for shares in (SEEN_HOW, BACKGROUND, TAPE_SEEN, TAPE_BACKGROUND):
        assert np.allclose(shares.sum(axis=-1), 1.0)
        assert (shares > 0).all()


def test_a_mark_in_its_place_says_most_and_no_more_than_the_cap() -> None:
    assert nats(matches(0.95)) == TUNED.most_nats
    assert nats(matches(0.95)) > nats(matches(0.6), 1.2) > nats(matches(0.4), 4.0)


def test_bare_ground_speaks_against_a_naming_and_a_thing_in_the_way_hardly() -> None:
    ground = nats(matches(0.1, step=0.0))
    thing = nats(matches(0.1, step=-0.4, level=-0.6, spread=0.4))
    assert ground < -2
    assert ground < 2 * thing <= 0


def test_what_cannot_be_tried_says_nothing() -> None:
    assert nats(matches(np.nan)) == 0.0


def test_tape_speaks_for_a_pose_and_bare_ground_between_marks_against() -> None:
    assert tape_nats(np.array([0.4]))[0] > 1
    assert tape_nats(np.array([0.0, np.nan])).max() < -0.5


def test_signs_that_are_hardly_due_are_not_missed_but_count_where_seen() -> None:
    assert summed(np.array([-3.0]), np.array([1.0])) == pytest.approx(-3.0)
    assert -0.2 < summed(np.array([-3.0]), np.array([0.1])) < 0
    assert 2.5 < summed(np.array([5.0]), np.array([0.1])) < 5
    assert summed(np.array([5.0, 5.0]), np.array([0.0, 0.0])) == 0.0


def test_the_nearest_rival_decides() -> None:
    alone = log10_odds(100.0, [])
    assert alone == pytest.approx(TUNED.sum_worth * (100.0 - TUNED.sum_of_none) / np.log(10))
    near = log10_odds(100.0, [95.0, 10.0])
    assert near == pytest.approx(TUNED.lead_worth * 5.0 / np.log(10), rel=1e-6)
    assert log10_odds(100.0, [100.0]) == pytest.approx(0.0, abs=1e-6)
    assert log10_odds(-5.0, []) < 0

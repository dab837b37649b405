"""Odds of a naming: how signs add up, what a rival costs, what lies where a mark is not seen.

Not shown here: that stated odds hold, which `python -m tests.accuracy.odds_draws` prints.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.accuracy.odds import given_of, square_views
from tests.paths import SAMPLES
from vision.identification.decision import identify
from vision.identification.identified import NotIdentified
from vision.identification.odds import log10_odds, shown, summed, tape_nats
from vision.identification.odds_table import BACKGROUND, SEEN_HOW, TAPE_BACKGROUND, TAPE_SEEN
from vision.identification.poses import carried_poses, searched
from vision.identification.settings import SETTINGS
from vision.identification.strays import strays
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


def test_a_row_of_another_layout_is_a_rival_that_is_unlikely_before_and_more_so_in_a_lot() -> None:
    all_of_one_row = log10_odds(45.0, [], 45.0)
    assert all_of_one_row < 4 < log10_odds(45.0, [], 20.0)
    in_lot = log10_odds(45.0, [], 45.0, lot_known=True)
    assert in_lot - all_of_one_row == pytest.approx(
        TUNED.lead_worth * TUNED.same_lot_nats / np.log(10), rel=1e-3
    )


@pytest.mark.parametrize(("name", "other"), [("front", "rear"), ("rear", "front")])
def test_a_row_of_another_yard_is_not_taken_for_this_one(name: str, other: str) -> None:
    """Nine like marks in a row can be laid over nine others; the marks beside them cannot."""
    long_shadow, clear_day = (
        {view.camera.name: view for view in square_views([SAMPLES / lot])}
        for lot in ("long_shadow", "clear_day")
    )
    given = given_of(long_shadow[name], clear_day[other].grey)
    assert given is not None
    found = identify(given.job, given.layout, given.camera, given.prior, clear_day[other].grey)
    assert isinstance(found, NotIdentified)


def test_marks_that_a_naming_leaves_over_are_counted() -> None:
    view = next(v for v in square_views([SAMPLES / "clear_day"]) if v.camera.name == "front")
    given = given_of(view, view.grey)
    assert given is not None
    found, best = searched(given), carried_poses(given)[0]
    assert found is not None
    candidates_px = found.candidates_px(given.prior.guess)
    assert strays(given, best.pose, best.lens, candidates_px) == 0
    rest = tuple(mark for mark in given.layout.marks if mark.strip != "front")
    fewer = dataclasses.replace(given, layout=dataclasses.replace(given.layout, marks=rest))
    assert strays(fewer, best.pose, best.lens, candidates_px) >= 6

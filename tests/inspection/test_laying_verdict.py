"""Verdicts on strips and single marks, from figures made by hand.

Proves: which way and how far to move what was laid, and which end or mark of it. Does not prove any
measurement.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.judging import RIGHT, codes, laid, raised
from vision.inspection.verdict.layings import LayingVerdict
from vision.inspection.verdict.rule import Action
from vision.job.job import Strip
from vision.job.mark_id import MarkId


def asked(action: Action) -> tuple[str | None, dict[str, object]]:
    """Which end is to be moved, and how far off it lies by the ways it lies off."""
    parts = action.what.arguments["parts"]
    end = action.what.arguments.get("end")
    return end, {way: pytest.approx(far_m) for way, far_m, _ in parts}


def test_a_strip_too_far_out() -> None:
    verdict = laid((0, -0.05), (0, -0.05))
    assert verdict.verdict == "re-measure"
    assert codes(verdict.reasons) == ["shift-beyond"]
    (action,) = verdict.actions
    assert asked(action) == (None, {"out": 0.05})
    assert action.what.arguments["then"] == "within"
    assert action.move_m == pytest.approx((0, 0.05))
    assert action.move_sigma_m == pytest.approx((0.006, 0.006))


@pytest.mark.parametrize(
    ("sigma", "displaced"), [(0.006, {}), (0.016, {}), (0.004, {3: np.array([0.0, 0.012])})]
)
def test_what_a_move_says_to_follow_is_what_a_check_then_says(
    sigma: float, displaced: dict[int, np.ndarray]
) -> None:
    verdict = laid((0, -0.12), (0, -0.12), sigma=sigma, displaced=displaced)
    (action,) = (a for a in verdict.actions if a.what.code == "move-strip")
    after = laid((0, 0), (0, 0), sigma=sigma, displaced=displaced)
    word = {"keep": "within", "not-judged": "not-judged", "re-measure": "beyond"}[after.verdict]
    assert action.what.arguments["then"] == word


def test_a_strip_too_far_in_and_forward() -> None:
    (action,) = laid((0.06, 0.05), (0.06, 0.05)).actions
    assert asked(action) == (None, {"forward": 0.06, "in": 0.05})
    assert action.move_m == pytest.approx((-0.06, -0.05))


def test_a_turned_strip_names_the_end_to_move() -> None:
    (action,) = laid((0, 0), (0, -0.06)).actions
    assert asked(action) == ("front", {"out": 0.06})
    both = laid((0, 0.05), (0, -0.05)).actions
    assert [asked(each) for each in both] == [("rear", {"in": 0.05}), ("front", {"out": 0.05})]


def test_a_strip_across_and_one_under_the_middle() -> None:
    ahead = Strip(
        name="ahead",
        from_m=np.array([6.0, 2.0]),
        to_m=np.array([6.0, -2.0]),
        at_m=np.linspace(0, 4, 5),
        shape=RIGHT.shape,
        tape_width_m=0.15,
        position_sigma_m=0.01,
    )
    (action,) = laid((0.05, 0), (0.05, 0), strip=ahead).actions
    assert asked(action) == (None, {"out": 0.05})
    (action,) = laid((0, 0.05), (0, 0.05), strip=ahead).actions
    assert asked(action) == (None, {"to-the-left": 0.05})
    (action,) = laid((0, 0), (0.06, 0), strip=ahead).actions
    assert asked(action) == ("right", {"out": 0.06})
    middle = Strip(
        name="middle",
        from_m=np.array([5.0, 0.0]),
        to_m=np.array([9.0, 0.0]),
        at_m=np.linspace(0, 4, 5),
        shape=RIGHT.shape,
        tape_width_m=0.15,
        position_sigma_m=0.01,
    )
    (action,) = laid((0, -0.05), (0, -0.05), strip=middle).actions
    assert asked(action) == (None, {"to-the-right": 0.05})
    assert action.move_m == pytest.approx((0, 0.05))


def test_one_displaced_mark_is_named_and_the_strip_left() -> None:
    verdict = laid((0, 0), (0, 0), displaced={3: np.array([0.08, 0.0])})
    assert verdict.verdict == "re-measure"
    (action,) = verdict.actions
    assert action.what.code == "lay-again"
    assert action.what.arguments["mark"] == MarkId("right", 3)
    assert action.what.arguments["parts"] == (("forward", pytest.approx(0.08), 0.006),)


def test_strips_kept_said_not_judged_and_not_seen() -> None:
    assert laid((0, 0.002), (0, 0.002)) == LayingVerdict(name="right", verdict="keep")
    said = laid((0, 0.015), (0, 0.015), sigma=0.003)
    assert (said.verdict, codes(said.reasons)) == ("keep", ["significant-within"])
    unsure = laid((0, 0.03), (0, 0.03))
    assert (unsure.verdict, codes(unsure.reasons)) == ("not-judged", ["shift-not-judged"])
    unseen = laid((0, 0), (0, 0), has_been_seen=False)
    assert (unseen.verdict, codes(unseen.reasons)) == ("not-judged", ["not-seen"])


def test_raised_marks() -> None:
    off = raised((0.0, -0.04, 0.05))
    assert off.verdict == "re-measure"
    assert asked(off.actions[0]) == (None, {"to-the-right": 0.04, "up": 0.05})
    assert off.actions[0].move_m == pytest.approx((0, 0.04, -0.05))
    assert raised((0, 0, 0)).verdict == "keep"
    assert codes(raised((0, 0, 0), found=False).reasons) == ["not-seen"]

"""Verdicts on strips and single marks, from figures made by hand.

Proves: which way and how far to move what was laid, and which end or mark of it. Does not prove any
measurement.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.judging import RIGHT, codes, laid, raised, text
from vision.inspection.verdict.layings import LayingVerdict
from vision.job.job import Strip


def test_a_strip_too_far_out() -> None:
    verdict = laid((0, -0.05), (0, -0.05))
    assert verdict.verdict == "re-measure"
    assert codes(verdict.reasons) == ["shift-beyond"]
    (action,) = verdict.actions
    assert text(action) == (
        "the right strip lies 5.0 cm (+-0.6) too far out: move it 5.0 cm in;"
        " then it lies within tolerance (0.0 +- 0.6 cm)"
    )
    assert action.move_m == pytest.approx((0, 0.05))
    assert action.move_sigma_m == pytest.approx((0.006, 0.006))


def test_a_strip_too_far_in_and_forward() -> None:
    (action,) = laid((0.06, 0.05), (0.06, 0.05)).actions
    assert "6.0 cm (+-0.6) too far forward and 5.0 cm (+-0.6) too far in" in text(action)
    assert "move it 6.0 cm back and 5.0 cm out" in text(action)


def test_a_turned_strip_names_the_end_to_move() -> None:
    (action,) = laid((0, 0), (0, -0.06)).actions
    assert text(action).startswith(
        "the front end of the right strip lies 6.0 cm (+-0.6) too far out"
    )
    both = laid((0, 0.05), (0, -0.05)).actions
    assert [text(one).split(" of ")[0] for one in both] == ["the rear end", "the front end"]
    assert "5.0 cm out" in text(both[0])
    assert "5.0 cm in" in text(both[1])


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
    assert "too far out" in text(action)
    (action,) = laid((0, 0.05), (0, 0.05), strip=ahead).actions
    assert "too far to the left" in text(action)
    (action,) = laid((0, 0), (0.06, 0), strip=ahead).actions
    assert "the right end" in text(action)
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
    assert "too far to the right: move it 5.0 cm to the left" in text(action)


def test_one_stray_mark_is_named_and_the_strip_left() -> None:
    verdict = laid((0, 0), (0, 0), strays={3: np.array([0.08, 0.0])})
    assert verdict.verdict == "re-measure"
    (action,) = verdict.actions
    assert text(action).startswith("lay mark right/3 again: it lies 8.0 cm (+-0.6) too far forward")


def test_strips_kept_said_not_judged_and_not_seen() -> None:
    assert laid((0, 0.002), (0, 0.002)) == LayingVerdict(name="right", verdict="keep")
    said = laid((0, 0.015), (0, 0.015), sigma=0.003)
    assert (said.verdict, codes(said.reasons)) == ("keep", ["significant-within"])
    unsure = laid((0, 0.03), (0, 0.03))
    assert (unsure.verdict, codes(unsure.reasons)) == ("not-judged", ["shift-not-judged"])
    assert "narrow" in text(unsure.reasons[0])
    unseen = laid((0, 0), (0, 0), has_been_seen=False)
    assert (unseen.verdict, codes(unseen.reasons)) == ("not-judged", ["not-seen"])


def test_raised_marks() -> None:
    off = raised((0.0, -0.04, 0.05))
    assert off.verdict == "re-measure"
    assert "4.0 cm (+-0.5) too far to the right and 5.0 cm (+-0.5) too far up" in text(
        off.actions[0]
    )
    assert off.actions[0].move_m == pytest.approx((0, 0.04, -0.05))
    assert raised((0, 0, 0)).verdict == "keep"
    assert codes(raised((0, 0, 0), found=False).reasons) == ["not-seen"]

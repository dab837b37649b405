"""Verdicts on cameras, from figures made by hand.

Proves: the ways and amounts of turns; what comes first where several things are wrong; who is
blamed for a narrow overlap. Does not prove any measurement.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from tests.judging import codes, seen
from vision.camera.geometry import ANGLES
from vision.inspection.verdict.cameras import (
    CameraVerdict,
    Marks,
    Overlap,
    unidentified_camera,
)
from vision.inspection.verdict.pictures import PictureVerdict
from vision.inspection.verdict.rule import Action
from vision.units.reason import Reason
from vision.views.seams.coverage import NearestGround


def test_a_camera_as_intended_is_kept() -> None:
    verdict = seen(nearest=NearestGround(distance_m=0.0, sigma_m=0.0))
    assert verdict == CameraVerdict(name="front", verdict="keep")


@pytest.mark.parametrize(
    ("off", "turn"),
    [
        ({"tilt": 5.2}, (0, -5.2, 0)),
        ({"tilt": -5.2}, (0, 5.2, 0)),
        ({"pan": -4.1}, (4.1, 0, 0)),
        ({"pan": 4.1}, (-4.1, 0, 0)),
        ({"roll": -3.0}, (0, 0, 3.0)),
        ({"roll": 3.0}, (0, 0, -3.0)),
    ],
)
def test_corrections(off: dict[str, float], turn: tuple[float, float, float]) -> None:
    verdict = seen(**off)
    assert verdict.verdict == "re-aim"
    assert codes(verdict.reasons) == [f"{next(iter(off))}-beyond"]
    (action,) = verdict.actions
    assert action.what.code == "turn"
    assert [row[-1] for row in action.what.arguments["then"]] == ["within"] * 3
    assert action.what.arguments["turn_rad"] == action.turn_rad
    assert action.turn_rad is not None
    assert np.degrees(action.turn_rad) == pytest.approx(turn, abs=1e-9)
    assert np.degrees(action.sigma_rad) == pytest.approx((0.2, 0.2, 0.2))


def test_doing_what_the_action_says_gives_the_intended_aim() -> None:
    verdict = seen(pan=-6, tilt=8, roll=5)
    turn = verdict.actions[0].turn_rad
    assert turn is not None
    assert np.add((-6, 8, 5), np.degrees(turn)) == pytest.approx((0, 0, 0))


def aim(off: Sequence[float]) -> dict[str, float]:
    return dict(zip(ANGLES, map(float, off), strict=True))


@pytest.mark.parametrize(
    ("off", "sigma"),
    [((0.6, 5.6, -1.1), 0.53), ((5.0, 0.0, 3.0), 0.3), ((0.0, 9.0, 0.0), 2.0), ((0, 4, 2.4), 0.15)],
)
def test_what_a_step_says_to_follow_is_what_a_check_then_says(
    off: tuple[float, float, float], sigma: float
) -> None:
    """The angles that are not turned stay as they are, and so do their sigmas and words."""
    (action,) = (a for a in seen(**aim(off), sigma=sigma).actions if a.what.code == "turn")
    assert action.turn_rad is not None
    left = np.add(off, np.degrees(action.turn_rad))
    after = seen(**aim(left), sigma=sigma)
    told = {f"{name}-{word}" for name, *_, word in action.what.arguments["then"]}
    said = {code for code in codes(after.reasons) if code.partition("-")[0] in ANGLES}
    assert {code for code in told if not code.endswith("-within")} == said
    then = action.what.arguments["then"]
    assert [row[1] for row in then] == pytest.approx(np.radians(left), abs=1e-12)


def test_pan_wraps() -> None:
    assert seen(pan=359.5, sigma=0.5).verdict == "keep"


def test_not_judged_says_what_straddles_and_what_would_narrow_it() -> None:
    verdict = seen(pan=2.8, sigma=0.4)
    assert verdict.verdict == "not-judged"
    (reason,) = verdict.reasons
    assert reason.code == "pan-not-judged"
    figures = [reason.arguments[name] for name in ("off_rad", "sigma_rad", "limit_rad")]
    assert np.degrees(figures) == pytest.approx((2.8, 0.4, 3.0))
    assert verdict.actions == ()


def test_an_open_camera_of_which_most_marks_are_missing_is_taken_again() -> None:
    few, most = Marks(used=9, due=28), Marks(used=26, due=28)
    open_ = seen(pan=1.1, sigma=1.7, marks=few)
    assert open_.verdict == "not-judged"
    assert [action.what.code for action in open_.actions] == ["take-clear-again"]
    assert open_.actions[0].what.arguments["due"] == 28
    assert not seen(pan=1.1, sigma=1.7, marks=most).actions
    # Nothing is open; or what is to be done is known without them.
    assert not seen(pan=1.1, sigma=0.2, marks=few).actions
    turned = seen(pan=9.0, tilt=1.1, sigma=1.7, marks=few)
    assert [action.what.code for action in turned.actions] == ["turn"]


def test_a_real_difference_within_tolerance_is_kept_and_said() -> None:
    verdict = seen(tilt=1.5, sigma=0.1)
    assert verdict.verdict == "keep"
    assert codes(verdict.reasons) == ["significant-within"]


def test_a_picture_at_fault_comes_first() -> None:
    fault = PictureVerdict(
        answers={},
        faults=("soft",),
        reasons=(Reason("soft"),),
        actions=(Action(what=Reason("mend-picture")),),
        word="re-shoot",
    )
    soft = seen(picture=fault, tilt=9)
    assert soft.verdict == "re-shoot"
    assert codes(soft.reasons) == ["soft"]
    assert soft.actions
    unsure = PictureVerdict(answers={}, reasons=(Reason("soft-not-judged"),), word="not-judged")
    assert seen(picture=unsure).verdict == "not-judged"
    assert seen(picture=unsure, tilt=9).verdict == "re-aim"


def test_a_soft_picture_without_marks_is_told_to_be_soft() -> None:
    fault = PictureVerdict(answers={}, faults=("soft",), reasons=(Reason("soft"),), word="re-shoot")
    none = Reason("no-marks")
    assert codes(unidentified_camera("front", none, fault).reasons) == ["soft", "no-marks"]
    assert unidentified_camera("front", none, fault).verdict == "re-shoot"
    mirrored = Reason("mirrored")
    assert codes(unidentified_camera("front", mirrored, fault).reasons) == ["mirrored"]


def test_overlap_blames_the_camera_that_looks_away() -> None:
    narrow = Overlap(neighbour="left", width_m=0.2, sigma_m=0.02)
    both_right = seen(overlaps=(narrow,))
    assert both_right.verdict == "re-aim"
    assert codes(both_right.reasons) == ["overlap-below"]
    (more,) = both_right.actions
    assert more.what.code == "turn-towards"
    assert more.what.arguments["missing_m"] == pytest.approx(0.3)
    other = Overlap(neighbour="left", width_m=0.2, sigma_m=0.02, neighbour_is_off=True)
    assert seen(overlaps=(other,)).verdict == "keep"
    assert codes(seen(overlaps=(other,)).reasons) == ["overlap-below"]
    own = seen(overlaps=(other,), pan=9)
    assert codes(own.reasons) == ["pan-beyond", "overlap-below"]
    assert len(own.actions) == 1
    unsure = Overlap(neighbour="left", width_m=0.52, sigma_m=0.02)
    assert codes(seen(overlaps=(unsure,)).reasons) == ["overlap-not-judged"]
    wide = Overlap(neighbour="left", width_m=2.0, sigma_m=0.1)
    assert seen(overlaps=(wide,)).reasons == ()


def test_nearest_ground() -> None:
    far = seen(nearest=NearestGround(distance_m=1.0, sigma_m=0.02))
    assert far.verdict == "re-aim"
    assert codes(far.reasons) == ["nearest-ground-beyond"]
    turn = far.actions[0].turn_rad
    assert turn is not None
    # atan(1 / 2.45) - atan(0.5 / 2.45)
    assert np.degrees(turn[1]) == pytest.approx(10.67, abs=0.01)
    none = seen(nearest=NearestGround(distance_m=float("inf"), sigma_m=0.0))
    assert none.verdict == "re-aim"
    assert none.reasons[0].arguments["distance_m"] == np.inf
    assert [each.what.code for each in none.actions] == ["tilt-down-to-ground"]
    unsure = seen(nearest=NearestGround(distance_m=0.5, sigma_m=0.02))
    assert codes(unsure.reasons) == ["nearest-ground-not-judged"]


def test_pictures_without_an_identity() -> None:
    dark = unidentified_camera("rear", Reason("dark", level=9.0))
    assert dark.verdict == "re-shoot"
    none = unidentified_camera("rear", Reason("no-marks"))
    for found in (dark, none):
        (again,) = found.actions
        assert again.what == Reason("take-again", camera="rear", why=found.reasons[0])
    unsure = unidentified_camera("rear", Reason("ambiguous"))
    assert (unsure.verdict, unsure.actions) == ("not-judged", ())
    assert codes(unsure.reasons) == ["ambiguous"]


def test_pan_and_roll_of_a_camera_that_looks_straight_down_are_one_angle() -> None:
    found = seen(pan=40, tilt=44, roll=-40)
    assert codes(found.reasons) == ["pan-not-judged", "tilt-beyond", "roll-not-judged"]
    assert all(found.reasons[i].arguments["straight_down"] for i in (0, 2))
    (action,) = found.actions
    assert action.turn_rad is not None
    assert action.sigma_rad is not None
    assert np.isfinite(action.sigma_rad).all()
    assert action.turn_rad[0] == action.turn_rad[2] == 0.0

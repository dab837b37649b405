"""Verdicts, from figures made by hand.

Proves: the decision rule at its borders, along the right direction of a covariance; the words and
amounts of corrections; the order of a job's verdicts and its exit code. Does not prove any
measurement.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.tape import metric_alone
from vision.adjustment import AdjustedCamera, AdjustedMark, AdjustedStrip
from vision.geometry import Aim, Array, Pose
from vision.job import BoxCorner, Camera, Cross, Quadrant, SingleMark, Strip, Tolerances
from vision.length_words import METRIC, LengthWords
from vision.lens import Lens
from vision.seams import NearestGround, SeamGap
from vision.solver import NoFit
from vision.verdict import (
    Action,
    CameraVerdict,
    LayingVerdict,
    Overlap,
    PictureVerdict,
    Reason,
    SeamVerdict,
    camera_verdict,
    exit_code,
    job_verdict,
    judge,
    judge_minimum,
    length_and_sigma,
    mark_verdict,
    seam_verdict,
    strip_verdict,
    unidentified_camera,
    worst_of,
)

TOLERANCES = Tolerances()
LENS = Lens(width=1280, height=720, fx=395.0, fy=395.0, cx=639.5, cy=359.5)


def seen(
    *, pan: float = 0, tilt: float = 0, roll: float = 0, sigma: float = 0.2, **more: object
) -> CameraVerdict:
    """Verdict on a front camera meant for pan 0, tilt 45, roll 0 and off by so many degrees."""
    place = np.array([4.22, 0.0, 2.45])
    camera = Camera(
        name="front",
        picture="front.jpg",
        lens="wide",
        position_m=place,
        position_sigma_m=0.02,
        aim=Aim.from_degrees(0, 45, 0),
    )
    adjusted = AdjustedCamera(
        name="front",
        pose=Pose.at(place, Aim.from_degrees(pan, 45 + tilt, roll).rotation()),
        lens=LENS,
        covariance=np.eye(14) * 1e-6,
        aim_covariance_rad2=np.eye(3) * np.radians(sigma) ** 2,
        position_sigma_m=np.full(3, 0.01),
        used=np.zeros(0, dtype=bool),
        residual_px=np.zeros((0, 2)),
    )
    return camera_verdict(camera, adjusted, TOLERANCES, **more)  # type: ignore[arg-type]


def codes(reasons: tuple[Reason, ...]) -> list[str]:
    return [reason.code for reason in reasons]


@pytest.mark.parametrize(
    ("deviation", "word"),
    [(0.0, "within"), (3.0, "within"), (3.01, "not-judged"), (5.0, "not-judged"), (5.01, "beyond")],
)
def test_rule_at_its_borders(deviation: float, word: str) -> None:
    assert judge(deviation, 0.5, 4.0) == word
    assert judge(-deviation, 0.5, 4.0) == word


@pytest.mark.parametrize(
    ("value", "word"),
    [(2.9, "beyond"), (3.0, "not-judged"), (4.9, "not-judged"), (5.0, "within"), (99.0, "within")],
)
def test_rule_turned_round_for_a_minimum(value: float, word: str) -> None:
    assert judge_minimum(value, 0.5, 4.0) == word


def test_what_is_not_known_is_not_judged() -> None:
    assert judge(float("nan"), 0.1, 1.0) == "not-judged"
    assert judge(0.1, float("nan"), 1.0) == "not-judged"
    assert judge(float("inf"), 0.0, 1.0) == "beyond"
    assert judge_minimum(float("nan"), 0.1, 1.0) == "not-judged"


def test_worst_of() -> None:
    assert worst_of([]) == "not-judged"
    assert worst_of(["within", "within"]) == "within"
    assert worst_of(["within", "not-judged"]) == "not-judged"
    assert worst_of(["not-judged", "beyond", "within"]) == "beyond"


def test_sigma_is_taken_along_the_vector() -> None:
    covariance = np.diag([0.01**2, 0.002**2])
    assert length_and_sigma(np.array([0.05, 0.0]), covariance) == pytest.approx((0.05, 0.01))
    assert length_and_sigma(np.array([0.0, 0.05]), covariance) == pytest.approx((0.05, 0.002))
    # Slanting at 45 degrees: the root of the mean of the two variances.
    slant = length_and_sigma(np.array([0.05, 0.05]), covariance)
    assert slant == pytest.approx((0.05 * np.sqrt(2), np.sqrt((1e-4 + 4e-6) / 2)))
    # A vector shorter than the larger sigma answers for the larger, whatever way it points.
    assert length_and_sigma(np.array([0.0, 0.001]), covariance) == pytest.approx((0.001, 0.01))
    assert length_and_sigma(np.zeros(2), np.zeros((2, 2))) == (0.0, 0.0)
    assert np.isnan(length_and_sigma(np.array([np.nan, 0.0]), covariance)).all()


def test_a_camera_as_intended_is_kept() -> None:
    verdict = seen(nearest=NearestGround(distance_m=0.0, sigma_m=0.0))
    assert verdict == CameraVerdict(name="front", verdict="keep")


@pytest.mark.parametrize(
    ("off", "words", "turn"),
    [
        ({"tilt": 5.2}, "turn the front camera up 5.2 degrees (+-0.2)", (0, -5.2, 0)),
        ({"tilt": -5.2}, "turn the front camera down 5.2 degrees (+-0.2)", (0, 5.2, 0)),
        ({"pan": -4.1}, "turn the front camera to its left by 4.1 degrees", (4.1, 0, 0)),
        ({"pan": 4.1}, "turn the front camera to its right by 4.1 degrees", (-4.1, 0, 0)),
        (
            {"roll": -3.0},
            "roll the front camera clockwise as seen from behind it by 3.0 degrees",
            (0, 0, 3.0),
        ),
        ({"roll": 3.0}, "anticlockwise as seen from behind it by 3.0 degrees", (0, 0, -3.0)),
    ],
)
def test_corrections(off: dict[str, float], words: str, turn: tuple[float, float, float]) -> None:
    verdict = seen(**off)
    assert verdict.verdict == "re-aim"
    assert codes(verdict.reasons) == [f"{next(iter(off))}-beyond"]
    (action,) = verdict.actions
    assert words in action.text
    assert "gauge" in action.text
    assert "within tolerance (0.0 +- 0.2 degrees)" in action.text
    assert action.turn_deg is not None
    assert list(action.turn_deg.values()) == pytest.approx(turn, abs=1e-9)
    assert action.sigma_deg == pytest.approx({"pan": 0.2, "tilt": 0.2, "roll": 0.2})


def test_doing_what_the_action_says_gives_the_intended_aim() -> None:
    verdict = seen(pan=-6, tilt=8, roll=5)
    turn = verdict.actions[0].turn_deg
    assert turn is not None
    assert (-6 + turn["pan"], 8 + turn["tilt"], 5 + turn["roll"]) == pytest.approx((0, 0, 0))


def test_pan_wraps() -> None:
    assert seen(pan=359.5, sigma=0.5).verdict == "keep"


def test_not_judged_says_what_straddles_and_what_would_narrow_it() -> None:
    verdict = seen(pan=2.8, sigma=0.4)
    assert verdict.verdict == "not-judged"
    (reason,) = verdict.reasons
    assert reason.code == "pan-not-judged"
    assert "2.8 +- 0.8 straddles" in reason.text
    assert "narrow" in reason.text
    assert verdict.actions == ()


def test_a_real_difference_within_tolerance_is_kept_and_said() -> None:
    verdict = seen(tilt=1.5, sigma=0.1)
    assert verdict.verdict == "keep"
    assert codes(verdict.reasons) == ["significant-within"]


def test_a_picture_at_fault_comes_first() -> None:
    fault = PictureVerdict(
        answers={},
        faults=("soft",),
        reasons=(Reason(code="soft", text="soft"),),
        actions=(Action(text="focus it"),),
        word="re-shoot",
    )
    soft = seen(picture=fault, tilt=9)
    assert soft.verdict == "re-shoot"
    assert codes(soft.reasons) == ["soft"]
    assert soft.actions
    unsure = PictureVerdict(
        answers={}, reasons=(Reason(code="soft-not-judged", text="straddles"),), word="not-judged"
    )
    assert seen(picture=unsure).verdict == "not-judged"
    assert seen(picture=unsure, tilt=9).verdict == "re-aim"


def test_a_soft_picture_without_marks_is_told_to_be_soft() -> None:
    fault = PictureVerdict(
        answers={}, faults=("soft",), reasons=(Reason(code="soft", text="soft"),), word="re-shoot"
    )
    none = NoFit(code="no-marks", text="no marks were found")
    assert codes(unidentified_camera("front", none, fault).reasons) == ["soft", "no-marks"]
    assert unidentified_camera("front", none, fault).verdict == "re-shoot"
    mirrored = NoFit(code="mirrored", text="it is mirrored")
    assert codes(unidentified_camera("front", mirrored, fault).reasons) == ["mirrored"]


def test_overlap_blames_the_camera_that_looks_away() -> None:
    narrow = Overlap(neighbour="left", width_m=0.2, sigma_m=0.02)
    both_right = seen(overlaps=(narrow,))
    assert both_right.verdict == "re-aim"
    assert codes(both_right.reasons) == ["overlap-below"]
    assert "0.30 m more" in both_right.actions[0].text
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
    turn = far.actions[0].turn_deg
    assert turn is not None
    # atan(1 / 2.45) - atan(0.5 / 2.45)
    assert turn["tilt"] == pytest.approx(10.67, abs=0.01)
    none = seen(nearest=NearestGround(distance_m=float("inf"), sigma_m=0.0))
    assert none.verdict == "re-aim"
    assert "no ground" in none.reasons[0].text
    unsure = seen(nearest=NearestGround(distance_m=0.5, sigma_m=0.02))
    assert codes(unsure.reasons) == ["nearest-ground-not-judged"]


def test_pictures_without_an_identity() -> None:
    dark = unidentified_camera("rear", NoFit(code="dark", text="the picture is dark"))
    assert dark.verdict == "re-shoot"
    assert "take the rear camera's picture again" in dark.actions[0].text
    assert "check instead" not in dark.actions[0].text
    none = unidentified_camera("rear", NoFit(code="no-marks", text="no marks were found"))
    assert "check instead what the job states of this camera" in none.actions[0].text
    unsure = unidentified_camera("rear", NoFit(code="ambiguous", text="two answers fit"))
    assert (unsure.verdict, unsure.actions) == ("not-judged", ())
    assert codes(unsure.reasons) == ["ambiguous"]


RIGHT = Strip(
    name="right",
    from_m=np.array([-5.0, -1.45]),
    to_m=np.array([5.0, -1.45]),
    at_m=np.linspace(0, 10, 11),
    shape=Cross(arm_along_m=0.18, arm_across_m=0.06, line_m=0.03),
    tape_width_m=0.15,
    position_sigma_m=0.01,
)


def laid(
    first: tuple[float, float],
    last: tuple[float, float],
    *,
    sigma: float = 0.006,
    strays: dict[int, Array] | None = None,
    strip: Strip = RIGHT,
    has_been_seen: bool = True,
    lengths: LengthWords = METRIC,
) -> LayingVerdict:
    """Verdict on a strip whose ends lie off their plan by `first` and `last` (x, y) in m."""
    ends = np.array([first, last])
    shares = (strip.at_m / strip.length_m)[:, None]
    shifts = (1 - shares) * ends[0] + shares * ends[1]
    for index, stray in (strays or {}).items():
        shifts[index] = shifts[index] + stray
    square = np.array([-strip.along[1], strip.along[0]])
    count = len(strip.at_m)
    adjusted = AdjustedStrip(
        name=strip.name,
        ends_m=np.array([strip.from_m, strip.to_m]) + ends,
        # Both ends move together: the middle is then no better known than either.
        covariance_m2=np.tile(np.eye(2) * sigma**2, (2, 2)),
        shift_m=ends.mean(axis=0),
        shift_sigma_m=np.full(2, sigma),
        turn_rad=float(square @ (ends[1] - ends[0]) / strip.length_m),
        turn_sigma_rad=0.0003,
        mark_ids=tuple(f"{strip.name}/{i}" for i in range(count)) if has_been_seen else (),
        mark_shift_m=shifts,
        mark_shift_covariance_m2=np.tile(np.eye(2) * sigma**2, (count, 1, 1)),
        seen=has_been_seen,
    )
    return strip_verdict(strip, adjusted, TOLERANCES, lengths)


def test_a_strip_too_far_out() -> None:
    verdict = laid((0, -0.05), (0, -0.05))
    assert verdict.verdict == "re-measure"
    assert codes(verdict.reasons) == ["shift-beyond"]
    (action,) = verdict.actions
    assert action.text == (
        "the right strip lies 5.0 cm (+-0.6) too far out: move it 5.0 cm in;"
        " then it lies within tolerance (0.0 +- 0.6 cm)"
    )
    assert action.move_m == pytest.approx((0, 0.05))
    assert action.move_sigma_m == pytest.approx((0.006, 0.006))


def test_a_strip_too_far_in_and_forward() -> None:
    (action,) = laid((0.06, 0.05), (0.06, 0.05)).actions
    assert "6.0 cm (+-0.6) too far forward and 5.0 cm (+-0.6) too far in" in action.text
    assert "move it 6.0 cm back and 5.0 cm out" in action.text


def test_a_turned_strip_names_the_end_to_move() -> None:
    (action,) = laid((0, 0), (0, -0.06)).actions
    assert action.text.startswith(
        "the front end of the right strip lies 6.0 cm (+-0.6) too far out"
    )
    both = laid((0, 0.05), (0, -0.05)).actions
    assert [one.text.split(" of ")[0] for one in both] == ["the rear end", "the front end"]
    assert "5.0 cm out" in both[0].text
    assert "5.0 cm in" in both[1].text


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
    assert "too far out" in action.text
    (action,) = laid((0, 0.05), (0, 0.05), strip=ahead).actions
    assert "too far to the left" in action.text
    (action,) = laid((0, 0), (0.06, 0), strip=ahead).actions
    assert "the right end" in action.text
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
    assert "too far to the right: move it 5.0 cm to the left" in action.text


def test_one_stray_mark_is_named_and_the_strip_left() -> None:
    verdict = laid((0, 0), (0, 0), strays={3: np.array([0.08, 0.0])})
    assert verdict.verdict == "re-measure"
    (action,) = verdict.actions
    assert action.text.startswith("lay mark right/3 again: it lies 8.0 cm (+-0.6) too far forward")


def test_strips_kept_said_not_judged_and_not_seen() -> None:
    assert laid((0, 0.002), (0, 0.002)) == LayingVerdict(name="right", verdict="keep")
    said = laid((0, 0.015), (0, 0.015), sigma=0.003)
    assert (said.verdict, codes(said.reasons)) == ("keep", ["significant-within"])
    unsure = laid((0, 0.03), (0, 0.03))
    assert (unsure.verdict, codes(unsure.reasons)) == ("not-judged", ["shift-not-judged"])
    assert "narrow" in unsure.reasons[0].text
    unseen = laid((0, 0), (0, 0), has_been_seen=False)
    assert (unseen.verdict, codes(unseen.reasons)) == ("not-judged", ["not-seen"])


def raised(
    shift: tuple[float, float, float],
    *,
    found: bool = True,
    box: bool = False,
    lengths: LengthWords = METRIC,
) -> LayingVerdict:
    mark = SingleMark(
        name="front_trestle",
        at_m=np.array([6.0, 0.9, 0.75]),
        shape=BoxCorner() if box else Quadrant(radius_m=0.06),
        position_sigma_m=0.01,
    )
    adjusted = AdjustedMark(
        name=mark.name, shift_m=np.array(shift), covariance_m2=np.eye(3) * 0.005**2, seen=found
    )
    return mark_verdict(mark, adjusted, TOLERANCES, lengths)


def test_raised_marks() -> None:
    off = raised((0.0, -0.04, 0.05))
    assert off.verdict == "re-measure"
    assert (
        "4.0 cm (+-0.5) too far to the right and 5.0 cm (+-0.5) too far up" in off.actions[0].text
    )
    assert off.actions[0].move_m == pytest.approx((0, 0.04, -0.05))
    assert raised((0, 0, 0)).verdict == "keep"
    assert codes(raised((0, 0, 0), found=False).reasons) == ["not-seen"]


def gap(lengths: list[float], *, mark: float | None = None, sigma: float = 0.004) -> SeamGap:
    """A seam with gaps of these lengths along x; NaN is not covered."""
    count = len(lengths)
    gaps = np.column_stack([lengths, np.where(np.isfinite(lengths), 0.0, np.nan)])
    marks = np.zeros((0, 2)) if mark is None else np.array([[0.0, mark]])
    return SeamGap(
        between=("front", "left"),
        start_m=np.array([4.4, 1.4]),
        end_m=np.array([6.0, 2.9]),
        shared_marks=len(marks),
        points_m=np.tile([5.0, 2.0], (count, 1)),
        gaps_m=gaps,
        covariances_m2=np.tile(np.eye(2) * sigma**2, (count, 1, 1)),
        mark_ids=("left/9",) * len(marks),
        mark_gaps_m=marks,
        mark_covariances_m2=np.tile(np.eye(2) * sigma**2, (len(marks), 1, 1)),
        worst_gap_m=None,
        worst_gap_sigma_m=None,
        rms_gap_m=None,
        uncovered_m=0.05 * float(np.isnan(lengths).sum()),
        overlap_m=None,
        overlap_sigma_m=None,
    )


@pytest.mark.parametrize(
    ("measured", "word", "code"),
    [
        (gap([0.0, 0.005]), "within", []),
        (gap([0.0, 0.03]), "within", ["significant-within"]),
        (gap([0.0, 0.05]), "not-judged", ["gap-not-judged"]),
        (gap([0.05, 0.07]), "beyond", ["gap-beyond"]),
        (gap([0.0, 0.0], mark=0.07), "beyond", ["gap-beyond"]),
        (gap([0.0, np.nan]), "not-judged", ["uncovered"]),
        (gap([np.nan, np.nan]), "not-judged", ["uncovered"]),
        (gap([0.07, np.nan]), "beyond", ["gap-beyond", "uncovered"]),
    ],
)
def test_seams(measured: SeamGap, word: str, code: list[str]) -> None:
    verdict = seam_verdict(("front", "left"), measured, TOLERANCES)
    assert (verdict.verdict, codes(verdict.reasons)) == (word, code)


def test_seam_beside_an_unidentified_camera() -> None:
    verdict = seam_verdict(("front", "left"), None, TOLERANCES, missing=("left",))
    assert (verdict.verdict, codes(verdict.reasons)) == ("not-judged", ["neighbour-not-identified"])
    assert "left" in verdict.reasons[0].text


FEET = LengthWords(imperial=True)


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        (
            laid((0, -0.0508), (0, -0.0508), lengths=FEET),
            "the right strip lies 2 in +-1/4 in (5.1 cm +-0.6) too far out: move it 2 in (5.1 cm)"
            " in; then it lies within tolerance (0 in +- 1/4 in, 0.0 +- 0.6 cm)",
        ),
        (
            laid((0, -0.03), (0, -0.03), lengths=FEET),
            "1 3/16 in +- 1/2 in (3.0 +- 1.2 cm) straddles the 1 3/16 in (3.0 cm) allowed",
        ),
        (
            laid((0, 0.0), (0.0, 0.09), lengths=FEET),
            "the front end of the right strip lies 3 9/16 in",
        ),
        (laid((0, 0), (0, 0), strays={4: np.array([0.0, 0.05])}, lengths=FEET), "lay mark right/4"),
        (laid((0, 0.025), (0, 0.025), sigma=0.001, lengths=FEET), "1 in +-1/16 in (2.5 cm +-0.1)"),
        (raised((0.0, -0.04, 0.05), lengths=FEET), "1 15/16 in +-1/4 in (5.0 cm +-0.5) too far up"),
        (
            seam_verdict(("front", "left"), gap([0.07, np.nan]), TOLERANCES, lengths=FEET),
            "in (7.0 cm +-0.4) apart at x 16 ft 5 in, y 6 ft 6 1/2 in (5.00, 2.00 m)",
        ),
        (seam_verdict(("front", "left"), gap([0.05]), TOLERANCES, lengths=FEET), "+- 3/8 in (5.0"),
        (
            seen(overlaps=(Overlap(neighbour="left", width_m=0.3, sigma_m=0.02),), lengths=FEET),
            "overlap by 1 ft +-1 in (0.30 m +-0.02), below the 1 ft 7 11/16 in (0.50 m) wanted",
        ),
        (
            seen(overlaps=(Overlap(neighbour="left", width_m=0.5, sigma_m=0.02),), lengths=FEET),
            "straddles the 1 ft 7 11/16 in (0.50 m) wanted",
        ),
        (
            seen(nearest=NearestGround(distance_m=1.0, sigma_m=0.02), lengths=FEET),
            "to see ground from 1 ft 7 11/16 in (50.0 cm) out",
        ),
        (
            seen(nearest=NearestGround(distance_m=0.5, sigma_m=0.02), lengths=FEET),
            "the first ground seen is 1 ft 7 1/2 in +-1 in (0.50 m +-0.02) out",
        ),
        (
            seen(nearest=NearestGround(distance_m=float("inf"), sigma_m=0.0), lengths=FEET),
            "1 ft 7 11/16 in (0.50 m) allowed",
        ),
    ],
)
def test_a_tape_in_inches(verdict: CameraVerdict | LayingVerdict | SeamVerdict, said: str) -> None:
    texts = [reason.text for reason in verdict.reasons]
    texts += [action.text for action in getattr(verdict, "actions", ())]
    assert any(said in text for text in texts), texts
    assert [metric_alone(text) for text in texts] == [[]] * len(texts)


GOOD = CameraVerdict(name="left", verdict="keep")
LIES = LayingVerdict(name="left", verdict="keep")


def seam(word: str) -> SeamVerdict:
    return SeamVerdict(between=("front", "left"), verdict=word)  # type: ignore[arg-type]


def test_job_does_first_things_first() -> None:
    dark = unidentified_camera("rear", NoFit(code="dark", text="the picture is dark"))
    turned, crooked = seen(tilt=9), laid((0, -0.05), (0, -0.05))
    within = (seam("within"),)
    whole = job_verdict((turned, dark, GOOD), (crooked,), (), within)
    assert whole.verdict == "re-shoot"
    starts = [action.text.split()[0] for action in whole.actions]
    assert starts == ["take", "the", "turn"]
    assert codes(whole.reasons) == ["re-shoot", "re-measure", "re-aim"]
    assert job_verdict((turned, GOOD), (crooked,), (), within).verdict == "re-measure"
    assert job_verdict((turned, GOOD), (LIES,), (), (seam("beyond"),)).verdict == "re-aim"
    kept = job_verdict((GOOD,), (LIES,), (), within)
    assert (kept.verdict, kept.reasons, kept.actions) == ("keep", (), ())


def test_job_that_cannot_be_judged() -> None:
    unknown = job_verdict((GOOD,), (LIES,), (), (seam("beyond"),))
    assert (unknown.verdict, codes(unknown.reasons)) == ("not-judged", ["cause-unknown"])
    unsure = job_verdict((GOOD,), (LIES,), (), (seam("not-judged"),))
    assert (unsure.verdict, codes(unsure.reasons)) == ("not-judged", ["seam-not-judged"])
    assert job_verdict((seen(pan=2.8, sigma=0.4),), (LIES,), (), ()).verdict == "not-judged"
    assert job_verdict((), (), (), ()).verdict == "not-judged"


def test_an_unfound_carton_does_not_hold_up_the_job_but_an_unseen_trestle_does() -> None:
    carton = raised((0, 0, 0), found=False, box=True)
    assert carton.verdict == "not-judged"
    assert job_verdict((GOOD,), (LIES,), (carton,), ()).verdict == "keep"
    trestle = raised((0, 0, 0), found=False)
    assert job_verdict((GOOD,), (LIES,), (trestle,), ()).verdict == "not-judged"


def test_a_carton_that_is_not_sure_tells_no_less_than_one_that_is_not_found() -> None:
    carton = raised((0.025, 0, 0), box=True)
    assert (carton.verdict, codes(carton.reasons)) == ("not-judged", ["box-corner-not-judged"])
    assert job_verdict((GOOD,), (LIES,), (carton,), ()).verdict == "keep"
    trestle = raised((0.025, 0, 0))
    assert job_verdict((GOOD,), (LIES,), (trestle,), ()).verdict == "not-judged"
    assert job_verdict((GOOD,), (LIES,), (raised((0.06, 0, 0), box=True),), ()).verdict == (
        "re-measure"
    )


def test_exit_codes() -> None:
    # DESIGN 8: 0 all keep, 3 something to do, 4 not judged.
    assert exit_code("keep") == 0
    assert {exit_code("re-aim"), exit_code("re-shoot"), exit_code("re-measure")} == {3}
    assert exit_code("not-judged") == 4


def test_pan_and_roll_of_a_camera_that_looks_straight_down_are_one_angle() -> None:
    found = seen(pan=40, tilt=44, roll=-40)
    assert codes(found.reasons) == ["pan-not-judged", "tilt-beyond", "roll-not-judged"]
    assert "one angle" in found.reasons[0].text
    (action,) = found.actions
    assert action.turn_rad is not None
    assert action.sigma_rad is not None
    assert np.isfinite(action.sigma_rad).all()
    assert action.turn_rad[0] == action.turn_rad[2] == 0.0

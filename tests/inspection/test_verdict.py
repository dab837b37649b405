"""The decision rule, seams and whole jobs, from figures made by hand.

Proves: the decision rule at its borders, along the right direction of a covariance; words for a
tape in inches; the order of a job's verdicts. Does not prove any measurement.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.judging import TOLERANCES, codes, gap, laid, raised, seen, text
from tests.tape import metric_alone
from vision.inspection.verdict.cameras import CameraVerdict, Overlap, unidentified_camera
from vision.inspection.verdict.jobs import job_verdict
from vision.inspection.verdict.layings import LayingVerdict
from vision.inspection.verdict.rule import (
    Judgement,
    judge,
    judge_minimum,
    length_and_sigma,
    worst_of,
)
from vision.inspection.verdict.seams import SeamVerdict, seam_verdict
from vision.units.length_words import LengthWords
from vision.units.reason import Reason
from vision.views.seams.coverage import NearestGround
from vision.views.seams.gaps import SeamGap

FEET = LengthWords(imperial=True)
GOOD = CameraVerdict(name="left", verdict="keep")
LIES = LayingVerdict(name="left", verdict="keep")


def seam(word: Judgement) -> SeamVerdict:
    return SeamVerdict(between=("front", "left"), verdict=word)


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
    assert verdict.reasons[0].arguments["cameras"] == ("left",)


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        (
            laid((0, -0.0508), (0, -0.0508)),
            "move the right strip 2 in +-1/4 in (5.1 cm +-0.6) towards the vehicle; then it lies"
            " within tolerance",
        ),
        (
            laid((0, -0.03), (0, -0.03)),
            "1 3/16 in +-1/4 in (3.0 cm +-0.6) from its planned place: too uncertain to pass or"
            " fail, 1 3/16 in (3.0 cm) allowed",
        ),
        (
            laid((0, 0.0), (0.0, 0.09)),
            "move the front end of the right strip 3 9/16 in",
        ),
        (laid((0, 0), (0, 0), displaced={4: np.array([0.0, 0.05])}), "lay mark right/4"),
        (laid((0, 0.025), (0, 0.025), sigma=0.001), "1 in +-1/16 in (2.5 cm +-0.1)"),
        (raised((0.0, -0.04, 0.05)), "1 15/16 in +-1/4 in (5.0 cm +-0.5) too far up"),
        (
            seam_verdict(("front", "left"), gap([0.07, np.nan]), TOLERANCES),
            "in (7.0 cm +-0.4) apart, at x 16 ft 5 in, y 6 ft 6 1/2 in (5.00, 2.00 m)",
        ),
        (seam_verdict(("front", "left"), gap([0.05]), TOLERANCES), "+-3/16 in (5.0"),
        (
            seen(overlaps=(Overlap(neighbour="left", width_m=0.3, sigma_m=0.02),)),
            "overlap by 1 ft +-1 in (0.30 m +-0.02), below the 1 ft 7 11/16 in (0.50 m) wanted",
        ),
        (
            seen(overlaps=(Overlap(neighbour="left", width_m=0.5, sigma_m=0.02),)),
            "too uncertain to pass or fail, 1 ft 7 11/16 in (0.50 m) wanted",
        ),
        (
            seen(nearest=NearestGround(distance_m=1.0, sigma_m=0.02)),
            "to see ground from 1 ft 7 11/16 in (50.0 cm) out",
        ),
        (
            seen(nearest=NearestGround(distance_m=0.5, sigma_m=0.02)),
            "the first ground seen is 1 ft 7 1/2 in +-1 in (0.50 m +-0.02) out",
        ),
        (
            seen(nearest=NearestGround(distance_m=float("inf"), sigma_m=0.0)),
            "1 ft 7 11/16 in (0.50 m) allowed",
        ),
    ],
)
def test_a_tape_in_inches(verdict: CameraVerdict | LayingVerdict | SeamVerdict, said: str) -> None:
    texts = [text(reason, FEET) for reason in verdict.reasons]
    texts += [text(action, FEET) for action in getattr(verdict, "actions", ())]
    assert any(said in each for each in texts), texts
    assert [metric_alone(each) for each in texts] == [[]] * len(texts)


def test_job_does_first_things_first() -> None:
    dark = unidentified_camera("rear", Reason("dark", level=9.0))
    turned, crooked = seen(tilt=9), laid((0, -0.05), (0, -0.05))
    within = (seam("within"),)
    whole = job_verdict((turned, dark, GOOD), (crooked,), (), within)
    assert whole.verdict == "re-shoot"
    assert codes(action.what for action in whole.actions) == ["take-again", "move-strip", "turn"]
    assert job_verdict((turned, GOOD), (crooked,), (), within).verdict == "re-measure"
    assert job_verdict((turned, GOOD), (LIES,), (), (seam("beyond"),)).verdict == "re-aim"
    kept = job_verdict((GOOD,), (LIES,), (), within)
    assert (kept.verdict, kept.actions) == ("keep", ())


def test_job_that_cannot_be_judged() -> None:
    unknown = job_verdict((GOOD,), (LIES,), (), (seam("beyond"),))
    assert unknown.verdict == "not-judged"
    unsure = job_verdict((GOOD,), (LIES,), (), (seam("not-judged"),))
    assert unsure.verdict == "not-judged"
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

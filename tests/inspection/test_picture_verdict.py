"""Verdicts on pictures, from figures made by hand.

Proves: each fault is told from each other, by the one decision rule and scaled to the picture's
width; what cannot be told is said; the marks overrule edges that are soft by themselves. Does not
prove any measurement: that is `test_sharpness.py`.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.judging import text
from vision.inspection.verdict.pictures import judge_picture
from vision.job.job import Tolerances
from vision.job.mark_id import MarkId
from vision.units.reason import Reason
from vision.views.sharpness.blur import SIDES, Blur, MarksBlur, Motion, Sharpness, SoftPatch
from vision.views.sharpness.light import Light

TOLERANCES = Tolerances()
BRIGHT = Light(level=180.0, span=120.0, noise=2.0)


def blur(px: float, sigma: float = 0.1) -> Blur:
    return Blur(blur_px=px, sigma_px=sigma)


def sharpness(**changes: object) -> Sharpness:
    """A picture in focus and still, with changes."""
    sharp = Sharpness(
        width=1280,
        light=BRIGHT,
        edges=300,
        blur=blur(0.65),
        least=blur(0.6),
        most=blur(0.7),
        sides=dict.fromkeys(SIDES, blur(0.6)),
        motion=Motion(length_px=0.8, sigma_px=0.4, direction_rad=0.0, direction_sigma_rad=1.0),
        marks=MarksBlur(median=blur(0.7, 0.02), sides=dict.fromkeys(SIDES, 0.7)),
        patches=(),
    )
    return dataclasses.replace(sharp, **changes)


def faults(sharp: Sharpness, identified: bool = True) -> tuple[str, ...]:
    return judge_picture("front", sharp, TOLERANCES, identified=identified).faults


def test_a_sharp_picture_has_no_fault() -> None:
    verdict = judge_picture("front", sharpness(), TOLERANCES, identified=True)
    assert set(verdict.answers.values()) == {"no"}
    assert verdict.word is None
    assert verdict.reasons == verdict.actions == ()


def test_soft_is_judged_on_the_marks_and_scales_with_the_width() -> None:
    def at(px: float, sigma: float = 0.02, width: int = 1280) -> Sharpness:
        return sharpness(
            width=width, marks=MarksBlur(median=blur(px, sigma), sides=dict.fromkeys(SIDES))
        )

    assert faults(at(2.1)) == ("soft",)
    assert faults(at(2.1, width=1920)) == ()
    unsure = judge_picture("front", at(2.1, 0.1), TOLERANCES, identified=True)
    assert unsure.word == "not-judged"
    assert [reason.code for reason in unsure.reasons] == ["soft-not-judged"]
    assert unsure.answers["soft"] == "cannot-tell"


def test_marks_overrule_edges_that_are_soft_by_themselves() -> None:
    soft_edges = {"blur": blur(3.05), "least": blur(3.0), "most": blur(3.1)}
    assert faults(sharpness(**soft_edges)) == ()
    assert faults(sharpness(marks=None, **soft_edges), identified=False) == ("soft",)


def test_one_side_soft_names_the_side() -> None:
    sides = {"left": blur(0.6), "right": blur(2.6), "upper": blur(1.4), "lower": blur(1.5)}
    marks = MarksBlur(median=blur(1.4), sides={"left": 0.8, "right": 2.2, "upper": 1, "lower": 1})
    verdict = judge_picture(
        "rear", sharpness(sides=sides, marks=marks), TOLERANCES, identified=True
    )
    assert verdict.faults == ("soft-side",)
    assert verdict.side == "right"
    (reason,) = verdict.reasons
    assert (reason.code, reason.arguments["side"], reason.arguments["other"]) == (
        "soft-side",
        "right",
        "left",
    )
    assert [each.what for each in verdict.actions] == [
        Reason("mend-picture", camera="rear", why=reason)
    ]
    even = MarksBlur(median=blur(0.8), sides=dict.fromkeys(SIDES, 0.8))
    assert faults(sharpness(sides=sides, marks=even)) == ()
    wide = dict(sides, right=blur(2.6, 0.5))
    unsure = judge_picture("rear", sharpness(sides=wide), TOLERANCES, identified=True)
    assert unsure.answers["soft-side"] == "no"
    without = sharpness(sides=wide, marks=None)
    assert (
        judge_picture("rear", without, TOLERANCES, identified=False).answers["soft-side"]
        == "cannot-tell"
    )


def moved(length: float, sigma: float, least: float, most: float, **more: object) -> Sharpness:
    motion = Motion(
        length_px=length, sigma_px=sigma, direction_rad=np.radians(-30), direction_sigma_rad=0.05
    )
    return sharpness(motion=motion, least=blur(least), most=blur(most), **more)


def test_motion_is_told_from_a_soft_lens() -> None:
    marks = MarksBlur(median=blur(2.2, 0.05), sides=dict.fromkeys(SIDES, 2.2))
    verdict = judge_picture(
        "left", moved(9, 0.4, 0.8, 2.7, marks=marks), TOLERANCES, identified=True
    )
    assert verdict.faults == ("motion",)
    (reason,) = verdict.reasons
    # Rightwards, and up: v counts down.
    assert np.degrees(reason.arguments["direction_rad"]) == pytest.approx(-30)
    assert "30 degrees up to the right" in text(reason)
    soft = moved(5, 2, 2.9, 3.2, marks=MarksBlur(median=blur(3.0), sides=dict.fromkeys(SIDES)))
    assert faults(soft) == ("soft",)
    both = moved(14, 0.5, 2.9, 5.0, marks=MarksBlur(median=blur(4.0), sides=dict.fromkeys(SIDES)))
    assert faults(both) == ("soft", "motion")


def test_motion_within_the_tolerance_is_seen_and_allowed() -> None:
    verdict = judge_picture("left", moved(4, 0.2, 0.7, 1.4), TOLERANCES, identified=True)
    assert verdict.answers["motion"] == "yes"
    assert verdict.word is None
    unsure = judge_picture("left", moved(3, 0.5, 0.7, 1.2), TOLERANCES, identified=True)
    assert unsure.answers["motion"] == "cannot-tell"


@pytest.mark.parametrize(("noise", "answer"), [(2.0, "no"), (12.0, "cannot-tell"), (30.0, "yes")])
def test_low_light_counts_where_no_marks_are_named(noise: float, answer: str) -> None:
    dark = sharpness(light=Light(level=150.0, span=120.0, noise=noise))
    named = judge_picture("front", dark, TOLERANCES, identified=True)
    assert named.answers["low-light"] == answer
    assert named.word is None
    assert [reason.code for reason in named.reasons] == ["low-light"] * (answer == "yes")
    unnamed = judge_picture("front", dark, TOLERANCES, identified=False)
    assert unnamed.faults == (("low-light",) if answer == "yes" else ())


def test_drops_are_named_with_their_marks() -> None:
    patch = SoftPatch(
        pixel_px=np.array([400.0, 500.0]),
        radius_px=30,
        blur_px=4,
        sigma_px=0.5,
        marks=(MarkId("left", 3),),
    )
    verdict = judge_picture("front", sharpness(patches=(patch,)), TOLERANCES, identified=True)
    assert verdict.faults == ("drops",)
    (reason,) = verdict.reasons
    assert [each.arguments["marks"] for each in reason.arguments["patches"]] == [patch.marks]
    assert [each.what.code for each in verdict.actions] == ["mend-picture"]
    faint = dataclasses.replace(patch, blur_px=2.2)
    assert faults(sharpness(patches=(faint,))) == ()


def test_with_too_few_edges_nothing_is_told_but_the_light() -> None:
    bare = Sharpness(width=1280, light=BRIGHT, edges=3)
    answers = judge_picture("front", bare, TOLERANCES, identified=False).answers
    assert answers["low-light"] == "no"
    assert {answer for fault, answer in answers.items() if fault != "low-light"} == {"cannot-tell"}

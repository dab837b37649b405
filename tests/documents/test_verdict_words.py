"""Reasons as verdicts make them have every figure that their words take, in metres and in inches.

Does not prove which reason is made when.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.inspection.test_picture_verdict import blur, moved, sharpness
from tests.judging import raised, seen
from vision.documents.check_words.words import say_check
from vision.inspection.verdict.cameras import Overlap, unidentified_camera
from vision.inspection.verdict.pictures import judge_picture
from vision.job.job import Tolerances
from vision.job.mark_id import MarkId
from vision.units.length_words import LengthWords
from vision.units.reason import Reason
from vision.views.sharpness.blur import SIDES, MarksBlur, Sharpness, SoftPatch
from vision.views.sharpness.light import Light

MARKS = MarksBlur(median=blur(3.0), sides=dict.fromkeys(SIDES))
PATCH = SoftPatch(
    pixel_px=np.array([4.0, 5.0]), radius_px=9, blur_px=4, sigma_px=0.5, marks=(MarkId("left", 3),)
)
ONE_SIDE = {"left": blur(0.6), "right": blur(2.6), "upper": blur(1.4), "lower": blur(1.5)}
PICTURES = {
    "soft": sharpness(marks=MARKS),
    "soft-not-judged": sharpness(marks=replace(MARKS, median=blur(2.0, 0.1))),
    "soft-side": sharpness(sides=ONE_SIDE, marks=None),
    "motion": moved(9, 0.4, 0.8, 2.7),
    "low-light": sharpness(light=Light(level=150.0, span=120.0, noise=30.0)),
    "drops": sharpness(patches=(PATCH,)),
}
SAY = (say_check(), say_check(LengthWords(imperial=True)))


@pytest.mark.parametrize("code", PICTURES)
def test_faults_of_pictures(code: str) -> None:
    picture: Sharpness = PICTURES[code]
    verdict = judge_picture("front", picture, Tolerances(), identified=False)
    assert code in {reason.code for reason in verdict.reasons}
    for say in SAY:
        assert all(map(say, verdict.reasons))
        assert all(say(action.what) for action in verdict.actions)


def test_cameras_and_marks() -> None:
    narrow = Overlap(neighbour="left", width_m=0.2, sigma_m=0.02)
    parts = [
        *(seen(**{name: off}) for name in ("pan", "tilt", "roll") for off in (9, 2.8, -2.0)),
        seen(pan=40, tilt=44, roll=-40),
        seen(overlaps=(narrow, replace(narrow, neighbour_is_off=True))),
        raised((0.025, 0, 0), box=True),
        raised((0.0, -0.04, 0.05)),
        unidentified_camera("rear", Reason("no-marks")),
    ]
    for say in SAY:
        for part in parts:
            assert all(map(say, part.reasons))
            assert all(say(action.what) for action in part.actions)


def test_reasons_of_reasons() -> None:
    lies = Reason("stray-mark", mark=MarkId("left", 3), cameras=("front",), parts=(("left", 0.05),))
    fit = Reason("no-camera", needed=3)
    ties = Reason(
        "further-reading", kind="tilt", between=("front",), cameras=("front",), again=True
    )
    for say in SAY:
        assert say(Reason("lay-displaced-again", why=lies)).startswith("lay mark left/3 again: it")
        assert say(Reason("no-joint-adjustment", why=fit)).endswith(say(fit))
        assert say(Reason("nothing-read", why=Reason("no-reading"))).startswith("no length")
        assert say(Reason("no-texture", why=Reason("ambiguous"))).startswith("the ground's texture")
        assert say(ties) == "Read the tilt of the front camera with a gauge again"

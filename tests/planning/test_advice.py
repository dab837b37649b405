"""Proves that what a plan advises helps, that what it hopes for is said, and every code has words.

Does not prove that no better advice exists.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.paths import ROOT, SAMPLES
from tests.planning.jobs import aimed
from vision.camera.geometry import Aim
from vision.documents.check_words.saying import codes_of, words_of
from vision.documents.plan_data import plan_of, validate
from vision.documents.plan_text import OPEN_UNTIL, summary
from vision.documents.plan_words import say_plan
from vision.job.job import Bracket, Job
from vision.job.job_file import job_from_text
from vision.planning.assess import aim_choices, best_additions, hopes
from vision.planning.assessment import Assessment
from vision.planning.prediction import predict


def test_additions_ease_the_worst_limit_and_come_best_first(small):
    found = predict(small)
    advice = best_additions(found)
    assert len(advice) == 3
    assert len({each.kind for each in advice}) == len(advice)
    assert all(each.worst_after < each.worst_before == found.worst for each in advice)
    after = [each.worst_after for each in advice]
    assert after == sorted(after)
    whole = Assessment(prediction=found, advice=advice, aims=())
    assert [say_plan(small.lengths)(each.addition) in summary(whole) for each in advice] == [
        True
    ] * 3
    idle = replace(advice[0], after=advice[0].limit.sigma, worst_after=advice[0].worst_before)
    (gained,) = plan_of(replace(whole, advice=(idle,)))["advice"]
    assert gained["worst_after"] == gained["worst_before"]
    plan = plan_of(whole)
    validate(plan)
    assert [each["kind"] for each in plan["advice"]] == [each.kind for each in advice]


def test_the_best_aim_is_no_worse_and_45_degrees_are_told(small):
    bracket = Bracket(tilt_rad=(np.radians(35), np.radians(55)))
    first = replace(small.cameras[0], bracket=bracket, aim=Aim.from_degrees(0, 50, 0))
    found = predict(replace(small, cameras=(first, *small.cameras[1:])))
    (choice,) = aim_choices(found)
    whole = Assessment(prediction=found, advice=(), aims=(choice,))
    validate(plan_of(whole))
    assert choice.adjustable == ("tilt",)
    assert (len(choice.best.problems), choice.best.worst) <= (
        len(choice.intended.problems),
        choice.intended.worst,
    )
    assert np.radians(35) - 1e-9 <= choice.best.tilt_rad <= np.radians(55) + 1e-9
    assert choice.at_45.tilt_rad == pytest.approx(np.radians(45))


def test_every_code_of_a_plan_has_words():
    rooms = ROOT / "vision" / "planning"
    source = "\n".join(
        (rooms / f"{name}.py").read_text(encoding="utf-8")
        for name in ("limits", "proposal", "assess", "remedies")
    )
    made = set(re.findall(r'(?:Reason|_problem)\(\s*"([a-z-]+)"', source))
    made |= set(re.findall(r'yield "(raised-[a-z-]+)"', source))
    assert made == set(codes_of(words_of("plan_words.toml")))


@pytest.fixture(scope="module")
def shadow() -> Job:
    """A sample whose far strips are small in the side cameras' pictures."""
    return job_from_text((SAMPLES / "long_shadow" / "job.toml").read_bytes(), "job.toml")


def test_a_layout_that_a_first_picture_decides_says_so(shadow):
    """The check used 6 of the 8 small marks of this set's pictures, and decided."""
    plan = predict(shadow)
    assert plan.word == "cannot-decide"
    by_marks, by_board = hopes(plan)
    assert (by_marks.given, by_marks.verdict) == (("small-marks-found",), "decides")
    assert set(by_marks.small_marks) == {
        *("left front/5", "left front/6", "left rear/5", "left rear/6"),
        *("right front/0", "right front/1", "right rear/0", "right rear/1"),
    }
    assert (by_board.given, by_board.verdict) == (("lenses-fitted",), "cannot-decide")
    assert by_marks.worst < 1 < by_board.worst < plan.worst
    said = summary(Assessment(prediction=plan, advice=(), aims=(), hopes=(by_marks, by_board)))
    assert OPEN_UNTIL[by_marks.given] in said


def test_marks_printed_as_much_larger_are_counted_on(shadow):
    (by_marks, _) = hopes(predict(shadow))

    def larger(strip):
        size, times = strip.shape, by_marks.larger
        arms = {"arm_along_m": times * size.arm_along_m, "arm_across_m": times * size.arm_across_m}
        return replace(strip, shape=replace(size, line_m=times * size.line_m, **arms))

    strips = tuple(larger(s) if s.name in ("front", "rear") else s for s in shadow.strips)
    assert predict(replace(shadow, strips=strips)).word == "decides"


def test_what_decides_has_nothing_to_hope_for(job, prediction):
    assert hopes(prediction) == ()
    assert hopes(predict(aimed(job, tilt_rad=np.radians(10.0)))) == ()

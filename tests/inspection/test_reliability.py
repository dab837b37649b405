"""How each stated thing stands: wrong, one of several, sound, or it cannot be told.

Proves, on simulated jobs without pictures, that what was freed is called wrong; that a thing is
sound only where a usual slip of it is refuted, more readings making more things sound; that a
strip's slip follows the job's tolerance; and the sentences. How often that is right over simulated
lots and jobs, `python -m tests.accuracy.laying` and `python -m tests.accuracy.network` print.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.accuracy.laying import draw, lot
from vision.adjustment.adjusted import Adjustment
from vision.adjustment.groups import Group
from vision.adjustment.search import adjust_readings
from vision.documents.check_words.reliability import amount_text, open_words
from vision.documents.check_words.words import say_check
from vision.inspection.verdict.reliability import Reliability, doubts, reliabilities
from vision.job.job import Job
from vision.job.layout import planned_layout
from vision.units.length_words import METRIC


def stood(job: Job) -> tuple[Reliability, ...]:
    found = adjust_readings(job, planned_layout(job))
    assert isinstance(found, Adjustment)
    return reliabilities(job, found)


def drawn(job: Job, wrong: int | None = None) -> Job:
    return draw(job, np.random.default_rng(8), {}, wrong)


def test_what_was_freed_is_wrong_and_comes_first() -> None:
    first, *others = stood(drawn(lot(), wrong=14))
    assert (first.group, first.word) == (Group.of_reading(15), "wrong")
    assert "wrong" not in {each.word for each in others}


def test_sound_is_only_what_a_usual_slip_of_is_refuted() -> None:
    for each in stood(drawn(lot())):
        refuted = all(size.possible < size.slip for size in each.sizes)
        assert each.word == ("sound" if refuted else "cannot-tell")


def test_more_readings_prove_more() -> None:
    few, many = (
        [each for each in stood(drawn(lot(every=every))) if each.group.kind == "strip"]
        for every in (False, True)
    )
    sound = [sum(each.word == "sound" for each in strips) for strips in (few, many)]
    assert sound[0] < sound[1]
    sure = [{each.group: each.sizes[0].sure for each in strips} for strips in (few, many)]
    assert all(sure[1][group] < least for group, least in sure[0].items())


def test_a_wider_tolerance_makes_a_strip_sound_sooner() -> None:
    job = drawn(lot())
    wide = replace(job, tolerances=replace(job.tolerances, strip_m=0.08))
    words = {each.group: each.word for each in stood(wide)}
    assert {words[Group("strip", strip.name)] for strip in job.strips} == {"sound"}


def test_the_sentences() -> None:
    every = stood(drawn(lot()))
    open_ = [each for each in every if each.word == "cannot-tell"]
    reason = doubts(every)
    assert reason is not None
    say = say_check()
    assert {f"{len(open_)}", f"{len(every)}"} <= set(say(reason).split())
    assert doubts(tuple(each for each in every if each.word == "sound")) is None
    kinds = {each.group.kind for each in open_}
    lines = open_words(every, say)
    assert len(lines) == len(kinds)
    worst = max(each.sizes[0].possible for each in open_ if each.group.kind == "strip")
    assert [f"{100 * worst:.1f} cm" in line for line in lines].count(True) == 1
    lone = next(each for each in open_ if each.group.kind == "reading")
    (line,) = open_words((lone,), say)
    assert say(lone.what) in line
    assert line.endswith(f" {100 * lone.sizes[0].possible:.1f} cm")
    assert amount_text("shift", 0.034, METRIC) == "3.4 cm"
    assert amount_text("turn", float(np.radians(0.5)), METRIC) == "0.5 degrees"
    assert amount_text("scale", 0.12, METRIC) == "12 % of its scale"

"""What to tape yet: which lengths, how they are written, and what they would tell.

Proves that no length runs through the body, that every one is as planned, that what the job has is
not asked for again, that the printed tables are a job file's once filled in, that the forecast
agrees with a measurement of readings as planned, and that unfilled ones are refused. Whether a
forecast holds on simulated lots, `python -m tests.accuracy.laying` prints.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.paths import CLEAR_DAY
from vision.files.disk import read_job
from vision.job.body import body_hides
from vision.job.job import Job
from vision.job.layout import planned_layout
from vision.planning.readings_wanted import wanted
from vision.planning.setting_out.readings import readings_to_take
from vision.planning.tape_check import check_tape


@pytest.fixture(scope="module")
def job() -> Job:
    return read_job(CLEAR_DAY)[0]


def test_lengths_are_as_planned_and_beside_the_body(job: Job) -> None:
    place_m = {mark.id: mark.centre_m for mark in planned_layout(job).marks}
    readings = readings_to_take(job)
    assert len({frozenset(each.between) for each in readings}) == len(readings)
    for each in readings:
        a, *others = (place_m[name] for name in each.between)
        if each.kind == "offset":
            assert float(each.length_m) == pytest.approx(abs(a[1]), abs=1e-6)
            continue
        (b,) = others
        assert float(each.length_m) == pytest.approx(float(np.linalg.norm(a - b)), abs=1e-6)
        raised = np.array([0, 0, 0.01])
        low, high = a + raised, b + raised
        assert not body_hides(job.vehicle, low, high[None], margin_m=0.0)[0]


def test_what_was_read_is_not_asked_for_again(job: Job) -> None:
    first, *others = readings_to_take(job)
    told = replace(job, readings=(first.as_planned(),))
    assert readings_to_take(told) == tuple(others)
    # The same two places the other way round are the same length.
    turned = replace(first.as_planned(), between=first.between[::-1])
    assert readings_to_take(replace(job, readings=(turned,))) == tuple(others)


def test_the_forecast_is_what_readings_as_planned_tell(job: Job) -> None:
    found = wanted(job)
    taken = replace(job, readings=tuple(each.as_planned() for each in found.readings))
    check = check_tape(taken)
    assert check.verdict == "keep"
    for strip in check.strips:
        assert found.sure_m[strip.name] == pytest.approx(strip.sure_m, rel=1e-6)
    # With some of them taken, what all would tell is the same.
    some = replace(job, readings=taken.readings[:5])
    assert wanted(some).sure_m == pytest.approx(found.sure_m)


def test_the_command(tmp_path: Path) -> None:
    run = CliRunner()
    asked = run.invoke(app, ["measure", str(CLEAR_DAY), "--wanted"])
    assert asked.exit_code == 0
    text = CLEAR_DAY.read_text() + "\n" + asked.output
    file = tmp_path / "job.toml"
    file.write_text(text)
    empty = run.invoke(app, ["measure", str(file)])
    assert empty.exit_code == 5
    # Once for all of them, counted from 1 as reports count them.
    assert len(empty.output.strip().splitlines()) == 1
    assert "reading: found no value in readings 1, 2, 3," in empty.output
    assert "take the whole table out" in empty.output
    file.write_text(re.sub(r'value = "" {2}# planned: (\S+) m', r"value = \1", text))
    filled = run.invoke(app, ["measure", str(file)])
    assert filled.exit_code == 0, filled.output
    again = run.invoke(app, ["measure", str(file), "--wanted"])
    assert "[[reading]]" not in again.output

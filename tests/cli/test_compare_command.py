"""Proves that what a record keeps of real pictures is enough to compare, by command.

Proves, on one stored set of pictures: a kept check is adjusted to what its inspection found, also
from mirrored pictures; a turn that is put into the kept pixels is named by the command, with exit
code 3 and a page; nothing is named without it; bad choices are told, not guessed.

Does not prove that a real knock looks like such a turn.
"""

from __future__ import annotations

import copy
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.paths import CLEAR_DAY, ROOT
from vision.camera.geometry import ANGLES
from vision.comparison.change import Epoch
from vision.comparison.epochs import epoch_of
from vision.comparison.record import KeptCheck, kept_check
from vision.documents.result import result_of
from vision.files import disk, record_file
from vision.inspection.inspect import inspect


def run(*arguments: object):
    return CliRunner().invoke(app, ["compare", *(str(each) for each in arguments)])


@pytest.fixture(scope="module")
def check() -> KeptCheck:
    job, pictures = disk.read_inspection_input(CLEAR_DAY)
    result = result_of(inspect(job, pictures))
    texts = disk.read_job_texts(CLEAR_DAY)
    return kept_check("job.toml", texts, pictures, result, taken="2026-03-03T10:00:00+01:00")


def adjusted(check: KeptCheck) -> Epoch:
    found = epoch_of(check)
    assert isinstance(found, Epoch)
    return found


def changed(check: KeptCheck, camera: str, alter) -> KeptCheck:
    result = copy.deepcopy(dict(check.result))
    alter(next(entry for entry in result["cameras"] if entry["name"] == camera))
    return replace(check, taken="2026-04-05T09:00:00+02:00", result=result)


@pytest.fixture(scope="module")
def turned(check: KeptCheck) -> KeptCheck:
    """The same check with what the front camera shows turned by 1.4 degrees."""
    front = adjusted(check).adjustment.camera("front")
    after = front.pose.perturbed(np.r_[0, 0, 0, np.radians(1.4), 0, 0])

    def alter(entry):
        for mark in entry["marks"]:
            if mark["pixel"]:
                ray = front.pose.R.T @ front.lens.unproject(np.array(mark["pixel"]))
                mark["pixel"] = [float(each) for each in front.lens.project(after.R @ ray)]

    return changed(check, "front", alter)


@pytest.fixture(scope="module")
def record(check, turned, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("record") / "record.sqlite"
    again = replace(check, taken="2026-03-20T10:00:00+01:00")
    record_file.rescue_record(path, [check, again, turned])
    return path


def test_a_kept_check_is_adjusted_to_what_was_found(check):
    found = adjusted(check).adjustment
    for entry in check.result["cameras"]:
        aim = found.camera(entry["name"]).aim.as_degrees()
        stated = [entry["joint"]["aim_deg"][angle] for angle in ANGLES]
        # Pixels are kept to a thousandth, with sigmas of some hundredths.
        assert np.abs(np.array(aim) - stated).max() < 0.02
        assert found.camera(entry["name"]).used.sum() == entry["marks_used"]


def test_a_mirrored_picture_is_turned_back(check):
    def mirror(entry):
        entry["picture"]["mirrored"] = True
        width = entry["picture"]["width"]
        for mark in entry["marks"]:
            if mark["pixel"]:
                mark["pixel"][0] = width - 1 - mark["pixel"][0]
                mark["covariance_px2"][0][1] *= -1
                mark["covariance_px2"][1][0] *= -1

    plain, mirrored = adjusted(check), adjusted(changed(check, "left", mirror))
    for one, other in zip(plain.observations, mirrored.observations, strict=True):
        np.testing.assert_allclose(one.points.pixels_px, other.points.pixels_px, atol=1e-9)
        np.testing.assert_array_equal(one.points.covariance_px2, other.points.covariance_px2)


def test_a_turn_is_named(record, tmp_path):
    page = tmp_path / "p.html"
    ran = run(record, "--baseline", "2026-03-03", "--not-relaid", "all", "--out", page)
    assert ran.exit_code == 3, ran.output
    lines = ran.output.splitlines()
    changed = [line.split()[0] for line in lines if line.split()[1:2] == ["changed"]]
    assert changed == ["front"]
    # What to do comes first: back by as much.
    assert lines[0].startswith("1. turn the front camera back, up by 1.40 degrees")
    # The lines below the tables stand on the page as they are printed.
    said = [line for line in lines if line.startswith("front ")][-1]
    assert "1.40 degrees (\N{PLUS-MINUS SIGN}0.04)" in said
    text = page.read_text()
    assert said.replace("+-", "\N{PLUS-MINUS SIGN}") in text or said in text
    # Two later checks, three angles, four cameras.
    assert text.count("<circle") + text.count('height="8"') == 24


def test_whoever_stops_reading_early_gets_the_same_exit_code(record):
    command = [sys.executable, "-m", "cli.main", "compare", str(record)]
    # Unbuffered, so that the first line already finds nobody.
    with subprocess.Popen(
        command,
        cwd=ROOT,
        env=dict(os.environ, PYTHONUNBUFFERED="1"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        said = running.stderr.read()
    assert (running.returncode, said) == (3, b"")


def test_nothing_is_named_where_nothing_changed(check, tmp_path):
    path = tmp_path / "record.sqlite"
    record_file.rescue_record(path, [check, replace(check, taken="2026-03-20T10:00:00+01:00")])
    ran = run(path)
    assert ran.exit_code == 0, ran.output


def test_a_job_is_compared_as_its_pictures_are_now(check, tmp_path):
    path = tmp_path / "record.sqlite"
    record_file.rescue_record(path, [check])
    before = path.read_bytes()
    ran = run(CLEAR_DAY, "--record", path, "--untouched")
    assert ran.exit_code == 0, ran.output
    assert ran.output.count("3 March 2026") >= 4
    # Comparing keeps nothing.
    assert path.read_bytes() == before


def test_what_cannot_be_compared_is_not_judged(check, tmp_path):
    def unseen(entry):
        entry["plan_fit"] = None

    path = tmp_path / "record.sqlite"
    record_file.rescue_record(path, [check, changed(check, "rear", unseen)])
    ran = run(path)
    assert ran.exit_code == 4
    assert "rear" in ran.output


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--baseline", "yesterday"], "no earlier check that is 'yesterday'"),
        (["--baseline", "7"], "2 of 2026-03-20"),
        (["--not-relaid", "lefft"], "did you mean `left`?"),
    ],
)
def test_bad_choices(record, arguments, words):
    ran = run(record, *arguments)
    assert ran.exit_code == 5
    assert words in ran.output


def test_one_check_alone_has_nothing_to_be_compared_with(check, tmp_path):
    record_file.rescue_record(tmp_path / "record.sqlite", [check])
    ran = run(tmp_path / "record.sqlite")
    assert ran.exit_code == 5


def test_a_job_without_a_record(tmp_path):
    ran = run(tmp_path / "job.toml")
    assert ran.exit_code == 5
    assert "seamtrue-record.sqlite" in ran.output

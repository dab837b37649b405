"""Proves that a check says what changed since the last kept one of its job, and when it does not.

Does not prove which changes are worth a line; `tests/documents/test_progress.py` does.
"""

from __future__ import annotations

import copy
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from cli.main import app
from cli.since import last_kept
from tests.accuracy.record import example_check
from vision.documents.result import result_of
from vision.files import disk, record_file


@pytest.fixture
def before(inspection):
    """A result of the same job in which the front camera looked 5.6 degrees too far down."""
    result = copy.deepcopy(result_of(inspection))
    front = result["cameras"][0]
    front["joint"]["aim_deg"]["tilt"] += 5.6
    front["reasons"] = [{"code": "tilt-beyond", "text": ""}]
    front["picture"]["sha256"] = "f" * 64
    return result


def keep(folder, *checks):
    record_file.rescue_record(folder / record_file.RECORD_NAME, checks)


@pytest.fixture
def run(inspection, monkeypatch, tmp_path):
    def start():
        monkeypatch.setattr(
            "vision.inspection.inspect.inspect", lambda job, pictures, progress=None: inspection
        )
        monkeypatch.setattr(disk, "read_inspection_input", lambda path: (inspection.job, ()))
        return CliRunner().invoke(app, ["check", str(tmp_path / "job.toml")])

    return start


def test_what_changed_is_said_of_the_last_kept_check_of_the_job(run, tmp_path, before):
    kept = replace(example_check(1), job_file="job.toml", result=before)
    other = replace(example_check(2), job_file="other.toml")
    keep(tmp_path, kept, other)
    lines = run().stdout.splitlines()
    (at,) = (n for n, line in enumerate(lines) if line.startswith("since check 1, kept "))
    assert lines[at + 1] == "  front tilt 5.6 too far down -> 0.0, within"


def test_no_change_is_said_too(run, tmp_path, inspection):
    same = replace(example_check(1), job_file="job.toml", result=result_of(inspection))
    keep(tmp_path, same)
    assert any(line.endswith(": no change") for line in run().stdout.splitlines())


def test_without_a_kept_check_of_the_job_nothing_is_said(run, tmp_path):
    assert "since check" not in run().stdout
    keep(tmp_path, replace(example_check(1), job_file="other.toml"))
    assert "since check" not in run().stdout


def test_a_file_that_is_no_record_does_not_hold_up_a_check(run, tmp_path):
    (tmp_path / record_file.RECORD_NAME).write_text("no record")
    assert last_kept(tmp_path / record_file.RECORD_NAME, "job.toml") is None
    ran = run()
    assert ran.exit_code == 3
    assert record_file.RECORD_NAME in ran.stderr

"""Proves that `seamtrue check` keeps what it found and that `seamtrue record` hands it back.

Does not prove what the record does under kills and damage; see tests/files.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.accuracy.record import example_check
from tests.paths import CLEAR_DAY, SAMPLES
from vision.files import record_file


def run(*arguments: object):
    return CliRunner().invoke(app, [str(each) for each in arguments])


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    path = tmp_path / "record.sqlite"
    record_file.rescue_record(path, [example_check(number) for number in (1, 2, 3)])
    return path


def test_a_check_is_kept_beside_the_job(tmp_path: Path) -> None:
    folder = tmp_path / "lot"
    shutil.copytree(SAMPLES / "clear_day", folder)
    ran = run("check", folder / "job.toml", "--keep")
    assert ran.exit_code == 0, ran.output
    assert ran.output.splitlines()[-1].endswith(str(folder / record_file.RECORD_NAME))
    (check,) = record_file.read_record(folder / record_file.RECORD_NAME).checks
    written = json.loads((folder / "seamtrue-report" / "inspection.json").read_text())
    assert check.result == written
    assert check.job_text == (folder / "job.toml").read_text()
    assert [p.sha256 for p in check.pictures] == [
        camera["picture"]["sha256"] for camera in written["cameras"]
    ]


def test_a_record_that_cannot_be_used_is_told_before_the_inspection(tmp_path: Path) -> None:
    other = tmp_path / "notes.txt"
    other.write_text("no record")
    ran = run("check", CLEAR_DAY, "--record", other, "--out", tmp_path / "o")
    assert ran.exit_code == 5
    assert "notes.txt" in ran.output
    assert not (tmp_path / "o").exists()
    assert other.read_text() == "no record"


def test_the_list_and_what_was_kept(kept: Path) -> None:
    ran = run("record", kept)
    assert ran.exit_code == 0
    assert [line.split()[0] for line in ran.output.splitlines()] == ["check", "1", "2", "3"]
    assert json.loads(run("record", kept, "--result", 2).output) == dict(example_check(2).result)
    assert run("record", kept, "--job", 2).output == example_check(2).job_text
    assert run("record", kept, "--job", 9).exit_code == 5


def test_a_job_comes_back_to_the_byte(tmp_path: Path) -> None:
    path = tmp_path / "record.sqlite"
    text = '[job]\r\nname\t= "Mobile library \u2014 depot"'
    record_file.rescue_record(path, [replace(example_check(1), job_text=text)])
    assert run("record", path, "--job", 1).stdout_bytes == text.encode()


def test_a_damaged_record_is_named_and_rescued(kept: Path, tmp_path: Path) -> None:
    data = kept.read_bytes()
    kept.write_bytes(data[: int(0.8 * len(data))])
    ran = run("record", kept)
    assert ran.exit_code == 5
    assert "--rescue" in ran.output
    assert run("record", kept, "--rescue", tmp_path / "new.sqlite").exit_code == 5
    assert run("record", tmp_path / "new.sqlite").exit_code == 0

"""Proves that `seamtrue init` writes a whole job or nothing, and keeps what was answered.

Proves: from answers and from a dialogue, in a terminal too; that what it writes is read, planned
and printed by the other commands. Does not prove that its layouts decide: `tests/planning` does.
"""

from __future__ import annotations

import os
import pty
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.paths import ROOT, SAMPLES
from vision.documents.setup.answers import answers_from_text
from vision.documents.sheets.printed import job_code
from vision.files import disk
from vision.job.job import Means
from vision.planning.proposal import NoProposal
from vision.practice.folder import scene_folder
from vision.units.reason import Reason

ANSWERS = SAMPLES / "long_shadow" / "answers.toml"
WRITTEN = {"job.toml", "layout.toml", "marks.pdf", "sheet.pdf"}
KEPT = "seamtrue-answers.toml"


def run(*arguments: object, typed: str = ""):
    return CliRunner().invoke(app, ["init", *map(str, arguments)], input=typed)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The job for the vehicle of long_shadow, and what was said of it."""
    folder = tmp_path_factory.mktemp("made") / "library"
    outcome = run(folder, "--answers", ANSWERS)
    assert outcome.exit_code == 0, outcome.output
    return folder, outcome.output


def test_answers_from_a_file_make_a_whole_job(made):
    folder, said = made
    assert {path.name for path in folder.iterdir()} == WRITTEN
    job, _ = disk.read_job(folder / "job.toml")
    assert [camera.name for camera in job.cameras] == ["front", "left", "rear", "right"]
    assert {strip.tape_width_m for strip in job.strips} == {0.15}
    assert len(job.seams) == 4
    assert f"seamtrue check {folder / 'job.toml'}" in said
    assert "front.jpg, left.jpg, rear.jpg, right.jpg" in " ".join(said.split())


def test_the_other_commands_take_the_job_with_its_layout(made, tmp_path):
    folder, _ = made
    sheets = CliRunner().invoke(
        app, ["sheet", str(folder / "job.toml"), "--out", str(tmp_path / "s")]
    )
    assert sheets.exit_code == 0, sheets.output
    text, others = disk.read_job_texts(folder / "job.toml")
    assert set(others) == {"layout.toml"}
    changed = {"layout.toml": others["layout.toml"] + b"\n"}
    assert job_code(text, others) != job_code(text, changed)
    job, _ = disk.read_job(folder / "job.toml")
    drawn = scene_folder(job, "job.toml", text)
    assert drawn.texts == ("layout.toml",)
    assert drawn.pictures["rear"] == "rear.jpg"


def test_nothing_is_written_over(made):
    folder, _ = made
    outcome = run(folder, "--answers", ANSWERS)
    assert outcome.exit_code == 5
    assert all(name in outcome.output for name in WRITTEN)


def test_faults_of_answers_come_at_once_and_nothing_is_written(tmp_path):
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(ANSWERS.read_text().replace("10.8", '"10,8"').replace("front.up = 2.7", ""))
    outcome = run(tmp_path / "new", "--answers", wrong)
    assert outcome.exit_code == 5
    assert "wrong.toml, line 5: length: " in outcome.output
    assert "wrong.toml: front.up: found nothing" in outcome.output
    assert not (tmp_path / "new").exists()


def test_answers_that_contradict_each_other_are_refused(tmp_path):
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(ANSWERS.read_text().replace('"17 ft 8 5/8 in"', "54"))
    outcome = run(tmp_path / "new", "--answers", wrong)
    assert outcome.exit_code == 5
    assert "camera.left.position" in outcome.output


def test_answers_that_contradict_each_other_are_asked_again(tmp_path, monkeypatch):
    monkeypatch.setattr("cli.init._written", lambda *what: None)
    monkeypatch.setattr("cli.init._proposed", lambda *what: object())
    (tmp_path / KEPT).write_text(ANSWERS.read_text().replace('"17 ft 8 5/8 in"', "54"))
    # What is open takes its default; then the left camera's answers are asked again.
    outcome = run(tmp_path, typed="\n" * 10 + "5.4\n" * 12 + "10 cm\n" * 9)
    assert "camera.left.position" in outcome.output
    assert "left.behind: 54" in outcome.output


def test_tape_that_will_not_do_is_told_with_what_would(tmp_path, monkeypatch):
    reasons = (Reason("tape-too-narrow", needed_m=0.09),)
    monkeypatch.setattr(
        "vision.planning.proposal.propose", lambda *job, **how: NoProposal(reasons=reasons)
    )
    monkeypatch.setattr(
        "vision.planning.remedies.what_would_do",
        lambda *job, **how: (Reason("wider-tape", tape_m=0.15, marks=40),),
    )
    outcome = run(tmp_path / "new", "--answers", ANSWERS)
    assert outcome.exit_code == 4
    assert "tape 15.0 cm wide would do, with 40 marks" in outcome.output
    assert not (tmp_path / "new").exists()


def test_a_dialogue_keeps_goes_back_and_goes_on(tmp_path, monkeypatch):
    stopped = run(tmp_path, typed="\nback\n\nfeet\n10.8 m\n250\nback\n35 ft\n")
    assert stopped.exit_code == 130
    kept = answers_from_text((tmp_path / KEPT).read_bytes(), KEPT)
    assert dict(kept.typed) == {"name": "Mobile library", "units": "feet", "length": "35 ft"}
    assert "did you mean 250 cm?" in stopped.output
    assert {path.name for path in tmp_path.iterdir()} == {KEPT}
    monkeypatch.setattr("cli.init._written", lambda *what: None)
    monkeypatch.setattr("cli.init._proposed", lambda *what: object())
    rest = ["8 ft", "10 ft", "front", "", "", "", "0", "0", "8 ft 6 in", "", "", "", "", ""]
    done = run(tmp_path, typed="\n".join(rest) + "\n")
    assert done.exit_code == 0, done.output
    assert "going on with the 3 answers" in done.output
    kept = answers_from_text((tmp_path / KEPT).read_bytes(), KEPT)
    assert (kept.get("front.up"), kept.get("paper")) == ("8 ft 6 in", "letter")


def test_what_no_layout_does_with_is_asked_again(tmp_path, monkeypatch):
    kept = ANSWERS.read_text()
    (tmp_path / KEPT).write_text(kept + 'tape_width = "10 cm"\n')
    tapes = []

    def proposed(setup, job, found):
        tapes.append(job.means)
        return object() if len(tapes) == 2 else None

    monkeypatch.setattr("cli.init._written", lambda *what: None)
    monkeypatch.setattr("cli.init._proposed", proposed)
    # height, tilt and so on are there; what is not is asked first.
    outcome = run(tmp_path, typed="\n" * 20 + "15 cm\n" + "\n" * 20)
    assert outcome.exit_code == 0, outcome.output
    assert [each.tape_width_m for each in tapes] == [0.1, 0.15]
    assert isinstance(tapes[0], Means)


def test_pictures_that_are_there_are_looked_at(tmp_path):
    (tmp_path / "FRONT_1.JPG").write_bytes((SAMPLES / "long_shadow" / "front.jpg").read_bytes())
    (tmp_path / "left.jpg").write_bytes(b"no picture")
    stopped = run(tmp_path, typed="\n\n10.8\n2.5\n\n\n")
    assert "FRONT_1.JPG: 1280 x 720 px, front" in stopped.output
    assert "left.jpg: " in stopped.output


def test_a_key_stroke_in_a_terminal_stops_and_keeps(tmp_path: Path):
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "cli.main", "init", str(tmp_path)]
    process = subprocess.Popen(
        command,
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        cwd=ROOT,
        start_new_session=True,
        # As from a terminal: what starts in the background ignores the key stroke.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    os.close(theirs)
    shown = ""

    def until(words: str) -> None:
        nonlocal shown
        end = time.monotonic() + 120
        while words not in shown and time.monotonic() < end:
            if select.select([ours], [], [], 1)[0]:
                shown += os.read(ours, 4096).decode()
        assert words in shown, shown

    until("1/14")
    os.write(ours, b"Depot\n")
    until("2/14")
    process.send_signal(signal.SIGINT)
    until("kept 1 answers")
    assert process.wait(60) == 130
    os.close(ours)
    assert answers_from_text((tmp_path / KEPT).read_bytes(), KEPT).get("name") == "Depot"
    assert "Traceback" not in shown

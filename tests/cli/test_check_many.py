"""Many jobs in one command: each on its own, one exit code, one summary, nothing done twice.

Proves which jobs are meant and where their reports go, that a failed job stops nothing, and that
done means the same content, program and options. What a check finds is proved elsewhere: here its
inspection is made by hand, but for one job that goes the whole way through a process of its own.
"""

from __future__ import annotations

import csv
import io
import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from cli import check_many
from cli.check_many import Task, checked
from cli.main import app
from cli.report_files import Wanted
from tests.paths import SAMPLES
from tests.refusing import refused
from vision.documents.summary import CheckedJob, summary_csv, summary_json_lines, summary_line
from vision.files import disk
from vision.files.done import DONE_NAME
from vision.files.found_jobs import folders_for, found_jobs, is_one_job
from vision.files.parcel import Parcel, packed, unpacked
from vision.files.record_file import read_record
from vision.units.plain import json_text

SAMPLE = SAMPLES / "clear_day"


@pytest.fixture
def lot(tmp_path):
    """A copy of a sample set."""
    return shutil.copytree(SAMPLE, tmp_path / "lot")


@pytest.fixture
def task(lot, inspection, monkeypatch):
    """A task whose inspection is made by hand; `inspected` counts how often it is."""
    inspected = []

    def inspect(job, pictures):
        inspected.append(job.name)
        return replace(inspection, verdict="keep")

    def report_files(inspection, result, wanted):
        return {"inspection.json": json_text(result), "report.html": "a page"}

    monkeypatch.setattr("vision.inspection.inspect.inspect", inspect)
    monkeypatch.setattr(check_many, "report_files", report_files)
    made = Task(job=lot / "job.toml", folder=lot / "seamtrue-report", wanted=Wanted())
    return made, inspected


def test_a_job_that_is_done_is_not_done_again(task):
    made, inspected = task
    first, second = checked(made), checked(made)
    assert (first.exit_code, first.verdict, first.as_before) == (0, "keep", False)
    assert second == replace(first, as_before=True)
    assert len(inspected) == 1


def changed_picture(made: Task) -> Task:
    (made.job.parent / "front.jpg").write_bytes((SAMPLE / "left.jpg").read_bytes())
    return made


def changed_job(made: Task) -> Task:
    made.job.write_text(made.job.read_text("utf-8") + "\n# a note\n", "utf-8")
    return made


def changed_result(made: Task) -> Task:
    path = made.folder / "inspection.json"
    path.write_text(path.read_text("utf-8").replace("keep", "re-aim", 1), "utf-8")
    return made


def lost_page(made: Task) -> Task:
    (made.folder / "report.html").unlink()
    return made


def broken_note(made: Task) -> Task:
    (made.folder / DONE_NAME).write_text('{"files": 3', "utf-8")
    return made


def other_options(made: Task) -> Task:
    return replace(made, wanted=Wanted(shown="none"))


def kept_as_well(made: Task) -> Task:
    return replace(made, record=made.job.parent / "record.sqlite")


@pytest.mark.parametrize(
    "change",
    [
        changed_picture,
        changed_job,
        changed_result,
        lost_page,
        broken_note,
        other_options,
        kept_as_well,
    ],
)
def test_a_job_of_which_anything_changed_is_done_again(task, change):
    made, inspected = task
    checked(made)
    again = checked(change(made))
    assert (again.exit_code, again.as_before, len(inspected)) == (0, False, 2)


def test_another_version_of_the_program_does_it_again(task, monkeypatch):
    made, inspected = task
    checked(made)
    monkeypatch.setattr(check_many, "__version__", "99.0")
    assert not checked(made).as_before
    assert len(inspected) == 2


def test_a_check_of_many_is_kept_once(task):
    made = kept_as_well(task[0])
    checked(made)
    assert checked(made).as_before
    assert len(read_record(made.record).checks) == 1


def test_what_goes_wrong_is_said_of_the_job_alone(task, monkeypatch):
    made, _ = task
    (made.job.parent / "rear.jpg").unlink()
    missing = checked(made)
    assert (missing.exit_code, missing.verdict) == (5, None)
    assert "rear" in missing.first
    assert not made.folder.exists()
    shutil.copy(SAMPLE / "rear.jpg", made.job.parent)

    def broken(job, pictures):
        raise RuntimeError("boom\nsecond line")

    monkeypatch.setattr("vision.inspection.inspect.inspect", broken)
    crashed = checked(made)
    assert (crashed.exit_code, crashed.outcome) == (1, "crashed")
    assert "boom" in crashed.first
    assert "second" not in crashed.first


def test_folders_and_patterns_stand_for_the_jobs_in_them(tmp_path):
    for name in ("b/job.toml", "a/deep/job.toml", "a/other.toml", "c/x.toml"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    a, b = tmp_path / "a/deep/job.toml", tmp_path / "b/job.toml"
    assert found_jobs([tmp_path]) == (a, b)
    assert found_jobs([b, tmp_path]) == (b, a)
    assert found_jobs([tmp_path / "*" / "*.toml"]) == tuple(
        tmp_path / name for name in ("a/other.toml", "b/job.toml", "c/x.toml")
    )
    assert found_jobs([tmp_path / "*"]) == (a, b)
    assert found_jobs([tmp_path / "none.toml"]) == (tmp_path / "none.toml",)
    with refused("no-jobs", "no-jobs"):
        found_jobs([tmp_path / "c", tmp_path / "*.job"])
    (tmp_path / "odd[1].toml").touch()
    assert is_one_job(tmp_path / "odd[1].toml")
    assert not is_one_job(tmp_path)


def test_no_two_reports_go_to_one_place(tmp_path):
    jobs = [tmp_path / name for name in ("a/job.toml", "a/night.toml", "b/job.toml", "b.toml")]
    out = tmp_path / "out"
    assert folders_for(jobs, out, "report") == (
        out / "a",
        out / "a/night",
        out / "b",
        out / "b/b.toml",
    )
    assert folders_for(jobs, None, "report") == (
        tmp_path / "a/report",
        tmp_path / "a/report/night",
        tmp_path / "b/report",
        tmp_path / "report",
    )
    assert folders_for([tmp_path / "job.toml"], out, "report") == (out / "job.toml",)


def test_a_parcel_holds_what_is_read_and_nothing_else(lot, tmp_path):
    (lot / "other.jpg").write_bytes(b"not named")
    parcel = packed(lot / "job.toml")
    assert sorted(parcel.files) == ["front.jpg", "job.toml", "left.jpg", "rear.jpg", "right.jpg"]
    there = unpacked(parcel, tmp_path / "there")
    assert packed(there).digest == parcel.digest
    read, there = (disk.read_inspection_input(each)[1] for each in (lot / "job.toml", there))
    assert [each.sha256 for each in read] == [each.sha256 for each in there]


@pytest.mark.parametrize("name", ["../job.toml", "/job.toml", "a\\b", "c:/x", ""])
def test_a_parcel_names_nothing_outside_its_folder(name):
    with pytest.raises(ValueError, match="below the job's folder"):
        Parcel(job_file="job.toml", files={"job.toml": b"", name: b""})


ROWS = (
    CheckedJob(job="=a/job.toml", exit_code=0, name="A, B", verdict="keep", as_before=True),
    CheckedJob(job="b/job.toml", exit_code=3, verdict="re-aim", to_do=("turn up", "then look")),
    CheckedJob(job="c/job.toml", exit_code=5, faults=("no such file",)),
)


def test_a_summary_is_read_back_from_csv_and_from_json_lines():
    table = list(csv.DictReader(io.StringIO(summary_csv(ROWS))))
    assert [row["verdict"] for row in table] == ["keep", "re-aim", "not read"]
    assert table[0]["job"] == "'=a/job.toml"  # no formula in a spreadsheet
    assert table[1]["to_do"].splitlines() == ["turn up", "then look"]
    lines = [json.loads(line) for line in summary_json_lines(ROWS).splitlines()]
    assert [line["exit_code"] for line in lines] == [0, 3, 5]
    assert lines[2]["verdict"] is None
    assert lines[2]["faults"] == ["no such file"]
    assert summary_line(ROWS).startswith("3 jobs: 1 keep, 1 not read, 1 re-aim; 1 ")


def answers(*codes):
    """Stands for the processes: every task has the next of these exit codes."""

    def each_done(work, tasks, workers):
        for index, code in enumerate(codes):
            yield index, CheckedJob(job=str(tasks[index].job), exit_code=code, verdict="x")

    return each_done


@pytest.mark.parametrize(
    ("codes", "code"),
    [((0, 0, 0), 0), ((0, 4, 0), 4), ((4, 3, 0), 3), ((3, 5, 4), 5), ((3, 1, 0), 1), ((1, 5), 5)],
)
def test_one_exit_code_for_all(tmp_path, monkeypatch, codes, code):
    monkeypatch.setattr(check_many, "each_done", answers(*codes))
    names = [str(tmp_path / f"{index}.toml") for index in range(3)]
    assert CliRunner().invoke(app, ["check", *names]).exit_code == code


def test_ctrl_c_ends_with_what_is_done(tmp_path, monkeypatch):
    def interrupted(work, tasks, workers):
        yield from answers(0)(work, tasks, workers)
        raise KeyboardInterrupt

    monkeypatch.setattr(check_many, "each_done", interrupted)
    names = [str(tmp_path / f"{index}.toml") for index in range(3)]
    summary = tmp_path / "summary.jsonl"
    ran = CliRunner().invoke(app, ["check", *names, "--summary", str(summary)])
    assert ran.exit_code == 130
    assert len(summary.read_text("utf-8").splitlines()) == 1


def test_wrong_use_is_told_before_anything_is_checked(tmp_path):
    (tmp_path / "job.toml").touch()
    ran = CliRunner().invoke(app, ["check", str(tmp_path), "--summary", "summary.txt"])
    assert ran.exit_code == 2
    ran = CliRunner().invoke(app, ["check", str(tmp_path / "*.jobs")])
    assert ran.exit_code == 5
    assert not (tmp_path / "seamtrue-report").exists()


def test_jobs_go_through_processes_of_their_own(lot, tmp_path):
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "job.toml").write_text("[job\n", "utf-8")
    out, summary = tmp_path / "out", tmp_path / "summary.jsonl"
    arguments = ["check", str(tmp_path), "--out", str(out), "--summary", str(summary)]
    ran = CliRunner().invoke(app, arguments)
    assert ran.exit_code == 5, ran.output
    rows = [json.loads(line) for line in summary.read_text("utf-8").splitlines()]
    assert [(Path(row["job"]).parent.name, row["exit_code"]) for row in rows] == [
        ("broken", 5),
        ("lot", 0),
    ]
    names = sorted(each.name for each in (out / "lot").iterdir())
    assert names == ["done.json", "inspection.json", "report.html", "top-view.png"]
    assert not (out / "broken").exists()

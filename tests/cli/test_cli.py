"""Proves exit codes, messages and files of the command line, with the vision functions replaced.

Does not prove what an inspection finds. One run starts the command as a process of its own.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from dataclasses import replace

import pytest
from typer.testing import CliRunner

import vision
from cli.check_table import tables
from cli.main import app, main
from cli.printing import plain
from tests.paths import ROOT
from vision.documents.cautions import CAUTION
from vision.documents.result import result_of, validate
from vision.files import disk
from vision.units.errors import BadInputError, Fault


@pytest.fixture
def run(inspection, monkeypatch, tmp_path):
    """Run `seamtrue check` with a given verdict or exception in place of the inspection."""

    def start(*arguments, verdict="keep", error=None):
        def inspect(job, pictures, progress=None):
            if error is not None:
                raise error
            return replace(inspection, verdict=verdict)

        monkeypatch.setattr("vision.inspection.inspect.inspect", inspect)
        monkeypatch.setattr(disk, "read_inspection_input", lambda path: (inspection.job, ()))
        return CliRunner().invoke(app, ["check", str(tmp_path / "job.toml"), *arguments])

    return start


@pytest.mark.parametrize(
    ("verdict", "code"),
    [("keep", 0), ("re-aim", 3), ("re-shoot", 3), ("re-measure", 3), ("not-judged", 4)],
)
def test_exit_code_follows_the_verdict(run, verdict, code):
    outcome = run(verdict=verdict)
    assert outcome.exit_code == code, outcome.output
    assert f"verdict: {verdict}" in outcome.stdout


def test_check_writes_three_files_beside_the_job(run, tmp_path, inspection):
    run(verdict="re-shoot")
    folder = tmp_path / "seamtrue-report"
    names = sorted(path.name for path in folder.iterdir())
    assert names == ["inspection.json", "report.html", "top-view.png"]
    written = json.loads((folder / "inspection.json").read_text(encoding="utf-8"))
    validate(written)
    assert written == result_of(inspection)
    assert (folder / "top-view.png").read_bytes().startswith(b"\x89PNG")


def test_out_names_another_folder(run, tmp_path):
    outcome = run("--out", str(tmp_path / "deep" / "er"))
    assert (tmp_path / "deep" / "er" / "report.html").is_file()
    assert not (tmp_path / "seamtrue-report").exists()
    assert "er" in outcome.stdout


@pytest.mark.parametrize(
    ("options", "pictures", "words"),
    [
        ([], True, "fade into each other over half a metre"),
        (["--no-blend"], True, "cut sharp at the seams"),
        (["--crop-pictures"], True, "fade into each other"),
        (["--no-pictures"], False, "The front is up"),
    ],
)
def test_options_say_what_the_report_shows(run, tmp_path, options, pictures, words):
    assert run(*options).exit_code == 0
    page = (tmp_path / "seamtrue-report" / "report.html").read_text(encoding="utf-8")
    assert ("data:image" in page) == pictures
    assert words in page


def test_bad_input_tells_every_fault(run):
    faults = [
        Fault(code="missing", file="job.toml", key=key, found="x", expected="y", next_step="z")
        for key in ("vehicle.length", "lens.wide\x1b[2J")
    ]
    outcome = run(error=BadInputError(faults))
    assert outcome.exit_code == 5
    assert "job.toml: vehicle.length: found x; expected y; z" in outcome.stderr
    assert "lens.wide?[2J" in outcome.stderr
    assert "Traceback" not in outcome.output


def test_a_missing_job_is_bad_input(tmp_path):
    outcome = CliRunner().invoke(app, ["check", str(tmp_path / "none.toml")])
    assert outcome.exit_code == 5
    assert "none.toml" in outcome.stderr


def test_a_bug_is_one_line_without_traceback(run):
    outcome = run(error=RuntimeError("boom\nsecond line"))
    assert outcome.exit_code == 1
    assert "--debug" in outcome.stderr
    assert "RuntimeError: boom" in outcome.stderr
    assert len(outcome.stderr.strip().splitlines()) == 1


def test_debug_lets_the_bug_through(run):
    outcome = run("--debug", error=RuntimeError("boom"))
    assert outcome.exit_code == 1
    assert isinstance(outcome.exception, RuntimeError)


def test_an_interruption_is_130_and_writes_nothing(run, tmp_path):
    outcome = run(error=KeyboardInterrupt())
    assert outcome.exit_code == 130
    assert not (tmp_path / "seamtrue-report").exists()


@pytest.mark.parametrize(
    "arguments", [["check"], ["check", "a", "--workers", "0"], ["nothing"], ["--nothing"]]
)
def test_usage_is_2(arguments):
    assert CliRunner().invoke(app, arguments).exit_code == 2


def test_main_tells_a_bug_outside_of_check_too(monkeypatch, capsys):
    def broken():
        raise RuntimeError("boom")

    monkeypatch.setattr("cli.main.app", broken)
    with pytest.raises(SystemExit) as stopped:
        main()
    assert stopped.value.code == 1
    assert "RuntimeError: boom" in capsys.readouterr().err


def test_version():
    outcome = CliRunner().invoke(app, ["--version"])
    assert outcome.exit_code == 0
    assert outcome.stdout.strip() == f"seamtrue {vision.__version__}"


def test_length_is_wired():
    outcome = CliRunner().invoke(app, ["length", "3 m", "--fraction", "64"])
    assert outcome.exit_code == 0
    assert "9 ft 10 7/64 in" in outcome.stdout


def test_table_shows_the_result(inspection):
    result = result_of(inspection)
    cameras, laid, seams = tables(result)
    assert len(cameras.rows) == 4
    assert cameras.rows[0][:5] == ("front", "keep", "1/3", "0.9", "0.22")
    assert cameras.rows[3][3] == "-"
    assert laid.rows[0] == ("front", "re-measure", "+4.1", "-0.1", "+0.70")
    assert ("front - left", "within", "1.2", "0.6", "1.93") in seams.rows
    lines = plain(cameras).splitlines()
    assert lines[0].startswith("camera  verdict")
    assert len({line.index("/3") for line in lines[1:4]}) == 1


def test_every_package_and_data_file_is_shipped():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    shipped = settings["tool"]["setuptools"]
    found = {
        ".".join(path.parent.relative_to(ROOT).parts)
        for name in ("vision", "cli")
        for path in (ROOT / name).rglob("__init__.py")
    }
    assert set(shipped["packages"]) == found
    # A README is read in the clone; it does not ship.
    unneeded = {".py", ".pyc", ".md", ""}
    data = [path for path in (ROOT / "vision").rglob("*") if path.suffix not in unneeded]
    unshipped = [
        path.name
        for path in data
        if not any(
            path.match(pattern)
            for pattern in shipped["package-data"].get(
                ".".join(path.parent.relative_to(ROOT).parts), []
            )
        )
    ]
    assert len(data) > 7
    assert unshipped == []


def test_help_as_a_process():
    outcome = subprocess.run(
        [sys.executable, "-m", "cli.main", "--help"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert outcome.returncode == 0, outcome.stderr
    assert "check" in outcome.stdout
    assert "length" in outcome.stdout
    assert CAUTION in " ".join(outcome.stdout.split())


def test_help_loads_no_heavy_library():
    heavy = "cv2", "scipy", "skimage", "rich", "yaml", "reportlab", "jinja2", "sqlite3"
    code = f"import sys, cli.main; print([m for m in {heavy} if m in sys.modules])"
    outcome = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert outcome.stdout.strip() == "[]"

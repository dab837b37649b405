"""Nothing is imported that a command does not need: what is slow to load waits until it is used.

Asked of fresh processes, by the modules that are loaded at the end. Imports inside functions have a
word beside them that says why. Does not prove how long anything takes.
"""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.paths import ROOT, SAMPLES

LOADED = "import sys; print(*sorted({name.partition('.')[0] for name in sys.modules}))"
DRAWING = {"reportlab", "skimage", "matplotlib"}
SERVING = {"starlette", "uvicorn", "selenium", "watchfiles"}
PIXELS = {"numpy", "cv2", "PIL"}


def loaded(code: str) -> set[str]:
    """The packages that are loaded once some code has run in a fresh process."""
    ran = subprocess.run(
        [sys.executable, "-c", f"{code}\n{LOADED}"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return set(ran.stdout.splitlines()[-1].split())


def command(*arguments: str) -> str:
    """Code that runs the command line."""
    return f"""
import contextlib, io, sys
sys.argv = ["seamtrue", *{arguments!r}]
from cli.main import main
with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()):
    main()
"""


@pytest.mark.parametrize("arguments", [("--help",), ("check", "--help"), ("length", "3 m")])
def test_a_command_that_opens_no_picture_loads_nothing_for_pictures(arguments) -> None:
    slow = DRAWING | SERVING | PIXELS | {"scipy", "jinja2", "jsonschema", "sqlite3"}
    assert loaded(command(*arguments)) & slow == set()


def test_a_check_needs_neither_scipy_nor_what_other_documents_need(tmp_path) -> None:
    job = str(SAMPLES / "clear_day" / "job.toml")
    slow = DRAWING | SERVING | {"scipy", "jsonschema", "yaml", "tomlkit"}
    assert loaded(command("check", job, "--out", str(tmp_path))) & slow == set()
    assert (tmp_path / "report.html").is_file()

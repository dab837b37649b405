"""Proves that what the READMEs name is there, and that their job files can be read.

Does not prove that their figures are the latest: those are printed by the commands beside them.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace

import numpy as np
import pytest
import typer.main

from cli.main import app
from tests.paths import ROOT
from vision.job.job import Tolerances
from vision.job.job_file import job_from_text
from vision.job.layout import planned_layout

ROOMS = ("vision", "cli", "tests", "sample_frames")
KEYS = "vision/job/README.md"
READMES = [
    "README.md",
    *(str(path.relative_to(ROOT)) for room in ROOMS for path in (ROOT / room).rglob("README.md")),
]
PLACE = re.compile(r"(?<![\w./])(?:vision|cli|tests|sample_frames|notebooks|\.ci)/[\w./-]*\w")
FENCE = re.compile(r"^```(\w*)\n(.*?)^```", re.MULTILINE | re.DOTALL)


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def fenced(name: str, language: str) -> list[str]:
    return [body for kind, body in FENCE.findall(text_of(name)) if kind == language]


def anchors(name: str) -> set[str]:
    """What a heading is called in a link."""
    headings = re.findall(r"^#+ (.*)$", text_of(name), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", each.lower()).replace(" ", "-") for each in headings}


@pytest.mark.parametrize("name", READMES)
def test_every_place_that_is_named_exists(name):
    assert not [place for place in PLACE.findall(text_of(name)) if not (ROOT / place).exists()]


@pytest.mark.parametrize("name", [*READMES, "DEVELOPERS.md"])
def test_no_absolute_paths_and_no_addresses(name):
    assert not re.findall(
        r"(?<![\w.])(?:/(?:home|root|tmp|usr|work|Users)\b|[A-Z]:\\|https?://)\S*", text_of(name)
    )


@pytest.mark.parametrize("name", READMES)
def test_links_lead_somewhere(name):
    for target, anchor in re.findall(r"\]\(([^)#]*)(?:#([^)]+))?\)", text_of(name)):
        there = (ROOT / name).parent / target if target else ROOT / name
        assert there.exists(), target
        assert not anchor or anchor in anchors(str(there)), anchor


@pytest.mark.parametrize("name", ["README.md", "cli/README.md"])
def test_the_commands_exist(name):
    verbs = set(typer.main.get_command(app).commands)
    assert set(re.findall(r"`seamtrue ([a-z]+)", text_of(name))) == verbs


@pytest.mark.parametrize(
    ("name", "cameras", "marks", "place"),
    [
        ("README.md", ["front"], 9, [4.22, 0, 94.5 * 0.0254]),
        (KEYS, ["front", "left"], 9 + 11 + 1, [0, 1.25, 94.5 * 0.0254]),
    ],
)
def test_the_job_files_read_and_mean_what_they_say(name, cameras, marks, place):
    (text,) = fenced(name, "toml")
    job = job_from_text(text, "job.toml")
    assert [camera.name for camera in job.cameras] == cameras
    np.testing.assert_allclose(job.cameras[-1].position_m, place)
    assert len(planned_layout(job).ids) == marks
    # Called the defaults where they stand; degrees make the round trip with a rounding.
    default = Tolerances()
    np.testing.assert_allclose(job.tolerances.aim_rad, default.aim_rad)
    np.testing.assert_allclose(job.tolerances.roll_rad, default.roll_rad)
    same = replace(job.tolerances, aim_rad=default.aim_rad, roll_rad=default.roll_rad)
    assert same == default


@pytest.mark.parametrize("name", ["README.md", KEYS])
def test_every_key_of_the_examples_is_in_the_table_of_keys(name):
    (text,) = fenced(name, "toml")
    table = "\n".join(line for line in text_of(KEYS).splitlines() if line.startswith("| `"))
    for section, values in tomllib.loads(text).items():
        if section == "tolerance":
            continue
        tables = values.values() if section not in ("job", "vehicle") else [values]
        for key in {key for each in tables for key in each}:
            assert re.search(rf"`(?:\w+\.)*{key}`", table), f"{section}: {key}"

"""Proves that what README names is there, and that README's job file can be read.

Does not prove that their figures are the latest: those are printed by the commands beside them.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import typer.main

from cli.main import app
from vision.job.job import Tolerances
from vision.job.job_file import job_from_text
from vision.job.layout import planned_layout

ROOT = Path(__file__).parent.parent
DOCUMENTS = ("README.md", "DEVELOPERS.md", "sample_frames/README.md")
PLACE = re.compile(r"(?<![\w./])(?:vision|cli|tests|sample_frames|notebooks|\.ci)/[\w./-]*\w")
FENCE = re.compile(r"^```(\w*)\n(.*?)^```", re.MULTILINE | re.DOTALL)


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def fenced(name: str, language: str) -> list[str]:
    return [body for kind, body in FENCE.findall(text_of(name)) if kind == language]


@pytest.mark.parametrize("name", ["README.md", "sample_frames/README.md"])
def test_every_place_that_is_named_exists(name):
    places = set(PLACE.findall(text_of(name)))
    assert places
    assert not [place for place in places if not (ROOT / place).exists()]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_no_absolute_paths_and_no_addresses(name):
    assert not re.findall(
        r"(?<![\w.])(?:/(?:home|root|tmp|usr|work|Users)\b|[A-Z]:\\|https?://)\S*", text_of(name)
    )


def test_links_lead_somewhere():
    for target in re.findall(r"\]\(([^)#]+)\)", text_of("README.md")):
        assert (ROOT / target).exists(), target
    headings = {line.lstrip("# ").lower() for line in text_of("README.md").splitlines()}
    for target in re.findall(r"\]\(#([^)]+)\)", text_of("README.md")):
        assert target.replace("-", " ") in headings


def test_the_commands_exist():
    verbs = set(typer.main.get_command(app).commands)
    shells = "\n".join([*fenced("README.md", "sh"), *fenced("README.md", "text")])
    named = set(re.findall(r"\bseamtrue ([a-z]+) ", shells))
    named |= set(re.findall(r"`seamtrue (\w+)", text_of("README.md")))
    assert named == verbs


def test_the_job_file_in_readme_reads_and_means_what_it_says():
    (text,) = fenced("README.md", "toml")
    job = job_from_text(text, "job.toml")
    assert [camera.name for camera in job.cameras] == ["front", "left"]
    np.testing.assert_allclose(job.cameras[1].position_m, [0, 1.25, 94.5 * 0.0254])
    assert len(planned_layout(job).ids) == 9 + 11 + 1
    # README calls them the defaults; degrees make the round trip with a rounding.
    default = Tolerances()
    np.testing.assert_allclose(job.tolerances.aim_rad, default.aim_rad)
    np.testing.assert_allclose(job.tolerances.roll_rad, default.roll_rad)
    same = replace(job.tolerances, aim_rad=default.aim_rad, roll_rad=default.roll_rad)
    assert same == default


def test_every_key_of_the_example_is_in_the_table_of_keys():
    (text,) = fenced("README.md", "toml")
    table = "\n".join(line for line in text_of("README.md").splitlines() if line.startswith("| `"))
    for section, values in tomllib.loads(text).items():
        if section == "tolerance":
            continue
        tables = values.values() if section not in ("job", "vehicle") else [values]
        for key in {key for each in tables for key in each}:
            assert re.search(rf"`(?:\w+\.)*{key}`", table), f"{section}: {key}"

"""Proves that a camera's turn is told by command from a picture without tape, by the body alone.

Proves, on one stored set of pictures: a kept check holds the body's edges; a picture turned by as
much as a knock is named with exit code 3, and nothing without; a record of before asks for one
check; a part that carries the camera must be shown. The turned picture is the stored one seen
through the same lens after a turn: light, dirt and shadow are as they were.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from typer.testing import CliRunner

from cli.main import app
from tests.paths import CLEAR_DAY
from vision.comparison.body.stored import edges_of_plain
from vision.comparison.body.values import BodyEdges
from vision.files.record_file import RECORD_NAME, read_record, rescue_record


def run(*arguments: object):
    return CliRunner().invoke(app, [str(each) for each in arguments])


@pytest.fixture(scope="module")
def day(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("day")
    for each in CLEAR_DAY.parent.iterdir():
        if each.suffix in (".jpg", ".toml"):
            shutil.copyfile(each, folder / each.name)
    ran = run("check", folder / "job.toml", "--keep")
    assert ran.exit_code == 0, ran.output
    return folder


@pytest.fixture
def later(day, tmp_path) -> Path:
    return Path(shutil.copytree(day, tmp_path / "later"))


def edges_of(folder: Path, camera: str) -> BodyEdges:
    kept = edges_of_plain(json.loads(read_record(folder / RECORD_NAME).checks[0].body))
    found = next(each for each in kept if each.camera == camera)
    assert isinstance(found, BodyEdges)
    return found


def turn(folder: Path, camera: str, turn_deg: tuple[float, float, float]) -> None:
    """Put the picture that the camera would take after a turn in the place of its own."""
    lens, file = edges_of(folder, camera).lens, folder / f"{camera}.jpg"
    v, u = np.mgrid[: lens.height, : lens.width].astype(np.float64)
    back = Rotation.from_rotvec(-np.radians(turn_deg)).as_matrix()
    at = lens.project(lens.unproject(np.stack([u, v], axis=-1)) @ back.T)
    at = np.nan_to_num(at, nan=-1).astype(np.float32)
    picture = cv2.remap(cv2.imread(str(file)), at[..., 0], at[..., 1], cv2.INTER_CUBIC)
    cv2.imwrite(str(file), picture, [cv2.IMWRITE_JPEG_QUALITY, 90])


def test_edges_of_every_camera_are_kept(day):
    for camera in ("front", "rear", "left", "right"):
        assert len(edges_of(day, camera).pieces) > 80


def test_what_was_kept_is_drawn(later):
    job = later / "job.toml"
    job.write_text(
        job.read_text().replace("[camera.left]", "[camera.left]\nmoving = [[0, 0, 300, 720]]")
    )
    ran = run("check", job, "--keep", "--no-pictures", "--out", later / "out")
    assert ran.exit_code == 0, ran.output
    page = (later / "out" / "body-edges.html").read_text()
    kept = edges_of(later, "left").pieces
    assert page.count("<svg") == 4
    assert "<image" not in page
    assert page.count('class="struck"') == (kept.middle_px[:, 0] < 300).sum()


def test_nothing_turned(later):
    ran = run("compare", later / "job.toml", "--body")
    assert ran.exit_code == 0, ran.output
    assert ran.output.count("no turn seen since") == 4
    assert "keep" not in ran.output.split()


def test_a_knock_is_named_without_any_mark(later):
    turn(later, "front", (-0.6, 0, 0))
    ran = run("compare", later / "job.toml", "--body")
    assert ran.exit_code == 3, ran.output
    lines = ran.output.splitlines()
    assert lines[0].startswith("1. turn the front camera back, down by 0.6")
    words = {line.split()[0]: line for line in lines if "/" in line}
    assert [name for name, line in words.items() if " turned " in line] == ["front"]
    tilt = float(words["front"].split()[4])
    assert tilt == pytest.approx(-0.6, abs=0.05)


def test_a_record_of_before_asks_for_one_check(later):
    record = read_record(later / RECORD_NAME)
    (later / RECORD_NAME).unlink()
    rescue_record(later / RECORD_NAME, record.checks)
    with sqlite3.connect(later / RECORD_NAME) as base:
        base.execute("DROP TABLE bodies")
    base.close()
    ran = run("compare", later / "job.toml", "--body")
    assert ran.exit_code == 4, ran.output
    assert "seamtrue check --keep" in ran.output


def test_damaged_edges_are_left_out_and_the_check_stays(later):
    with sqlite3.connect(later / RECORD_NAME) as base:
        base.execute("UPDATE bodies SET edges = replace(edges, '1', '2')")
    base.close()
    record = read_record(later / RECORD_NAME)
    assert not record.faults
    assert [check.body for check in record.checks] == [""]


def test_a_part_that_carries_the_camera_must_be_shown(later):
    job = later / "job.toml"
    text = job.read_text()
    job.write_text(text.replace("[camera.left]", '[camera.left]\nmounted_on = "mirror arm"'))
    ran = run("compare", job, "--body")
    assert ran.exit_code == 4, ran.output
    assert "mirror arm" in ran.output
    shown = '[camera.left]\nmounted_on = "mirror arm"\nmoving = [[0, 0, 300, 720]]'
    job.write_text(text.replace("[camera.left]", shown))
    ran = run("compare", job, "--body")
    assert ran.exit_code == 0, ran.output


def test_a_moving_part_is_told_where_it_cannot_be(later):
    job = later / "job.toml"
    wrong = "[camera.left]\nmoving = [[0, 0, -3, 10]]"
    job.write_text(job.read_text().replace("[camera.left]", wrong))
    ran = run("compare", job, "--body")
    assert ran.exit_code == 5
    assert "camera.left.moving" in ran.output


def test_a_picture_without_marks_asks_the_body_by_itself(later):
    for camera in ("front", "rear"):
        file = later / f"{camera}.jpg"
        picture = cv2.imread(str(file))
        # Nothing but the body and its nearest ground is left to see.
        v, u = np.mgrid[: picture.shape[0], : picture.shape[1]]
        picture[v < 665 - 0.00035 * (u - 640) ** 2] = 90
        cv2.imwrite(str(file), picture, [cv2.IMWRITE_JPEG_QUALITY, 90])
    ran = run("compare", later / "job.toml", "--untouched")
    assert ran.exit_code in (0, 4), ran.output
    asked = ran.output.split("by the vehicle's own body")[1]
    assert [line.split()[0] for line in asked.splitlines() if "/" in line] == ["front", "rear"]

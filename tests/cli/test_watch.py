"""Proves that each new snapshot rewrites its camera's line, with what is left and what changed.

The inspection is one made by hand. Does not prove what an operating system tells of files.
"""

from __future__ import annotations

import os
from dataclasses import replace
from itertools import repeat

import numpy as np
import pytest

from cli.watch import Following
from cli.watch_lines import DrawnLines, Lines
from tests.lots import lot_text
from vision.camera.geometry import Aim, Pose
from vision.files.snapshots import SnapshotFolder
from vision.marks.picture import encoded
from vision.units.reason import Reason


def still(level):
    return encoded(np.full((90, 160, 3), level, dtype=np.uint8), ".jpg")


class Aimed:
    """Stands for the engine: the front camera is as far down as its picture is bright."""

    def __init__(self, inspection):
        self.inspection = inspection

    def inspections(self, job, pictures, progress, aimed):
        progress("judging")
        yield replace(
            self.inspection,
            verdict="keep",
            cameras=tuple(self.camera(c, pictures) for c in self.inspection.cameras),
        )

    def camera(self, found, pictures):
        picture = pictures.get(found.camera.name)
        if picture is None or found.adjusted is None:
            return found
        off_rad = np.radians(round(float(picture.bgr.mean())) / 10)
        aim = Aim.from_degrees(0, 45 + np.degrees(off_rad), 0)
        pose = Pose.at(found.adjusted.pose.camera_in_ground_m, aim.rotation())
        beyond = off_rad > np.radians(3)
        why = Reason("tilt-beyond", off_rad=off_rad, sigma_rad=0.002, limit_rad=0.05)
        return replace(
            found,
            picture=picture,
            adjusted=replace(found.adjusted, pose=pose),
            verdict="re-aim" if beyond else "keep",
            reasons=(why,) if beyond else (),
        )


@pytest.fixture
def lot(tmp_path):
    (tmp_path / "job.toml").write_text(lot_text(8.0))
    return tmp_path


@pytest.fixture
def following(lot, inspection):
    folder = SnapshotFolder(job_file=lot / "job.toml")
    return Following(folder=folder, running=Aimed(inspection), fraction=16)


def test_a_new_snapshot_says_what_is_left_and_what_changed(lot, following, capsys):
    steps = following.verdicts(repeat(None, 4), Lines())
    (lot / "front.jpg").write_bytes(still(56))
    assert next(steps) is None
    assert capsys.readouterr().out.splitlines() == [
        "front  re-aim  tilt 5.6 too far down",
        "3 to come",
    ]
    (lot / "front.jpg").write_bytes(still(12))
    assert next(steps) is None
    assert capsys.readouterr().out.splitlines() == ["front  keep  (tilt 5.6 -> 1.2)", "3 to come"]
    for name in ("left", "rear", "right"):
        (lot / f"{name}.jpg").write_bytes(still(1))
    assert next(steps) == "keep"
    assert "front" not in capsys.readouterr().out


def test_what_cannot_be_used_is_said_once(lot, following, capsys):
    (lot / "job.toml").write_text("[job")
    list(following.verdicts(repeat(None, 3), Lines()))
    assert len(capsys.readouterr().out.splitlines()) == 1
    (lot / "job.toml").write_text(lot_text(8.0))
    (lot / "front.jpg").write_bytes(b"no picture")
    stale = (lot / "front.jpg").stat().st_mtime - 60
    os.utime(lot / "front.jpg", (stale, stale))
    list(following.verdicts(repeat(None, 3), Lines()))
    (line,) = capsys.readouterr().out.splitlines()
    assert line.startswith("front.jpg: camera.front.picture: found ")


def test_a_terminal_has_a_line_for_each_camera(lot, following):
    class Screen:
        def update(self, table, refresh):
            self.rows = table.row_count

    screen = Screen()
    (lot / "front.jpg").write_bytes(still(56))
    list(following.verdicts([None], DrawnLines(live=screen)))
    assert screen.rows == 4 + 1

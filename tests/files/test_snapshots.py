"""Proves which pictures of a job are taken as they come: whole ones, each read once.

Does not prove what is found in them.
"""

from __future__ import annotations

import os

import numpy as np
import pytest

from tests.lots import lot_text
from vision.files import snapshots
from vision.files.snapshots import SETTLED_S, SnapshotFolder, watched
from vision.marks.picture import encoded
from vision.units.errors import BadInputError


def still(level=90):
    return encoded(np.full((90, 160, 3), level, dtype=np.uint8), ".jpg")


@pytest.fixture
def lot(tmp_path):
    (tmp_path / "job.toml").write_text(lot_text(8.0))
    return tmp_path


def long_ago(path):
    then = path.stat().st_mtime - 2 * SETTLED_S
    os.utime(path, (then, then))


def test_cameras_without_a_picture_are_no_fault(lot):
    folder = SnapshotFolder(job_file=lot / "job.toml")
    assert folder.read().pictures == {}
    (lot / "left.jpg").write_bytes(still())
    there = folder.read()
    assert list(there.pictures) == ["left"]
    assert there.faults == {}
    (lot / "left.jpg").unlink()
    assert folder.read().pictures == {}


def test_half_a_picture_is_waited_for_and_leaves_the_one_before(lot):
    folder, path = SnapshotFolder(job_file=lot / "job.toml"), lot / "front.jpg"
    path.write_bytes(still(90))
    before = folder.read().pictures["front"]
    path.write_bytes(still(140)[:-200])
    half = folder.read()
    assert half.pictures["front"] is before
    assert half.unfinished == {"front"}
    path.write_bytes(still(140))
    whole = folder.read()
    assert not whole.unfinished
    assert whole.pictures["front"].bgr.mean() == pytest.approx(140, abs=1)


def test_half_a_picture_that_nobody_writes_to_is_a_fault(lot):
    path = lot / "front.jpg"
    path.write_bytes(still()[:-200])
    long_ago(path)
    there = SnapshotFolder(job_file=lot / "job.toml").read()
    assert not there.unfinished
    (fault,) = there.faults["front"]
    assert (fault.file, fault.key) == ("front.jpg", "camera.front.picture")


def test_a_picture_is_read_once(lot, monkeypatch):
    reads = []
    read = snapshots.read_named
    monkeypatch.setattr(
        snapshots, "read_named", lambda *a, **k: reads.append(a[1].camera) or read(*a, **k)
    )
    folder = SnapshotFolder(job_file=lot / "job.toml")
    for name in ("front", "rear"):
        (lot / f"{name}.jpg").write_bytes(still())
    folder.read()
    folder.read()
    assert reads == ["front", "rear"]
    (lot / "rear.jpg").write_bytes(still(200))
    folder.read()
    assert reads == ["front", "rear", "rear"]


def test_a_broken_job_is_said_and_its_pictures_are_not_lost(lot):
    folder = SnapshotFolder(job_file=lot / "job.toml")
    (lot / "front.jpg").write_bytes(still())
    held = folder.read().pictures["front"]
    (lot / "job.toml").write_text("[job")
    with pytest.raises(BadInputError):
        folder.read()
    (lot / "job.toml").write_text(lot_text(8.0))
    assert folder.read().pictures["front"] is held


def test_folders_of_pictures_are_watched(lot):
    (lot / "shots").mkdir()
    text = lot_text(8.0).replace('"front.jpg"', '"shots/front_*.jpg"')
    (lot / "job.toml").write_text(text)
    folders, named = watched(lot / "job.toml")
    assert folders == {lot, lot / "shots"}
    assert ("front", "shots/front_*.jpg", False, ()) in named.pictures

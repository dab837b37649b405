"""Proves what the day's folder holds: every picture under a name of ours, whole, never overwritten.

Times are noted by Pillow. Does not prove what being killed leaves: `python -m
tests.accuracy.kept_uploads` does.
"""

from __future__ import annotations

import errno
import os
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from vision.files import day_folder
from vision.files.day_folder import DayFolder, newest, plain_name
from vision.units.errors import BadInputError

CAMERAS = ("front", "Rück spiegel")


def still(level: int, taken: str | None = None) -> bytes:
    image, exif, into = Image.new("RGB", (96, 80), (level,) * 3), Image.Exif(), BytesIO()
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken
    image.save(into, "JPEG", **({"exif": exif} if taken else {}))
    return into.getvalue()


@pytest.fixture
def day(tmp_path: Path) -> DayFolder:
    return DayFolder(path=tmp_path / "seamtrue-lot" / "2026-03-02")


def test_pictures_are_kept_whole_under_names_of_ours(day: DayFolder) -> None:
    first = day.add(still(1), "jpg", "front")
    second = day.add(still(2), "jpg", "Rück spiegel")
    third = day.add(still(3), "png", None)
    assert [first.number, second.number, third.number] == [1, 2, 3]
    assert day.snapshots(CAMERAS) == (first, second, third)
    assert (day.path / first.file).read_bytes() == still(1)
    assert first.file.startswith("front-0001-")
    assert third.file.startswith("unsorted-0003-")
    assert all(each.isascii() for snapshot in day.snapshots(CAMERAS) for each in snapshot.file)
    # A camera that the job no longer has keeps its pictures, and is not shown.
    assert day.snapshots(("front",)) == (first, third)


@pytest.mark.parametrize("name", ["unsorted", "FRONT", "../front", "a" * 200, "نام", ""])
def test_any_cameras_name_begins_a_plain_file_name(name: str) -> None:
    plain = plain_name(name)
    assert plain.startswith("camera_")
    assert plain == plain_name(name) != plain_name(name + "x")


def test_the_newest_is_by_the_cameras_own_clock_where_all_note_it(day: DayFolder) -> None:
    late = day.add(still(1, "2026:03:02 15:00:00"), "jpg", "front")
    day.add(still(2, "2026:03:02 09:00:00"), "jpg", "front")
    assert newest(day.snapshots(CAMERAS), "front") == late
    last = day.add(still(3), "jpg", "front")
    assert newest(day.snapshots(CAMERAS), "front") == last
    assert newest(day.snapshots(CAMERAS), "Rück spiegel") is None


def test_a_picture_taken_back_stays_on_the_disk(day: DayFolder) -> None:
    before = day.add(still(1), "jpg", "front")
    wrong = day.add(still(2), "jpg", "front")
    day.take_back(wrong)
    assert newest(day.snapshots(CAMERAS), "front") == before
    assert (day.path / wrong.file).read_bytes() == still(2)
    day.take_back(wrong, back=False)
    assert newest(day.snapshots(CAMERAS), "front") == wrong


def test_an_unsorted_picture_is_given_to_its_camera(day: DayFolder) -> None:
    asked = day.add(still(1), "jpg", None)
    given = day.give(asked, "front")
    assert day.snapshots(CAMERAS) == (given,)
    assert (day.path / given.file).read_bytes() == still(1)
    # Stopped between its two names: it is there once.
    os.link(day.path / given.file, day.path / asked.file)
    assert day.snapshots(CAMERAS) == (given,)


def test_a_full_disk_is_said_and_leaves_nothing(day: DayFolder, monkeypatch) -> None:
    held = day.add(still(1), "jpg", "front")

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(day_folder.os, "fsync", full)
    with pytest.raises(BadInputError, match="a full disk"):
        day.add(still(2), "jpg", "front")
    monkeypatch.undo()
    assert [each.name for each in day.path.iterdir()] == [held.file]


def test_a_disk_without_links_will_do(day: DayFolder, monkeypatch) -> None:
    def refused(*names: object) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(day_folder.os, "link", refused)
    kept = day.add(still(1), "jpg", "front")
    assert [each.name for each in day.path.iterdir()] == [kept.file]


def test_what_an_interrupted_writer_left_is_no_picture(day: DayFolder) -> None:
    day.add(still(1), "jpg", "front")
    (day.path / ".x123.part").write_bytes(still(2)[:100])
    (day.path / "front-0009-000000000000.jpg.found.json").write_text("{")
    assert len(day.snapshots(CAMERAS)) == 1
    day.tidy()
    assert not (day.path / ".x123.part").exists()


def test_notes_and_findings_come_back(day: DayFolder) -> None:
    kept = day.add(still(1), "jpg", "front")
    assert day.note() == ""
    assert day.found(kept) is None
    day.keep_note("windy, front bracket loose")
    day.keep_found(kept, {"verdict": "keep"})
    assert DayFolder(path=day.path).note() == "windy, front bracket loose"
    assert DayFolder(path=day.path).found(kept) == {"verdict": "keep"}

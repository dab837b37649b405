"""Proves which file is a camera's picture: by name, by pattern, and the newest of several.

What a file notes of when it was taken is checked against notes that Pillow writes, and against the
bytes of CIPA DC-008 put together by hand. Does not prove: that a camera's clock is right.
"""

from __future__ import annotations

import os
import struct
from datetime import datetime
from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from vision.files.disk import read_picture
from vision.files.picture_files import nearest_file, newest
from vision.marks.exif import Noted, noted_in
from vision.marks.picture_header import FORMATS
from vision.units.errors import BadInputError

CAMERAS = ("front", "left", "left_rear")


def still(taken: str | None = None, *, ending: str = "JPEG", tag: int = 0x9003) -> bytes:
    image, exif, into = Image.new("RGB", (96, 80), (90, 120, 60)), Image.Exif(), BytesIO()
    if taken:
        exif.get_ifd(0x8769)[tag] = taken
        exif[0x0112] = 6
    image.save(into, ending, **({"exif": exif} if taken else {}))
    return into.getvalue()


def put(folder: Path, name: str, data: bytes, changed_s: float) -> None:
    (folder / name).write_bytes(data)
    os.utime(folder / name, (changed_s, changed_s))


def taken_of(folder: Path, camera: str, picture: str | None = None) -> str:
    return read_picture(folder, picture, camera, cameras=CAMERAS, job_file="job.toml").file


def refusal(folder: Path, camera: str, picture: str | None = None) -> str:
    with pytest.raises(BadInputError) as caught:
        taken_of(folder, camera, picture)
    (fault,) = caught.value.faults
    assert fault.key == f"camera.{camera}.picture"
    return str(fault)


@pytest.mark.parametrize("ending", ["JPEG", "PNG"])
def test_what_another_library_notes_is_read(ending: str) -> None:
    noted = noted_in(still("2026:03:02 14:05:09", ending=ending))
    assert noted == Noted(taken=datetime(2026, 3, 2, 14, 5, 9), orientation=6)
    assert noted_in(still(ending=ending)) == Noted()
    scanned = noted_in(still("2026:03:02 14:05:09", ending=ending, tag=0x9004))
    assert scanned.taken == datetime(2026, 3, 2, 14, 5, 9)
    assert noted_in(still("0000:00:00 00:00:00", ending=ending)).taken is None


def test_digits_behind_the_second() -> None:
    # Big-endian: IFD0 points to a sub-IFD with DateTimeOriginal and SubSecTimeOriginal "25".
    text = b"2026:03:02 14:05:09\0"
    first = struct.pack(">HHHII", 1, 0x8769, 4, 1, 26) + b"\0\0\0\0"
    below = struct.pack(">HHHII", 2, 0x9003, 2, 20, 56) + struct.pack(">HHI4s", 0x9291, 2, 3, b"25")
    tiff = b"MM\0*\0\0\0\x08" + first + below + b"\0\0\0\0" + text
    body = b"Exif\0\0" + tiff
    data = b"\xff\xd8\xff\xe1" + struct.pack(">H", len(body) + 2) + body + b"\xff\xda"
    assert noted_in(data).taken == datetime(2026, 3, 2, 14, 5, 9, 250_000)


@given(cut=st.integers(0, 400), at=st.integers(0, 399), value=st.integers(0, 255))
def test_damaged_notes_are_no_notes(cut: int, at: int, value: int) -> None:
    data = bytearray(still("2026:03:02 14:05:09"))
    data[at] = value
    noted = noted_in(bytes(data[: len(data) - cut]))
    assert 1 <= noted.orientation <= 8


def test_the_newest_is_the_last_one_taken_where_all_say_when(tmp_path: Path) -> None:
    put(tmp_path, "left_1.jpg", still("2026:03:02 14:00:00"), 3e9)
    put(tmp_path, "left_2.jpg", still("2026:03:02 15:00:00"), 1e9)
    assert newest(tmp_path, ["left_1.jpg", "left_2.jpg"]).name == "left_2.jpg"
    assert taken_of(tmp_path, "left", "left_*.jpg") == "left_2.jpg"
    # One that does not say when: only the times of change are there for all.
    put(tmp_path, "left_3.jpg", still(), 2e9)
    assert taken_of(tmp_path, "left", "left_*.jpg") == "left_1.jpg"


def test_a_picture_is_found_by_its_camera_s_name(tmp_path: Path) -> None:
    put(tmp_path, "FRONT.PNG", still(ending="PNG"), 1e9)
    put(tmp_path, "left.JPG", still(), 1e9)
    put(tmp_path, "LEFT_0012.jpeg", still(), 2e9)
    put(tmp_path, "left_rear_1.jpg", still(), 3e9)
    put(tmp_path, "leftover.jpg", still(), 4e9)
    put(tmp_path, "left_notes.txt", b"x", 5e9)
    (tmp_path / "left_9.jpg").mkdir()
    assert [taken_of(tmp_path, each) for each in CAMERAS] == [
        "FRONT.PNG",
        "LEFT_0012.jpeg",
        "left_rear_1.jpg",
    ]


def test_what_no_file_fits_is_said_with_what_there_is(tmp_path: Path) -> None:
    assert "found no such file" in refusal(tmp_path, "left")
    put(tmp_path, "left.gif", b"x", 1e9)
    said = refusal(tmp_path, "left")
    assert "only 'left.gif'" in said
    assert FORMATS in said


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("front.jpg", "Front.JPG"), ("Frnt.JPG", "Front.JPG"), ("front*.jpg", "Front.JPG")],
)
def test_a_name_in_another_case_is_offered(tmp_path: Path, typed: str, meant: str) -> None:
    put(tmp_path, "Front.JPG", still(), 1e9)
    assert f"`{meant}`" in refusal(tmp_path, "front", typed)


def test_what_is_there_needs_no_other_name(tmp_path: Path) -> None:
    put(tmp_path, "a.jpg", b"", 1)
    assert nearest_file(tmp_path / "a.jpg") is None
    assert nearest_file(tmp_path / "quite_another.png") is None
    assert nearest_file(tmp_path / "nowhere" / "a.jpg") is None

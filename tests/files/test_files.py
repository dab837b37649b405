"""Proves that pictures, jobs and results pass the disk whole or with one clear message.

Proves: pictures of every promised kind are read and turned back, broken ones are refused before or
after decoding with one clear message, faults of job and pictures come together, and results are
written whole or not at all.

Does not prove: behaviour on a full disk or after a power cut, nor permissions (tests may run as a
user who has them all).
"""

from __future__ import annotations

import hashlib
import os
import struct
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.refusing import refused
from vision.files import disk, pictures
from vision.files.disk import (
    read_inspection_input,
    read_job,
    read_picture,
    write_all,
)
from vision.marks.picture import Picture
from vision.marks.picture_header import read_header
from vision.units.errors import BadInputError

JOB = """
[job]
name = "small"
units = "m"
[vehicle]
length = 8
width = 2
[lens.wide]
field_of_view_deg = 187
[camera.front]
picture = "front.png"
lens = "wide"
position = [4, 0, 2]
pan_deg = 0
tilt_deg = 45
roll_deg = 0
[camera.rear]
picture = "rear_*.jpg"
lens = "wide"
position = [-4, 0, 2]
pan_deg = 180
tilt_deg = 45
roll_deg = 0
mirrored = true
[mark.a]
at = [6, 0]
kind = "quadrant"
radius = 0.06
"""


def pixels(height: int = 90, width: int = 120) -> np.ndarray:
    """Smooth colours, so that JPEG keeps them."""
    v, u = np.mgrid[:height, :width]
    return np.stack([u * 2, v * 2, 255 - u - v], axis=-1).astype(np.uint8)


def encoded(ending: str, image: np.ndarray | None = None) -> bytes:
    ok, data = cv2.imencode(ending, pixels() if image is None else image)
    assert ok
    return data.tobytes()


@pytest.fixture
def job(tmp_path: Path) -> Path:
    (tmp_path / "job.toml").write_text(JOB)
    (tmp_path / "front.png").write_bytes(encoded(".png"))
    (tmp_path / "rear_1.jpg").write_bytes(encoded(".jpg"))
    return tmp_path / "job.toml"


def refusal(data: bytes) -> str:
    with pytest.raises(BadInputError) as caught:
        pictures.opened(data, "front.jpg")
    assert len(caught.value.faults) == 1
    return str(caught.value)


# -------------------------------------------------------------------------------------- pictures


def test_a_job_with_its_pictures(job: Path) -> None:
    read, pictures = read_inspection_input(job)
    assert [camera.name for camera in read.cameras] == ["front", "rear"]
    front, rear = pictures
    assert (front.name, front.file, front.width, front.height) == ("front", "front.png", 120, 90)
    assert front.sha256 == hashlib.sha256((job.parent / "front.png").read_bytes()).hexdigest()
    assert (front.bgr == pixels()).all()
    assert (rear.file, rear.mirrored) == ("rear_1.jpg", True)
    assert np.abs(rear.bgr[:, ::-1].astype(int) - pixels()).max() < 12
    assert read_job(str(job))[1] == job.parent


def test_the_newest_match_is_taken_and_ties_go_by_name(job: Path) -> None:
    folder = job.parent
    for name, seconds in (("rear_1.jpg", 30), ("rear_2.jpg", 20), ("rear_0.jpg", 30)):
        (folder / name).write_bytes(encoded(".jpg"))
        os.utime(folder / name, (seconds, seconds))
    (folder / "rear_9.jpg").mkdir()
    (folder / "REAR_8.jpg").write_bytes(b"")
    assert read_picture(folder, "rear_?.jpg", "rear").file == "rear_1.jpg"
    (folder / "re[a]r.jpg").write_bytes(encoded(".jpg"))
    assert read_picture(folder, "re[a]r*.jpg", "rear").file == "re[a]r.jpg"


def test_sixteen_bits_grey_and_alpha() -> None:
    grey = pixels()[..., 2]
    assert (pictures.opened(encoded(".png", grey), "a").bgr == grey[..., None]).all()
    deep = grey.astype(np.uint16) * 257
    assert (
        np.abs(pictures.opened(encoded(".png", deep), "a").bgr.astype(int) - grey[..., None]).max()
        < 2
    )
    alpha = np.dstack([pixels(), np.zeros_like(grey)])
    assert (pictures.opened(encoded(".png", alpha), "a").bgr == pixels()).all()
    assert (pictures.opened(encoded(".bmp"), "a").bgr == pixels()).all()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "an empty file"),
        (b"no picture", "another format"),
        (b"GIF89a" + bytes(100), "another format"),
        (encoded(".jpg")[:100], "broken header"),
        (encoded(".jpg")[:-2], "breaks off"),
        (encoded(".jpg")[:-300], "breaks off"),
        (encoded(".jpg")[:-300] + b"\xff\xd9", "damaged"),
        (encoded(".png")[:-12], "breaks off"),
        (encoded(".png")[:-200], "breaks off"),
        (encoded(".bmp")[:-1], "breaks off"),
        (encoded(".png", pixels(63, 120)), "at least 64 px"),
        (encoded(".jpg", pixels(120, 2)), "at least 64 px"),
        (b"\xff\xd8\xff", "another format"),
        (b"BM", "another format"),
        (b"\x89PNG\r\n\x1a\n", "another format"),
    ],
    ids=lambda value: value if isinstance(value, str) else str(len(value)),
)
def test_pictures_that_are_refused(data: bytes, words: str, capfd: pytest.CaptureFixture) -> None:
    assert words in refusal(data)
    assert capfd.readouterr() == ("", "")


def test_one_changed_byte_in_a_png() -> None:
    data = bytearray(encoded(".png"))
    data[len(data) // 2] ^= 1
    assert "damaged" in refusal(bytes(data))


def test_a_preview_does_not_pass_for_the_end() -> None:
    plain, preview = encoded(".jpg"), encoded(".jpg", pixels(64, 64))
    with_preview = (
        plain[:2] + b"\xff\xe1" + struct.pack(">H", len(preview) + 2) + preview + plain[2:]
    )
    assert pictures.opened(with_preview, "a").bgr.shape == (90, 120, 3)
    assert "breaks off" in refusal(with_preview[:-300])


def test_a_file_too_large_for_a_picture_is_refused(monkeypatch):
    monkeypatch.setattr(pictures, "LARGEST_BYTES", 1_000_000)
    with refused("file-too-large"):
        pictures.opened(encoded(".bmp", pixels(900, 1200)), "a")


def test_a_declared_size_is_refused_before_decoding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "import_cv2", lambda: pytest.fail("decoded"))
    png = bytearray(encoded(".png"))
    png[16:24] = struct.pack(">II", 50_000, 50_000)
    assert "50000 x 50000 px" in refusal(bytes(png))
    jpeg = bytearray(encoded(".jpg"))
    at = jpeg.find(b"\xff\xc0")
    jpeg[at + 5 : at + 9] = struct.pack(">HH", 50_000, 50_000)
    assert "at most 100 megapixels" in refusal(bytes(jpeg))
    bmp = bytearray(encoded(".bmp"))
    bmp[18:26] = struct.pack("<ii", 50_000, -50_000)
    assert "at most 100 megapixels" in refusal(bytes(bmp))


@pytest.mark.parametrize("ending", [".jpg", ".png", ".bmp"])
def test_spoiled_headers_end_in_a_picture_or_a_refusal(ending: str) -> None:
    rng = np.random.default_rng(7)
    refused: list[int] = []
    for _ in range(150):
        data = bytearray(encoded(ending, pixels(64, 64)))
        for place in rng.integers(0, min(len(data), 700), 4):
            data[place] = rng.integers(0, 256)
        try:
            pictures.opened(bytes(data[: rng.integers(1, len(data) + 1)]), "a")
            pictures.opened(bytes(data), "a")
        except BadInputError as error:
            refused.append(len(error.faults))
    assert set(refused) == {1}
    assert read_header(bytes(data[:10])) is None


def test_faults_of_job_and_pictures_come_together(job: Path) -> None:
    job.write_text(JOB.replace("length = 8", "length = 0"))
    (job.parent / "front.png").write_bytes(b"")
    (job.parent / "rear_1.jpg").unlink()
    with pytest.raises(BadInputError) as caught:
        read_inspection_input(job)
    where = [(fault.file, fault.key) for fault in caught.value.faults]
    assert where == [
        ("job.toml", "vehicle.length"),
        ("front.png", "camera.front.picture"),
        ("job.toml", "camera.rear.picture"),
    ]


def test_missing_picture_and_folder_in_its_place(job: Path) -> None:
    (job.parent / "front.png").unlink()
    with refused("no-such-file"):
        read_inspection_input(job)
    (job.parent / "front.png").mkdir()
    with refused("folder"):
        read_inspection_input(job)


def test_a_lens_for_other_pictures(job: Path) -> None:
    lens = (
        '{"schema": "seamtrue.lens/1", "model": "kannala-brandt", "width": 1280, "height": 720,'
        '"fx": 330, "fy": 330, "cx": 640, "cy": 360, "k": [0, 0, 0, 0]}'
    )
    job.write_text(JOB.replace("field_of_view_deg = 187", 'file = "wide.json"'))
    with refused("no-such-file"):
        read_job(job)
    (job.parent / "wide.json").write_text(lens)
    assert read_job(job)[0].lenses[0].fitted is not None
    with refused("lens-size", "lens-size"):
        read_inspection_input(job)


@pytest.mark.parametrize("name", ["missing.toml", ".", "missing/job.toml", "front.png", "a\0b"])
def test_paths_that_are_no_job(job: Path, name: str) -> None:
    for read in (read_job, read_inspection_input):
        with pytest.raises(BadInputError, match="expected a job file"):
            read(job.parent / name)


def test_opencv_that_cannot_load(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cv2", None)
    with refused("library"):
        pictures.import_cv2()


# --------------------------------------------------------------------------------- picture values


def test_back_to_the_picture_as_delivered() -> None:
    def make(*, mirrored: bool) -> Picture:
        return Picture.from_delivered(
            name="rear", file="rear.jpg", sha256="0", mirrored=mirrored, bgr=pixels()
        )

    turned, plain = make(mirrored=True), make(mirrored=False)
    u, v = 17, 40
    ((du, dv),) = turned.as_delivered(np.array([[u, v]])).astype(int)
    assert (turned.bgr[v, u] == pixels()[dv, du]).all()
    points = np.random.default_rng(1).uniform(0, 100, (3, 4, 2))
    assert turned.as_delivered(turned.as_delivered(points)) == pytest.approx(points)
    assert (plain.as_delivered(points) == points).all()
    covariance = np.array([[[2.0, 0.5], [0.5, 1.0]]])
    assert turned.covariance_as_delivered(covariance).tolist() == [[[2.0, -0.5], [-0.5, 1.0]]]
    assert (plain.covariance_as_delivered(covariance) == covariance).all()
    assert turned.vectors_as_delivered(np.array([1.0, 2.0])).tolist() == [-1.0, 2.0]


def test_a_picture_is_frozen_and_its_grey_is_luma() -> None:
    bgr = pixels()
    picture = Picture(name="a", file="a", sha256="0", mirrored=False, bgr=bgr)
    bgr[:] = 0
    assert picture.bgr.any()
    # OpenCV's own conversion uses the same weights (ITU-R BT.601), rounded to whole levels.
    assert np.abs(picture.grey - cv2.cvtColor(pixels(), cv2.COLOR_BGR2GRAY)).max() <= 0.51
    assert picture.grey.dtype == np.float32
    with pytest.raises(ValueError, match="read-only"):
        picture.bgr[0, 0] = 1
    with pytest.raises(ValueError, match="expected"):
        Picture(name="a", file="a", sha256="0", mirrored=False, bgr=bgr[..., 0])


# ---------------------------------------------------------------------------------------- results


def test_results_are_written_and_replaced(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "b"
    write_all(folder, {"x.json": b"1", "y.html": b"2"})
    write_all(str(folder), {"x.json": b"3"})
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == {
        "x.json": b"3",
        "y.html": b"2",
    }


def test_nothing_is_left_behind_when_writing_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_all(tmp_path, {"x": b"old"})

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(disk.os, "fsync", full)
    with refused("folder-not-made"):
        write_all(tmp_path, {"x": b"new", "y": b"new"})
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"x": b"old"}


def test_an_interruption_leaves_whole_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_all(tmp_path, {"x": b"old", "y": b"old"})
    replace, done = os.replace, []

    def interrupted(source: str, target: Path) -> None:
        if done:
            raise KeyboardInterrupt
        done.append(target)
        replace(source, target)

    monkeypatch.setattr(disk.os, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_all(tmp_path, {"x": b"new", "y": b"new"})
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {
        "x": b"new",
        "y": b"old",
    }


def test_folders_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    (tmp_path / "out" / "x").mkdir(parents=True)
    for folder in (tmp_path / "file", tmp_path / "file" / "below", tmp_path / "a\0b"):
        with refused("folder-not-made"):
            write_all(folder, {"x": b""})
    with refused("folder"):
        write_all(tmp_path / "out", {"a": b"", "x": b""})
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["x"]
    with pytest.raises(ValueError, match="plain file names"):
        write_all(tmp_path, {"../x": b""})


def test_text_that_is_none_is_no_fault_of_the_folder(tmp_path):
    with pytest.raises(UnicodeEncodeError):
        write_all(tmp_path / "new", {"a.txt": "fine", "b.txt": "\ud800"})
    assert not (tmp_path / "new").exists()
    write_all(tmp_path, {"a.txt": "depot \u2014\r\n"})
    assert (tmp_path / "a.txt").read_bytes() == "depot \u2014\r\n".encode()


def test_a_folder_that_cannot_be_is_refused_before_anybody_waits(tmp_path: Path) -> None:
    disk.folder_ready(tmp_path)
    disk.folder_ready(tmp_path / "new" / "deep")
    assert not (tmp_path / "new").exists()
    taken = tmp_path / "taken"
    taken.write_text("mine")
    for folder in (taken, taken / "below"):
        with refused("folder-not-made"):
            disk.folder_ready(folder)
    assert taken.read_text() == "mine"

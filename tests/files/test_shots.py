"""Proves which files several pictures of one camera are, and that their faults come together."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image
from typer.testing import CliRunner

from cli.main import app
from tests.files.pictures import exif_of, file_of
from tests.files.test_files import JOB, encoded, pixels
from tests.paths import CLEAR_DAY
from vision.files.disk import read_inspection_input
from vision.files.picture_files import MOST_SHOTS
from vision.units.errors import BadInputError


def job_with(folder: Path, pictures: str) -> Path:
    text = JOB.replace('picture = "rear_*.jpg"', f"pictures = {pictures}")
    (folder / "job.toml").write_text(text)
    (folder / "front.png").write_bytes(encoded(".png"))
    return folder / "job.toml"


def shot(number: int) -> bytes:
    return encoded(".jpg", np.roll(pixels(), number, axis=1))


def rear_files(path: Path) -> list[str]:
    rear = read_inspection_input(path)[1][1]
    assert [each.file for each in (rear, *rear.shots)] == [each.file for each in rear.sources]
    return [each.file for each in rear.sources]


def test_every_match_is_a_picture_of_the_camera(tmp_path: Path) -> None:
    path = job_with(tmp_path, '["rear_*.jpg", "late.jpg"]')
    for number, name in enumerate(("rear_2.jpg", "rear_1.jpg", "late.jpg", "other.jpg")):
        (tmp_path / name).write_bytes(shot(number))
    assert rear_files(path) == ["rear_1.jpg", "rear_2.jpg", "late.jpg"]
    rear = read_inspection_input(path)[1][1]
    assert rear.mirrored
    assert all(each.mirrored for each in rear.shots)
    assert rear.led_by(2).file == "late.jpg"
    assert [each.file for each in rear.led_by(2).sources] == [
        "late.jpg",
        "rear_1.jpg",
        "rear_2.jpg",
    ]


def test_copies_are_left_out_and_times_give_the_order(tmp_path: Path) -> None:
    path = job_with(tmp_path, '["rear_*.jpg"]')
    for name, minute in (("rear_a.jpg", 9), ("rear_b.jpg", 3), ("rear_c.jpg", 9)):
        time = {ExifTags.Base.DateTimeOriginal: f"2026:05:04 09:{minute:02d}:00"}
        (tmp_path / name).write_bytes(file_of("JPEG", exif=exif_of({}, time)))
    assert rear_files(path) == ["rear_b.jpg", "rear_a.jpg"]


def faults_of(path: Path) -> list[tuple[str, str]]:
    with pytest.raises(BadInputError) as caught:
        read_inspection_input(path)
    return [(each.file, each.key) for each in caught.value.faults]


def test_faults_of_every_picture_come_together(tmp_path: Path) -> None:
    path = job_with(tmp_path, '["rear_*.jpg"]')
    (tmp_path / "rear_1.jpg").write_bytes(shot(1))
    (tmp_path / "rear_2.jpg").write_bytes(shot(2)[:-300])
    (tmp_path / "rear_3.jpg").write_bytes(encoded(".jpg", pixels(90, 200)))
    key = "camera.rear.pictures"
    assert faults_of(path) == [("rear_2.jpg", key), ("rear_3.jpg", key)]


@pytest.mark.parametrize(
    ("pictures", "key"),
    [
        ('["rear_*.jpg"]', "camera.rear.pictures"),
        ('["missing.jpg"]', "camera.rear.pictures"),
        ("[]", "camera.rear.pictures"),
        ('"rear.jpg"', "camera.rear.pictures"),
        ("[1]", "camera.rear.pictures[0]"),
        ('["../rear.jpg"]', "camera.rear.pictures[0]"),
        ('["a.jpg"]\npicture = "a.jpg"', "camera.rear.pictures"),
    ],
)
def test_what_cannot_be_is_refused_with_its_key(tmp_path: Path, pictures: str, key: str) -> None:
    assert key in [found for _, found in faults_of(job_with(tmp_path, pictures))]


def test_too_many_are_refused_before_one_is_read(tmp_path: Path) -> None:
    path = job_with(tmp_path, '["rear_*.jpg"]')
    for number in range(MOST_SHOTS + 1):
        (tmp_path / f"rear_{number}.jpg").write_bytes(b"")
    assert faults_of(path) == [("job.toml", "camera.rear.pictures")]


def test_a_check_with_two_pictures_of_one_camera(tmp_path: Path) -> None:
    """The whole way, one camera covered in its first picture."""
    folder = CLEAR_DAY.parent
    text = CLEAR_DAY.read_text(encoding="utf-8")
    text = text.replace('picture = "front.jpg"', 'pictures = ["front_*.jpg"]')
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    for camera in ("rear", "left", "right"):
        (tmp_path / f"{camera}.jpg").write_bytes((folder / f"{camera}.jpg").read_bytes())
    (tmp_path / "front_1.jpg").write_bytes(encoded(".jpg", np.full((720, 1280, 3), 90, np.uint8)))
    rng = np.random.default_rng(1)
    with Image.open(folder / "front.jpg") as image:
        seen = np.asarray(image)
        image.save(tmp_path / "front_2.jpg", quality=95)
    noisy = np.clip(seen + rng.normal(0, 3, seen.shape), 0, 255).astype(np.uint8)
    Image.fromarray(noisy).save(tmp_path / "front_3.jpg", quality=95)
    done = CliRunner().invoke(app, ["check", str(tmp_path / "job.toml"), "--out", str(tmp_path)])
    assert done.exit_code in (0, 4), done.output
    result = json.loads((tmp_path / "inspection.json").read_text(encoding="utf-8"))
    (front,) = (each for each in result["cameras"] if each["name"] == "front")
    assert front["picture"]["file"] == "front_2.jpg"
    assert [each["file"] for each in front["picture"]["sources"]] == [
        "front_2.jpg", "front_1.jpg", "front_3.jpg",
    ]  # fmt: skip
    assert front["marks_used"] >= 0.9 * front["marks_expected"]
    assert any("picture 2 of the front camera" in each for each in result["warnings"])

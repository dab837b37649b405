"""Proves that pictures of every promised format come in as a person looks at them, or are refused.

Pillow is the independent judge of orientation (its `exif_transpose`) and writes every file here.

Proves: TIFF, WebP, AVIF and HEIC, grey and 16 bits; all eight orientations; times as a camera noted
them; that places go nowhere; and that what breaks a decoder, wants too much memory or takes too
long ends as one clear message.

Does not prove: phone files in tiles, which no library here writes.
"""

from __future__ import annotations

import base64
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image, ImageOps
from typer.testing import CliRunner

from cli.main import app
from tests.files.pictures import PIXELS, exif_of, file_of
from tests.paths import CLEAR_DAY
from tests.refusing import refused
from vision.files import pictures
from vision.files.decoding import apart
from vision.files.decoding.apart import Refused, decoded_apart
from vision.inspection.verdict.sources import source_notes
from vision.marks.exif import noted_in
from vision.marks.picture import Picture
from vision.marks.picture_header import format_apart
from vision.marks.sources.origin import Source
from vision.units.errors import BadInputError

FORMATS = {"TIFF": 0, "WebP": 3, "AVIF": 3, "HEIC": 3}
"""And by how many levels pixels may differ in the mean: smooth colours at high quality."""


@pytest.mark.parametrize("name", FORMATS)
def test_each_format_is_decoded_apart(name: str) -> None:
    data = file_of(name)
    assert format_apart(data) == name
    opened = pictures.opened(data, "front")
    off = np.abs(opened.bgr[..., ::-1].astype(int) - PIXELS)
    assert opened.format == name
    assert off.mean() <= FORMATS[name]


@pytest.mark.parametrize("name", ["JPEG", "PNG", "TIFF", "WebP", "AVIF", "HEIC"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_obeyed_and_said(name: str, orientation: int) -> None:
    data = file_of(name, exif=exif_of({ExifTags.Base.Orientation: orientation}))
    opened = pictures.opened(data, "front")
    tagged = Image.fromarray(PIXELS)
    tagged.getexif()[ExifTags.Base.Orientation] = orientation
    judge = np.asarray(ImageOps.exif_transpose(tagged))
    assert opened.bgr.shape == judge.shape
    assert np.abs(opened.bgr[..., ::-1].astype(int) - judge).mean() < 4
    # A HEIC file may say it in its container, whose reader turns the pixels by itself.
    assert name == "HEIC" or (opened.noted.turned == "not") == (orientation == 1)


@pytest.mark.parametrize("deep", [np.uint16, np.uint8])
@pytest.mark.parametrize("name", ["TIFF", "PNG"])
def test_grey_and_sixteen_bits(name: str, deep: type) -> None:
    grey = PIXELS[..., 1]
    levels = grey.astype(deep) * (257 if deep is np.uint16 else 1)
    stream = io.BytesIO()
    Image.fromarray(levels).save(stream, name)
    found = pictures.opened(stream.getvalue(), "front").bgr
    assert (found == grey[..., None]).all()


def test_levels_without_a_known_white_are_refused() -> None:
    stream = io.BytesIO()
    Image.fromarray(PIXELS[..., 1].astype(np.float32)).save(stream, "TIFF")
    with refused("levels"):
        pictures.opened(stream.getvalue(), "front")


@pytest.mark.parametrize("name", ["JPEG", "PNG", "TIFF", "WebP", "AVIF", "HEIC"])
def test_the_time_is_the_cameras_own(name: str) -> None:
    tags = {ExifTags.Base.DateTimeOriginal: "2026:05:04 09:10:11"}
    zone = {ExifTags.Base.OffsetTimeOriginal: "+02:00"}
    assert pictures.opened(file_of(name), "a").noted.time is None
    for more, said in (({}, ""), (zone, "+02:00")):
        opened = pictures.opened(file_of(name, exif=exif_of({}, {**tags, **more})), "a")
        assert opened.noted.time == f"2026-05-04T09:10:11{said}"


@pytest.mark.parametrize("text", ["0000:00:00 00:00:00", "2026:13:40 09:10:11", "yesterday", ""])
def test_a_time_that_cannot_be_is_none(text: str) -> None:
    data = file_of("JPEG", exif=exif_of({}, {ExifTags.Base.DateTimeOriginal: text}))
    assert noted_in(data).time is None


def test_what_is_noted_of_spoiled_files_never_raises() -> None:
    rng = np.random.default_rng(3)
    tags = {ExifTags.Base.DateTimeOriginal: "2026:05:04 09:10:11"}
    for name in ("JPEG", "PNG", "TIFF", "WebP"):
        whole = file_of(name, exif=exif_of({ExifTags.Base.Orientation: 6}, tags))
        for _ in range(300):
            data = bytearray(whole)
            for place in rng.integers(0, min(len(data), 400), 3):
                data[place] = rng.integers(0, 256)
            noted_in(bytes(data[: rng.integers(0, len(data))]))


# ------------------------------------------------------------------------------------ hostile


@pytest.mark.parametrize("name", FORMATS)
@pytest.mark.parametrize("keep", [0.3, 0.9])
def test_a_file_that_breaks_off(name: str, keep: float) -> None:
    data = file_of(name)
    with pytest.raises(BadInputError) as caught:
        pictures.opened(data[: int(len(data) * keep)], "front")
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize("name", FORMATS)
def test_a_size_is_refused_before_anything_is_decoded(name: str) -> None:
    data = file_of(name)
    height, width = PIXELS.shape[:2]
    assert decoded_apart(data, name, width * height - 1, 64) == Refused(
        code="size", width=width, height=height
    )
    assert decoded_apart(data, name, 10**8, height + 1).code == "size"


def test_a_decoder_that_wants_too_much_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    # Pillow writes a plain picture of 90 megapixels into a few hundred kilobytes.
    stream = io.BytesIO()
    Image.new("L", (9500, 9500)).save(stream, "TIFF", compression="tiff_adobe_deflate")
    monkeypatch.setattr(apart, "MEMORY_BYTES", 100 << 20)
    with pytest.raises(BadInputError) as caught:
        pictures.opened(stream.getvalue(), "front")
    assert len(caught.value.faults) == 1


def test_a_decoder_that_does_not_come_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(apart, "SECONDS", 1)
    monkeypatch.setattr(apart.worker, "__file__", str(Path(__file__).with_name("sleeper.py")))
    assert decoded_apart(file_of("TIFF"), "TIFF", 10**8, 64) == Refused(code="time")


def test_a_decoder_that_dies_without_a_word(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(apart.worker, "__file__", str(Path(__file__).with_name("nothing.py")))
    with refused("damaged"):
        pictures.opened(file_of("TIFF"), "front")


def test_a_format_without_a_reader_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "decoded_apart", lambda *given: Refused(code="no-reader"))
    with refused("no-reader"):
        pictures.opened(file_of("HEIC"), "front")


# ------------------------------------------------------------------------------------ end to end


def taken(*times: str | None, turned: str = "not") -> list[Picture]:
    """Pictures of as many cameras, noted to be of these times."""
    return [
        Picture.from_delivered(
            name=str(index),
            file=f"{index}.jpg",
            sha256="0",
            mirrored=False,
            bgr=PIXELS,
            sources=(
                Source(
                    file=f"{index}.jpg",
                    sha256="0",
                    format="JPEG",
                    time=time,
                    turned=turned,
                    crop_px=(0, 0, 120, 90),
                ),
            ),
        )
        for index, time in enumerate(times)
    ]


@pytest.mark.parametrize(
    ("times", "apart_h"),
    [
        ((), None),
        ((None, None), None),
        (("2026-05-04T09:00:00", None), None),
        (("2026-05-04T09:00:00", "2026-05-04T12:59:00"), None),
        (("2026-05-04T09:00:00", None, "2026-05-04T14:00:00"), 5),
        (("2026-05-04T09:00:00+02:00", "2026-05-04T08:30:00+00:00"), None),
        (("2026-05-04T09:00:00+09:00", "2026-05-04T09:00:00+00:00"), 9),
        (("2026-05-04T09:00:00+09:00", "2026-05-04T09:00:00"), None),
    ],
)
def test_pictures_far_apart_are_told_from_what_cameras_noted(times, apart_h) -> None:
    found = source_notes(taken(*times))
    assert [each.code for each in found] == ([] if apart_h is None else ["taken-apart"])
    if apart_h is not None:
        assert found[0].arguments["apart_s"] == apart_h * 3600


def test_a_turned_picture_is_said() -> None:
    assert [each.code for each in source_notes(taken(None, turned="half turn"))] == [
        "picture-turned"
    ]


PLACE = (53.0, 14.0, 27.25)


def test_places_reach_no_report_record_or_result(tmp_path: Path) -> None:
    """A check of pictures of other formats, whose files say where they were taken."""
    folder = CLEAR_DAY.parent
    text = (folder / "job.toml").read_text(encoding="utf-8")
    tags = {ExifTags.Base.DateTimeOriginal: "2026:05:04 09:10:11"}
    places = {ExifTags.GPS.GPSLatitude: PLACE, ExifTags.GPS.GPSLatitudeRef: "N"}
    for camera, ending in (("front", "webp"), ("rear", "tif"), ("left", "avif"), ("right", "jpg")):
        with Image.open(folder / f"{camera}.jpg") as image:
            image.save(tmp_path / f"{camera}.{ending}", exif=exif_of({}, tags, places), quality=95)
        text = text.replace(f"{camera}.jpg", f"{camera}.{ending}")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    out = tmp_path / "out"
    out.mkdir()
    done = CliRunner().invoke(
        app, ["check", str(tmp_path / "job.toml"), "--out", str(out), "--record", str(out / "r")]
    )
    assert done.exit_code in (0, 4), done.output
    result = json.loads((out / "inspection.json").read_text(encoding="utf-8"))
    sources = {camera["name"]: camera["picture"]["sources"] for camera in result["cameras"]}
    assert {name: [each["format"] for each in those] for name, those in sources.items()} == {
        "front": ["WebP"], "rear": ["TIFF"], "left": ["AVIF"], "right": ["JPEG"],
    }  # fmt: skip
    assert {each["time"] for those in sources.values() for each in those} == {"2026-05-04T09:10:11"}
    assert all(each["marks_used"] > 0.9 * each["marks_expected"] for each in result["cameras"])
    place = np.array([[part, 1] for part in (53, 14)], dtype="<u4").tobytes()
    assert place in (tmp_path / "right.jpg").read_bytes()
    pictures_shown = re.findall(r"base64,([A-Za-z0-9+/=]+)", (out / "report.html").read_text())
    assert pictures_shown
    written = [path.read_bytes() for path in out.iterdir()]
    for data in (*written, *map(base64.b64decode, pictures_shown)):
        assert place not in data
        assert b"Exif\0" not in data
    assert "gps" not in (out / "inspection.json").read_text().lower()

"""Files that were made to break a reader: sound ones of every kind, spoiled in every way.

What a person brings is read by one of `READERS`: bytes in, and either an answer or BadInputError.
Anything else that a reader raises, a run of more than `MOST_S` and more than `MOST_BYTES` of memory
are defects. The spoiling shares nothing with the readers.
"""

from __future__ import annotations

import json
import random
import tempfile
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from tests.accuracy.record import example_check
from tests.files.pictures import PIXELS, exif_of, file_of
from tests.job_texts import JOB
from tests.paths import CLEAR_DAY
from vision.camera.lens_formats import read_lens
from vision.files import pictures, record_file
from vision.job.job_file import job_from_text, named_files
from vision.job.layout import planned_layout
from vision.practice.deviations_file import deviations_from_text
from vision.units.errors import BadInputError

MOST_S = 10.0
MOST_BYTES = 1 << 30
APART = ("TIFF", "WebP", "AVIF", "HEIC")
"""Decoded in a process of their own, which takes a fifth of a second."""

Read = Callable[[bytes], object]


def _picture(data: bytes) -> object:
    return pictures.opened(data, "front")


def _job(data: bytes) -> object:
    named_files(data)
    job = job_from_text(data, "job.toml", {})
    return planned_layout(job)


def _lens(data: bytes) -> object:
    faults: list = []
    found = read_lens(data, "wide.json", "wide", faults)
    if faults:
        raise BadInputError(faults)
    assert found is not None
    return found


def _record(data: bytes) -> object:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.sqlite"
        path.write_bytes(data)
        found = record_file.read_record(path)
        left = [each.name for each in Path(folder).iterdir() if each != path]
        assert not [each for each in left if not each.startswith("record.sqlite")], left
        return found


def _scene(data: bytes) -> object:
    return deviations_from_text(data, "scene.toml", _sound_job())


@cache
def _sound_job():
    return job_from_text(CLEAR_DAY.read_bytes(), "job.toml", {})


@cache
def _record_bytes() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.sqlite"
        record_file.rescue_record(path, [example_check(number) for number in range(1, 6)])
        return path.read_bytes()


def _progressive() -> bytes:
    image = np.kron(PIXELS, np.ones((4, 4, 1), np.uint8))
    return cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_PROGRESSIVE, 1])[1].tobytes()


LENS = json.dumps(
    {"schema": "seamtrue.lens/1", "model": "kannala-brandt", "width": 1280, "height": 720,
     "fx": 330.0, "fy": 330.0, "cx": 640.0, "cy": 360.0, "k": [0.01, 0, 0, 0],
     "sigma": {"fx": 1, "fy": 1, "cx": 1, "cy": 1, "k": [0.01, 0.01, 0.01, 0.01]}}
).encode()  # fmt: skip
SCENE = b"""
[light]
level = 0.8
noise = 3
[camera.front]
tilt_deg = 1
shift = ["1 cm", 0, 0]
[strip.left]
shift = ["3 cm", 0]
"""


@cache
def sound_files() -> dict[str, tuple[tuple[bytes, ...], Read]]:
    """Sound files of each kind, and what reads them."""
    exif = exif_of({0x0112: 6}, {0x9003: "2026:05:04 09:10:11"}, {1: "N", 2: (53.0, 14.0, 27.0)})
    stills = {
        "JPEG": (file_of("JPEG"), file_of("JPEG", exif=exif), _progressive()),
        "PNG": (file_of("PNG"), file_of("PNG", exif=exif)),
        "BMP": (file_of("BMP"),),
        **{name: (file_of(name), file_of(name, exif=exif)) for name in APART},
    }
    return {
        **{name: (those, _picture) for name, those in stills.items()},
        "job": ((CLEAR_DAY.read_bytes(), JOB.encode() if isinstance(JOB, str) else JOB), _job),
        "lens": ((LENS,), _lens),
        "record": ((_record_bytes(),), _record),
        "scene": ((SCENE,), _scene),
    }


TOKENS = (
    b"nan", b"-inf", b"1e308", b"-1e-320", b"99999999999999999999999", b"0", b"-1", b"true",
    b'""', b'"9 ft 10 7/0 in"', b'"../../x"', b"[" * 400, b"[]", b"{}", b"'''", b"\x00",
    b"\xff\xfe",
    b'"' + b"9" * 5000 + b' m"', b"2026-05-04", b"\xed\xa0\x80", "\u202e".encode(), b"*" * 3000,
)  # fmt: skip
"""What may stand in the place of a value of a text."""


def spoiled(data: bytes, kind: str, rng: random.Random) -> bytes:
    """One way of spoiling a file; of texts often a value for another."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 4, 12))):
        if not out:
            break
        way = rng.randrange(8)
        at = rng.randrange(len(out))
        if kind in ("job", "lens", "scene") and way < 5:
            _value(out, rng)
        elif way == 0:
            out[at] ^= 1 << rng.randrange(8)
        elif way == 1:
            out[at] = rng.randrange(256)
        elif way == 2:
            del out[at:]
        elif way == 3:
            del out[at : at + rng.randrange(1, 64)]
        elif way == 4:
            piece = out[at : at + rng.randrange(1, 200)]
            out[rng.randrange(len(out)) : 0] = piece
        elif way == 5:
            # Near its head a file states sizes, counts and offsets.
            low = rng.randrange(min(len(out), 256))
            size = rng.choice((1, 2, 4))
            value = rng.choice((0, 1, 0x7F, 0xFF, 0x80))
            out[low : low + size] = bytes([value] * size)
        elif way == 6:
            out[at:at] = bytes(rng.randrange(256) for _ in range(rng.randrange(1, 40)))
        else:
            out += out[: rng.randrange(1, 400)]
    return bytes(out)


def _value(out: bytearray, rng: random.Random) -> None:
    """Put something else in the place of a value of a text, or of a key, or take a line away."""
    lines = bytes(out).split(b"\n")
    row = rng.randrange(len(lines))
    name, sign, _ = lines[row].partition(b"=" if b"=" in lines[row] else b":")
    way = rng.randrange(5)
    if way == 0:
        del lines[row]
    elif way == 1:
        lines.insert(rng.randrange(len(lines) + 1), lines[row])
    elif sign:
        lines[row] = name + sign + b" " + rng.choice(TOKENS)
    else:
        lines[row] = rng.choice(TOKENS)
    out[:] = b"\n".join(lines)


def read(kind: str, data: bytes) -> bool:
    """Whether the reader of that kind took the bytes; anything but a refusal is raised."""
    try:
        sound_files()[kind][1](data)
    except BadInputError as error:
        lines = [str(fault).count("\n") for fault in error.faults]
    else:
        return True
    assert lines
    assert not any(lines)
    return False


def mutations(kinds: tuple[str, ...], count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """So many spoiled files of those kinds in turn, the same for the same seed."""
    rng = random.Random(seed)
    for index in range(count):
        kind = kinds[index % len(kinds)]
        yield kind, spoiled(rng.choice(sound_files()[kind][0]), kind, rng)

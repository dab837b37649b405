"""Bytes of a picture to its pixels, or what is wrong with them."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from threading import Lock
from types import ModuleType

import numpy as np

from vision.files.decoding.apart import MEMORY_BYTES, SECONDS, Refused, decoded_apart
from vision.marks.exif import Noted, noted_in
from vision.marks.picture import Pixels
from vision.marks.picture_header import FORMATS, Header, format_apart, read_header
from vision.marks.sources.origin import Turned
from vision.units.errors import BadInputError, bad_input

LARGEST_PX = 100_000_000
SMALLEST_SIDE_PX = 64
MOST_SCANNED_PX = 1_200_000_000
"""Pixels times scans of a JPEG. A progressive one of the largest size has ten scans; this takes
some three seconds."""
LARGEST_BYTES = 400_000_000
"""A picture of the largest size, uncompressed with an alpha channel."""

_STANDARD_ERROR = Lock()
"""A process has one standard error, which decoders write to: one of them at a time."""

STEP = "save the snapshot again and name it in the job"
OWN_SIZE = "save the snapshot at the camera's own size"
HEIC_STEP = (
    "install the reader with `pip install 'seamtrue[heic]'` (its licence is stated in README.md), "
    "or save the picture as JPEG"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opened:
    """A picture as a person looks at it: pixels (H, W, 3) uint8, blue green red.

    `format` by its bytes; `noted` what the camera noted, whose orientation has been obeyed.
    """

    bgr: Pixels
    format: str
    noted: Noted


def opened(data: bytes, file: str) -> Opened:
    """Decode a picture and turn it as its orientation tag says; BadInputError for anything less.

    8 bits a channel; deeper ones keep their upper eight, grey becomes three equal channels, and
    alpha is dropped.
    """
    if len(data) > LARGEST_BYTES:
        most = f"{LARGEST_BYTES // 10**6} MB"
        raise bad_input(
            "file-too-large", file, f"a file of more than {most}", f"{FORMATS} below {most}", STEP
        )
    apart = format_apart(data)
    if apart is not None:
        pixels, said = _apart(data, file, apart)
        return Opened(bgr=pixels, format=apart, noted=said)
    header = read_header(data)
    problem = _header_problem(data, header)
    if problem is not None:
        raise bad_input(problem[0], file, *problem[1:])
    assert header is not None
    said = noted_in(data)
    pixels = upright(_decoded(data, file, header), said.turned)
    return Opened(bgr=pixels, format=header.format, noted=said)


def upright(pixels: Pixels, turned: Turned) -> Pixels:
    """Pixels (H, W, 3) as they are to be looked at, from those that are stored."""
    if turned.endswith("mirrored"):
        pixels = pixels[:, ::-1]
    if turned.startswith("half"):
        pixels = pixels[::-1, ::-1]
    elif turned.startswith("quarter"):
        pixels = np.rot90(pixels, 1 if turned.startswith("quarter left") else -1)
    return np.ascontiguousarray(pixels)


def _decoded(data: bytes, file: str, header: Header) -> Pixels:
    """Pixels of a JPEG, PNG or BMP as stored."""
    cv2 = import_cv2()
    pixels, complaints = None, ""
    try:
        with _STANDARD_ERROR, _quiet_decoder() as heard:
            pixels = cv2.imdecode(
                np.frombuffer(data, dtype=np.uint8),
                cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION,
            )
            complaints = heard()
    except (cv2.error, MemoryError):
        pixels = None
    if pixels is None or pixels.shape != (header.height, header.width, 3):
        raise bad_input(
            "undecodable", file, f"a {header.format} that cannot be decoded", FORMATS, STEP
        )
    if "orrupt" in complaints or "remature" in complaints:
        raise bad_input("damaged", file, f"a damaged {header.format}", "an undamaged picture", STEP)
    return pixels  # type: ignore[no-any-return]


def _apart(data: bytes, file: str, format_name: str) -> tuple[Pixels, Noted]:
    """Pixels as they are to be looked at and what was noted, from a process of its own."""
    answer = decoded_apart(data, format_name, LARGEST_PX, SMALLEST_SIDE_PX)
    if isinstance(answer, Refused):
        raise _refusal(answer, file, format_name)
    if format_name == "TIFF":
        # Which is one Exif structure as a whole. Its reader turns the pixels by itself.
        return answer.bgr, noted_in(data)
    said = noted_in(answer.exif.removeprefix(b"Exif\0\0"))
    return upright(answer.bgr, said.turned), said


def _refusal(answer: Refused, file: str, format_name: str) -> BadInputError:
    """What a person is told."""
    code = {"broken": "damaged", "memory": "too-much-memory", "time": "too-slow"}.get(
        answer.code, answer.code
    )
    match answer.code:
        case "size":
            problem = _size_problem(answer.width, answer.height)
            code, found, expected, step = problem or ("wrong-size", "", "", "")
        case "memory":
            found = f"a {format_name} that needs more than {MEMORY_BYTES >> 30} GiB to be decoded"
            expected, step = "a picture of an ordinary size", OWN_SIZE
        case "time":
            found = f"a {format_name} that was not decoded within {SECONDS} s"
            expected, step = "a picture of an ordinary size", STEP
        case "levels":
            found = f"a {format_name} whose levels have no known white"
            expected, step = "8 or 16 whole bits a channel", STEP
        case "no-reader":
            found, expected = f"a {format_name}", "a format for which a reader is installed"
            step = HEIC_STEP if format_name == "HEIC" else "update Pillow, or save it as JPEG"
        case _:
            found = f"a {format_name} that breaks off or is damaged"
            expected, step = "a whole picture", STEP
    return bad_input(code, file, found, expected, step)


def import_cv2() -> ModuleType:
    """OpenCV, or a clear message: its usual build needs libraries that a slim system lacks."""
    try:
        import cv2
    except ImportError as error:
        missing = "lib" in str(error) and ".so" in str(error)
        step = "apt-get install libgl1 libglib2.0-0" if missing else "pip install opencv-python"
        raise bad_input(
            "library", "OpenCV", str(error), "OpenCV's Python package, able to load", step
        ) from None
    return cv2


def _header_problem(data: bytes, header: Header | None) -> tuple[str, str, str, str] | None:
    if not data:
        return "empty", "an empty file", FORMATS, STEP
    if header is None:
        return "not-a-picture", "a file of another format or with a broken header", FORMATS, STEP
    problem = _size_problem(header.width, header.height)
    if problem is not None:
        return problem
    if header.width * header.height * header.scans > MOST_SCANNED_PX:
        found = f"a {header.format} of {header.width} x {header.height} px in {header.scans} scans"
        return "too-many-scans", found, "a picture of an ordinary size and few scans", STEP
    if not header.complete:
        return (
            "damaged",
            f"a {header.format} that breaks off or is damaged",
            "a whole picture",
            STEP,
        )
    return None


def _size_problem(width: int, height: int) -> tuple[str, str, str, str] | None:
    """Found, expected and next step where a declared size is out of bounds."""
    size = f"{width} x {height} px"
    if width * height > LARGEST_PX:
        return "too-many-pixels", size, f"at most {LARGEST_PX // 10**6} megapixels", OWN_SIZE
    if min(width, height) < SMALLEST_SIDE_PX:
        return (
            "too-few-pixels",
            size,
            f"at least {SMALLEST_SIDE_PX} px a side",
            f"{OWN_SIZE}, not a preview",
        )
    return None


@contextlib.contextmanager
def _quiet_decoder() -> Iterator[Callable[[], str]]:
    """Keep what the decoders print to standard error, and hand it over instead.

    They write to the file descriptor itself and not to `sys.stderr`. Yields a function that answers
    what was printed so far; where there is no standard error, nothing is kept.
    """
    try:
        saved = os.dup(2)
    except OSError:
        yield lambda: ""
        return
    with tempfile.TemporaryFile() as sink:

        def heard() -> str:
            sink.seek(0)
            return sink.read().decode("utf-8", "replace")

        os.dup2(sink.fileno(), 2)
        try:
            yield heard
        finally:
            os.dup2(saved, 2)
            os.close(saved)

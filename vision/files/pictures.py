"""Bytes of a picture to its pixels, or what is wrong with them."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from types import ModuleType

import numpy as np

from vision.marks.picture import Pixels
from vision.marks.picture_header import FORMATS, Header, read_header
from vision.units.errors import bad_input

LARGEST_PX = 100_000_000
SMALLEST_SIDE_PX = 64
LARGEST_BYTES = 400_000_000
"""A picture of the largest size, uncompressed with an alpha channel."""

STEP = "save the snapshot again and name it in the job"


def decoded(data: bytes, file: str) -> Pixels:
    """Pixels (H, W, 3) uint8, blue green red, as delivered; BadInputError for anything less."""
    if len(data) > LARGEST_BYTES:
        most = f"{LARGEST_BYTES // 10**6} MB"
        raise bad_input(file, f"a file of more than {most}", f"{FORMATS} below {most}", STEP)
    header = read_header(data)
    problem = _header_problem(data, header)
    if problem is not None:
        raise bad_input(file, *problem)
    assert header is not None
    cv2 = import_cv2()
    pixels, complaints = None, ""
    try:
        with _quiet_decoder() as heard:
            pixels = cv2.imdecode(
                np.frombuffer(data, dtype=np.uint8),
                cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION,
            )
            complaints = heard()
    except (cv2.error, MemoryError):
        pixels = None
    if pixels is None or pixels.shape != (header.height, header.width, 3):
        raise bad_input(file, f"a {header.format} that cannot be decoded", FORMATS, STEP)
    if "orrupt" in complaints or "remature" in complaints:
        raise bad_input(file, f"a damaged {header.format}", "an undamaged picture", STEP)
    return pixels  # type: ignore[no-any-return]


def import_cv2() -> ModuleType:
    """OpenCV, or a clear message: its usual build needs libraries that a slim system lacks."""
    try:
        import cv2
    except ImportError as error:
        missing = "lib" in str(error) and ".so" in str(error)
        step = "apt-get install libgl1 libglib2.0-0" if missing else "pip install opencv-python"
        raise bad_input(
            "OpenCV", str(error), "OpenCV's Python package, able to load", step
        ) from None
    return cv2


def _header_problem(data: bytes, header: Header | None) -> tuple[str, str, str] | None:
    if not data:
        return "an empty file", FORMATS, STEP
    if header is None:
        return "a file of another format or with a broken header", FORMATS, STEP
    size = f"{header.width} x {header.height} px"
    if header.width * header.height > LARGEST_PX:
        expected = f"at most {LARGEST_PX // 10**6} megapixels"
        return size, expected, "save the snapshot at the camera's own size"
    if min(header.width, header.height) < SMALLEST_SIDE_PX:
        expected = f"at least {SMALLEST_SIDE_PX} px a side"
        return size, expected, "save the snapshot at the camera's own size, not a preview"
    if not header.complete:
        return f"a {header.format} that breaks off or is damaged", "a whole picture", STEP
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

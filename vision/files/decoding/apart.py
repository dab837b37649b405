"""Decoding in a process of its own, with limits of memory and time.

The decoders of these formats are large, and files that break them are known. What such a file does
ends with that process; here it is one clear message. Only JPEG, PNG and BMP are decoded in ours.
"""

from __future__ import annotations

import base64
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vision.files.decoding import worker
from vision.marks.picture import Pixels

MEMORY_BYTES = 1 << 30
"""Enough for 48 megapixels of each format; a decoder that wants more is stopped."""
SECONDS = 10
"""A 48 megapixel picture takes about two; longer than this nobody waits for a still."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decoded:
    """Pixels (H, W, 3) uint8, blue green red, as the reader gives them; `exif` as it stands there.

    The readers of TIFF and HEIC turn a picture as its tag says, those of WebP and AVIF do not.
    """

    bgr: Pixels
    exif: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """Why there are no pixels.

    `code`: memory, time, size (with `width` and `height`), levels, no-reader, or broken.
    """

    code: str
    width: int = 0
    height: int = 0


def decoded_apart(
    data: bytes, format_name: str, largest_px: int, smallest_px: int
) -> Decoded | Refused:
    """Decode a file, of a format as `format_apart` names it, in a process of its own."""
    limits = (MEMORY_BYTES, SECONDS, largest_px, smallest_px)
    try:
        done = subprocess.run(
            # -P: its folder holds files whose names the standard library may look for.
            [sys.executable, "-P", worker.__file__, format_name, *map(str, limits)],
            input=data,
            capture_output=True,
            timeout=SECONDS,
            cwd=Path(worker.__file__).parent,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
            check=False,
        )
    except subprocess.TimeoutExpired:
        return Refused(code="time")
    line, _, rest = done.stdout.partition(b"\n")
    try:
        said = json.loads(line)
    except ValueError:
        # It ended without a word: killed by a limit or by its own fault.
        return Refused(code="broken")
    if "refused" in said:
        size = {key: said[key] for key in ("width", "height") if key in said}
        return Refused(code=said["refused"], **size)
    width, height = said["width"], said["height"]
    if done.returncode != 0 or len(rest) != width * height * 3:
        return Refused(code="broken")
    pixels = np.frombuffer(rest, dtype=np.uint8).reshape(height, width, 3)
    return Decoded(bgr=pixels, exif=base64.b64decode(said["exif"]))

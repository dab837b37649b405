"""The process in which a picture is decoded whose decoder is not trusted with ours.

A script that imports nothing of this project: bytes come in on standard input, and what goes out is
one line of JSON and then rows of blue, green, red. Whatever a decoder does to a file that was made
to break it ends with this process, which has a limit of memory and of time, may write no file, and
is told by its exit to whoever started it.

    worker.py FORMAT MEMORY_BYTES SECONDS LARGEST_PX SMALLEST_SIDE_PX
"""

from __future__ import annotations

import base64
import contextlib
import io
import json
import sys
from typing import Any

READERS = {"TIFF": "TIFF", "WebP": "WEBP", "AVIF": "AVIF", "HEIC": "HEIF"}
"""What Pillow calls the reader of each format; the last comes with another package."""
ROWS_AT_ONCE = 256
MOST_NOTED = 65_536
"""Bytes of what the camera noted that are handed on."""


def main() -> None:
    """Decode what stands on standard input."""
    reader = READERS[sys.argv[1]]
    memory, seconds, largest_px, smallest_px = (int(each) for each in sys.argv[2:6])
    _limit(memory, seconds)
    try:
        _decode(sys.stdin.buffer.read(), reader, largest_px, smallest_px)
    except MemoryError:
        _answer({"refused": "memory"})
    except Exception as error:  # any fault of a decoder is a fault of the file
        _answer({"refused": "broken", "why": type(error).__name__})


def _limit(memory: int, seconds: int) -> None:
    """Limit this process; a system that cannot (Windows) leaves only the time its starter waits."""
    with contextlib.suppress(ImportError):
        import resource

        for name, most in (
            ("RLIMIT_AS", memory),
            ("RLIMIT_CPU", seconds),
            ("RLIMIT_FSIZE", 0),
            ("RLIMIT_CORE", 0),
        ):
            if hasattr(resource, name):
                with contextlib.suppress(ValueError, OSError):
                    resource.setrlimit(getattr(resource, name), (most, most))


def _decode(data: bytes, reader: str, largest_px: int, smallest_px: int) -> None:
    import warnings

    from PIL import Image, ImageFile

    # What Pillow warns of is either refused below or no matter; standard error stays empty.
    warnings.simplefilter("ignore")
    Image.MAX_IMAGE_PIXELS = None
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    with contextlib.suppress(ImportError):
        import pillow_heif

        pillow_heif.register_heif_opener(thumbnails=False)
    Image.init()
    if reader not in Image.OPEN:
        _answer({"refused": "no-reader"})
        return
    image = Image.open(io.BytesIO(data), formats=[reader])
    width, height = image.size
    if width * height > largest_px or min(width, height) < smallest_px:
        _answer({"refused": "size", "width": width, "height": height})
        return
    noted = image.info.get("exif") or b""
    image.load()
    rows = _rows(image)
    if rows is None:
        _answer({"refused": "levels", "why": image.mode})
        return
    said = base64.b64encode(bytes(noted)[:MOST_NOTED]).decode("ascii")
    # The readers of TIFF and HEIC turn the picture by themselves: only then is its size known.
    _answer({"width": image.width, "height": image.height, "exif": said})
    for block in rows:
        sys.stdout.buffer.write(block)


def _rows(image: Any) -> Any:
    """Blocks of rows as bytes; None where levels have no white that is known."""
    if image.mode.startswith("I;16"):
        return _deep_rows(image)
    if image.mode in ("I", "F"):
        return None
    return _plain_rows(image)


def _plain_rows(image: Any) -> Any:
    for top in range(0, image.height, ROWS_AT_ONCE):
        band = image.crop((0, top, image.width, min(top + ROWS_AT_ONCE, image.height)))
        # Alpha is dropped, as it is from a PNG: what is under it was seen by the camera.
        plain = band.convert("RGBA").convert("RGB") if band.mode in ("P", "PA") else band
        yield plain.convert("RGB").tobytes("raw", "BGR")


def _deep_rows(image: Any) -> Any:
    import numpy as np

    for top in range(0, image.height, ROWS_AT_ONCE):
        band = image.crop((0, top, image.width, min(top + ROWS_AT_ONCE, image.height)))
        levels = (np.asarray(band).astype(np.uint16) >> 8).astype(np.uint8)
        yield np.repeat(levels[..., None], 3, axis=2).tobytes()


def _answer(said: dict[str, Any]) -> None:
    sys.stdout.buffer.write(json.dumps(said).encode("ascii") + b"\n")
    sys.stdout.buffer.flush()


if __name__ == "__main__":
    main()

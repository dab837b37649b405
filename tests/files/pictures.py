"""Picture files of every format, written by Pillow, with what a camera may note in them."""

from __future__ import annotations

import io
from functools import cache

import numpy as np
import pillow_heif
from PIL import ExifTags, Image


def _pixels(height: int = 90, width: int = 120) -> np.ndarray:
    v, u = np.mgrid[:height, :width]
    return np.stack([u * 2, v * 2, 255 - u - v], axis=-1).astype(np.uint8)


PIXELS = _pixels()
"""(90, 120, 3) uint8, red green blue; smooth, so that every format keeps it."""
WRITERS = {"JPEG": "JPEG", "PNG": "PNG", "BMP": "BMP", "TIFF": "TIFF", "WebP": "WEBP",
           "AVIF": "AVIF", "HEIC": "HEIF"}  # fmt: skip


@cache
def file_of(name: str, exif: bytes = b"") -> bytes:
    """The bytes of a picture of that format."""
    pillow_heif.register_heif_opener()
    stream = io.BytesIO()
    options = {"exif": exif} if exif else {}
    if name in ("JPEG", "WebP", "AVIF", "HEIC"):
        options["quality"] = 95
    Image.fromarray(PIXELS).save(stream, WRITERS[name], **options)
    return stream.getvalue()


def exif_of(head: dict, taken: dict | None = None, place: dict | None = None) -> bytes:
    """What a camera notes: tags of the first directory, of the Exif one, and of the place."""
    noted = Image.Exif()
    noted.update(head)
    if taken:
        noted.get_ifd(ExifTags.IFD.Exif).update(taken)
    if place:
        noted.get_ifd(ExifTags.IFD.GPSInfo).update(place)
    return noted.tobytes()

"""From the bytes of a camera's files to its `Picture`, with where it came from."""

from __future__ import annotations

import hashlib

from vision.files.pictures import opened
from vision.marks.picture import Picture
from vision.marks.sources.origin import Source


def still(data: bytes, file: str, camera: str, *, mirrored: bool) -> Picture:
    """One picture of one file; BadInputError where it cannot be read."""
    found = opened(data, file)
    sha256 = hashlib.sha256(data).hexdigest()
    height, width = found.bgr.shape[:2]
    source = Source(
        file=file,
        sha256=sha256,
        format=found.format,
        time=found.noted.time,
        turned=found.noted.turned,
        crop_px=(0, 0, width, height),
    )
    return Picture.from_delivered(
        name=camera, file=file, sha256=sha256, mirrored=mirrored, bgr=found.bgr, sources=(source,)
    )

"""The pictures that lie in a folder, opened as a check would open them."""

from __future__ import annotations

import os
from pathlib import Path

from vision.files.disk import read_bytes
from vision.files.pictures import LARGEST_BYTES, STEP, opened
from vision.job.picture_names import is_picture_name
from vision.marks.picture_header import FORMATS
from vision.marks.sources.found import FoundPicture
from vision.units.errors import BadInputError, bad_input

MOST_PICTURES = 40
"""In one folder: beyond, it is somebody's collection and not a job's."""


def found_pictures(folder: Path | str) -> tuple[FoundPicture, ...]:
    """Every picture in a folder, by name; none where there is no such folder.

    Raises BadInputError where the folder cannot be read.
    """
    folder = Path(folder)
    if not folder.exists():
        return ()
    try:
        entries = sorted(os.scandir(folder), key=lambda each: each.name)
    except OSError as error:
        found = error.strerror or str(error)
        raise bad_input(
            "unreadable", str(folder), found, "a folder", "name the folder of the job"
        ) from None
    files = [each.name for each in entries if is_picture_name(each.name) and each.is_file()]
    return tuple(_opened(folder / file) for file in files[:MOST_PICTURES])


def _opened(path: Path) -> FoundPicture:
    try:
        picture = opened(read_bytes(path, FORMATS, STEP, LARGEST_BYTES), path.name)
    except BadInputError as error:
        return FoundPicture(file=path.name, fault=error.faults[0])
    height, width = picture.bgr.shape[:2]
    return FoundPicture(file=path.name, size_px=(width, height), turned=picture.noted.turned)

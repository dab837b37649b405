"""Whose picture a file is, by its name alone: `left.JPG`, `LEFT_0012.jpeg`, `left (2).png`.

A name belongs to the camera whose own name it begins with, in any case, followed by nothing or by
what is no letter: `leftover.jpg` is nobody's. Of two cameras the longer name counts, so that
`left_rear_3.jpg` is not a picture of `left` where there is a camera `left_rear`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

ENDINGS = (
    *(".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".bmp", ".dib"),
    *(".tif", ".tiff", ".webp", ".avif", ".heic", ".heif", ".hif"),
)
"""Of the formats that are read, as cameras, phones and recorders end their names."""

_JOINTS = re.compile(r"[\s_.-]+")


def is_picture_name(file: str) -> bool:
    """Whether a file's name ends as that of a picture does that can be read."""
    return not file.startswith(".") and file.lower().endswith(ENDINGS)


def camera_of_file(file: str, cameras: Iterable[str]) -> str | None:
    """The camera that a file is named after, whatever its ending; None for nobody's."""
    stem = _plain(file.rpartition(".")[0] or file)
    owners = [name for name in cameras if _begins(stem, _plain(name))]
    return max(owners, key=len, default=None)


def _plain(name: str) -> str:
    """A name without case, and with one blank for whatever joins its words."""
    return _JOINTS.sub(" ", name.casefold()).strip()


def _begins(stem: str, name: str) -> bool:
    rest = stem[len(name) :]
    return bool(name) and stem.startswith(name) and not rest[:1].isalpha()

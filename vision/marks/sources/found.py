"""A picture that lies in a folder, before anybody has said whose it is."""

from __future__ import annotations

from dataclasses import dataclass

from vision.marks.sources.origin import Turned
from vision.units.errors import Fault


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundPicture:
    """A picture by its file's name; upright, as it is looked at.

    `size_px` is width and height, `turned` how the pixels as stored were turned; `fault` is what is
    wrong with one that cannot be used, which has no size.
    """

    file: str
    size_px: tuple[int, int] | None = None
    turned: Turned = "not"
    fault: Fault | None = None

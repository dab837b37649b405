"""Where a picture came from: the files, and what was done to each before it was measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from vision.marks.sources.straight import bent, projected
from vision.units.arrays import Array, frozen_array
from vision.units.plain import written

Turned = Literal[
    "not",
    "mirrored",
    "half turn",
    "half turn, mirrored",
    "quarter left, mirrored",
    "quarter right",
    "quarter right, mirrored",
    "quarter left",
]
"""What an orientation tag had done to the pixels as they are stored: first mirrored left to right,
then turned. In the order of the tag's values 1 to 8."""
TURNED: tuple[Turned, ...] = get_args(Turned)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Source:
    """One file that a picture was made of.

    Attributes
    ----------
    file
        Its name alone, without its folder.
    sha256
        Of its bytes, in hexadecimal.
    format
        What it is, by its first bytes and not by its name.
    time
        When it was taken as the camera noted it in the file (ISO 8601, with an offset where that
        was noted); None where it was not. Never the time of the file: copying resets that.
    turned
        What its orientation tag had done. All pixels count in the file after that.
    crop_px
        What of it was taken: left, top, width and height in px of the file so turned.
    homography
        (3, 3), pixels of the file from pixels of the picture, where the picture is a straightened
        part of the file: a screen that was photographed.
    bend
        How far the lens of that photograph bends: the homography goes to where its pixels p, from
        the middle, belong, p (1 + bend r^2) with r in half diagonals. None without a homography.
    shots
        How many moments of it were taken: 1 for a still.
    """

    file: str = written()
    sha256: str = written()
    format: str = written()
    time: str | None = written(missing="no-time", default=None)
    turned: Turned = written(default="not")
    crop_px: tuple[int, int, int, int] = written(key="crop")
    homography: Array | None = written(10, significant=True, optional=True, default=None)
    bend: float | None = written(6, optional=True, default=None)
    shots: int = written(default=1)

    def __post_init__(self) -> None:
        if self.homography is not None:
            matrix = frozen_array(self.homography, (3, 3), "homography")
            object.__setattr__(self, "homography", matrix)

    def in_file(self, pixels_px: Array) -> Array:
        """Pixels (..., 2) of the picture as delivered, in the file after its orientation tag."""
        if self.homography is None:
            return np.asarray(pixels_px + np.array(self.crop_px[:2]))
        return bent(projected(self.homography, pixels_px), self.bend or 0.0, self.crop_px[2:])

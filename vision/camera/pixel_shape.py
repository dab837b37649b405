"""The shape of a pixel: width over height, as stated or as standard-definition video has it.

ITU-R BT.601 samples a line of 625- and 525-line video 720 times. Two readings of the picture's
width are usual: that all 720 samples make up the 4:3 or 16:9 picture, or that 704 of them do.
Their shapes are 2.3 % apart; the figures are those in common use, given from memory.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from vision.camera.settings import SETTINGS


@dataclass(frozen=True, slots=True, kw_only=True)
class PixelShape:
    """Width over height of a pixel, fy / fx, and one standard deviation of its logarithm."""

    aspect: float
    sigma: float = SETTINGS.stated_aspect_sigma


SQUARE = PixelShape(aspect=1.0, sigma=SETTINGS.aspect_sigma)

_STANDARD: Mapping[tuple[int, str], tuple[PixelShape, PixelShape]] = MappingProxyType(
    {
        (525, "4:3"): (PixelShape(aspect=8 / 9), PixelShape(aspect=10 / 11)),
        (525, "16:9"): (PixelShape(aspect=32 / 27), PixelShape(aspect=40 / 33)),
        (625, "4:3"): (PixelShape(aspect=16 / 15), PixelShape(aspect=12 / 11)),
        (625, "16:9"): (PixelShape(aspect=64 / 45), PixelShape(aspect=16 / 11)),
    }
)
"""By lines and picture shape: with 720 samples as the whole width, and with 704."""

_LINES = MappingProxyType({480: 525, 576: 625})
"""Lines of the standard that gives pictures of so many rows."""


def either_of(shapes: tuple[PixelShape, ...]) -> PixelShape:
    """One shape that holds for every one of a group: their middle, and wide enough for each."""
    logs = [math.log(shape.aspect) for shape in shapes]
    half = 0.5 * (max(logs) - min(logs))
    sigma = math.hypot(half, max(shape.sigma for shape in shapes))
    return PixelShape(aspect=math.exp(0.5 * (max(logs) + min(logs))), sigma=sigma)


def _named() -> dict[str, PixelShape]:
    names = {"square": SQUARE}
    for (lines, picture), readings in _STANDARD.items():
        name = f"{lines} lines, {picture}"
        names[name] = either_of(readings)
        for samples, shape in zip((720, 704), readings, strict=True):
            names[f"{name}, {samples} samples"] = shape
    return names


NAMED: Mapping[str, PixelShape] = MappingProxyType(_named())
"""By what a job may call it; without the number of samples either reading may hold."""


def shape_named(text: str) -> PixelShape | None:
    """Read a standard's name, however it is spaced and whatever its capitals; None for no name."""
    words = re.sub(r"[\s,]+", " ", text).strip().lower()
    return next((shape for name, shape in NAMED.items() if name.replace(",", "") == words), None)


def possible_shapes(width: int, height: int) -> tuple[tuple[PixelShape, ...], ...]:
    """Give the shapes that pixels of a picture of this size may have where nobody says.

    One group for each picture shape, the likeliest member first: square alone for most sizes; at
    720 or 704 by 480 or 576 also the standard shapes, in both readings.
    """
    lines = _LINES.get(height)
    if lines is None or width not in (704, 720):
        return ((SQUARE,),)
    return ((SQUARE,), *(_STANDARD[lines, picture] for picture in ("4:3", "16:9")))

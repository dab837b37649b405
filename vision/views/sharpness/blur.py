"""What is known of a picture's sharpness, as figures with their sigmas; in it as delivered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vision.job.mark_id import MarkId
from vision.units.arrays import Array, freeze
from vision.units.plain import written
from vision.views.sharpness.light import Light

Side = Literal["left", "right", "upper", "lower"]
WAYS: dict[Side, tuple[float, float]] = {
    "left": (-1.0, 0.0),
    "right": (1.0, 0.0),
    "upper": (0.0, -1.0),
    "lower": (0.0, 1.0),
}
"""Which way each side lies from the picture's middle, (right, down)."""
SIDES = tuple(WAYS)
OPPOSITE: dict[Side, Side] = {"left": "right", "right": "left", "upper": "lower", "lower": "upper"}
FEW_EDGES = "few-edges"
"""The code of why a figure of a picture's edges is missing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Blur:
    """A blur (sigma of the point spread) in px of the picture, and its standard deviation."""

    blur_px: float = written(2, key="px")
    sigma_px: float = written(2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Even motion during the exposure: length in px and direction from right to down, with sigmas.

    The direction lies in (-pi/2, pi/2]: there and back look alike.
    """

    length_px: float = written(2)
    sigma_px: float = written(2)
    direction_rad: float = written(1, degrees=True)
    direction_sigma_rad: float = written(1, degrees=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class MarksBlur:
    """Blur of the marks: their median, and the median on each side (None with fewer than two)."""

    median: Blur
    sides: dict[Side, float | None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SoftPatch:
    """A soft patch: its middle (2,) and radius in px, its blur with sigma, and the marks in it."""

    pixel_px: Array = written(1, key="pixel")
    radius_px: float = written(1)
    blur_px: float = written(2)
    sigma_px: float = written(2)
    marks: tuple[MarkId, ...] = written()

    def __post_init__(self) -> None:
        freeze(self, pixel_px=(2,))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharpness:
    """How sharp one picture is.

    `edges`: how many edges the map rests on. `blur` is that over those edges in all directions,
    `least` and `most` in the direction where it is least and most: far apart with motion, alike
    without. `sides` holds the blur three quarters of the way out to each side. `marks` where marks
    were measured. `patches` are soft places among clear ones. None where the figure cannot be had.
    """

    width: int
    light: Light = written()
    edges: int = written()
    blur: Blur | None = written(missing=FEW_EDGES, default=None)
    least: Blur | None = written(key="least_direction", missing=FEW_EDGES, default=None)
    most: Blur | None = written(key="worst_direction", missing=FEW_EDGES, default=None)
    sides: dict[Side, Blur] | None = written(missing=FEW_EDGES, default=None)
    motion: Motion | None = written(missing=FEW_EDGES, default=None)
    marks: MarksBlur | None = None
    patches: tuple[SoftPatch, ...] | None = written(
        key="soft_patches", missing="few-clear-marks", default=None
    )

"""What is to be drawn otherwise than the job says, as values.

What light, ground and people are by default is from memory of yards and of small cameras by day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.camera.lens_prior import USUAL_SIZE_PX
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, frozen_array

Floats = NDArray[np.floating[Any]]
"""Of whole pictures, mostly in single precision."""

WIDTH_PX, HEIGHT_PX = USUAL_SIZE_PX
USUAL_HEIGHT_M = 1.75
"""Of a person; common practice, no source."""
USUAL_COLOUR = (60.0, 90.0, 60.0)
"""Of a cover: a green bin's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Light and camera electronics.

    The sun's azimuth is the direction in which it stands, counter-clockwise from straight ahead;
    its elevation is None where there is none. `level` is the share of daylight that there is;
    `blur_px` is a sigma beside the pixel's own square, `noise` a sigma in levels of 255, `bands`
    the amplitude in levels of dark and light bands that lamps on the mains leave in a picture read
    row by row, `vignetting` the share of light lost in the corners. `curved`: levels are the curved
    function of the light that usual cameras give (IEC 61966-2-1), not the light itself.
    """

    sun_elevation_rad: float | None = None
    sun_azimuth_rad: float = 0.0
    level: float = 1.0
    blur_px: float = 0.7
    noise: float = 2.0
    bands: float = 0.0
    vignetting: float = 0.3
    jpeg_quality: int = 92
    curved: bool = False

    @property
    def to_sun(self) -> Array | None:
        """Unit vector (3,) towards the sun in ground coordinates; None where there is none."""
        if self.sun_elevation_rad is None:
            return None
        up, turn = self.sun_elevation_rad, self.sun_azimuth_rad
        return np.array([np.cos(up) * np.cos(turn), np.cos(up) * np.sin(turn), np.sin(up)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """The yard and the body's gloss.

    `wet` from 0 to 1: darker, and mirrors body and sky. `lines`, `cracks` and `covers` are how many
    of each lie where the tapes are; `leaves` how many lie about. `turn_rad` is how the wall round
    the yard stands turned. `gloss` from 0 to 1: how much of
    what clean glass and polished paint mirror the body's flanks do.
    """

    wet: float = 0.0
    gloss: float = 0.0
    lines: int = 0
    cracks: int = 5
    covers: int = 2
    leaves: int = 0
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moved:
    """How one thing deviates: a shift (3,) along the ground's axes in m and turns in radians.

    A camera has three turns, added to pan, tilt and roll; a strip has one, about its middle, in the
    first place; a mark has none. Of a camera, odd rows may be seen later: from a place that is
    `comb_m` (3,) on, and `row_shift_px` to the right. Of a strip, `bow_m` is how far its middle
    lies to the left of the line between its ends, and `wrinkles_m` the sigma of its waviness to
    both sides.
    """

    shift_m: Array = field(default_factory=lambda: np.zeros(3))
    turn_rad: Array = field(default_factory=lambda: np.zeros(3))
    bow_m: float = 0.0
    wrinkles_m: float = 0.0
    comb_m: Array = field(default_factory=lambda: np.zeros(3))
    row_shift_px: float = 0.0

    def __post_init__(self) -> None:
        for name in ("shift_m", "turn_rad", "comb_m"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (3,), name))


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """What happened to one mark.

    `leaves` on it; `torn` the share of its length that is torn off, from its end along the strip;
    `smeared` the share of its ink's contrast that is rubbed away over half of it; `covered` the
    share of its length that a piece of cardboard lies on, from its beginning.
    """

    leaves: int = 0
    torn: float = 0.0
    smeared: float = 0.0
    covered: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who stands in the yard, and how tall."""

    name: str
    at_m: tuple[float, float]
    height_m: float = USUAL_HEIGHT_M
    facing_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cover:
    """A thing that stands or lies about: a box, or a card with an outline.

    `size_m` is its length along `turn_rad` and its width, `height_m` that of its top above
    `foot_m`. The outline (n, 2) is in half sizes of the two longer of length, width and height,
    from the middle: a card stands unless it is flatter than it is long and wide. `colour` is blue,
    green, red; `bands` and `mottled` as a `Box` has them.
    """

    name: str
    at_m: tuple[float, float]
    size_m: tuple[float, float]
    height_m: float
    foot_m: float = 0.0
    turn_rad: float = 0.0
    outline: Array | None = None
    colour: tuple[float, float, float] = USUAL_COLOUR
    bands: int = 0
    mottled: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviations:
    """Everything that is to be drawn otherwise than planned; by default nothing is.

    `pixel_aspect` is the width over the height of a pixel, where no fitted lens has its own; None:
    as the job says, or square. `fittings`: the body has bumpers, sills, trim and mirrors that stand
    out of it.
    """

    width: int = WIDTH_PX
    height: int = HEIGHT_PX
    pixel_aspect: float | None = None
    exact_lenses: bool = False
    fittings: bool = False
    small_errors: float = 0.0
    light: Light = field(default_factory=Light)
    ground: Ground = field(default_factory=Ground)
    cameras: Mapping[str, Moved] = field(default_factory=dict)
    strips: Mapping[str, Moved] = field(default_factory=dict)
    marks: Mapping[MarkId, Moved] = field(default_factory=dict)
    damages: Mapping[MarkId, Damage] = field(default_factory=dict)
    people: tuple[Person, ...] = ()
    covers: tuple[Cover, ...] = ()

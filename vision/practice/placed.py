"""Things that stand or lie on the ground at a place and point some way, and what holds places."""

from __future__ import annotations

import numpy as np

from vision.practice.deviations import Floats
from vision.units.arrays import Array, Flags


def axes(heading_rad: float) -> Array:
    """Unit vectors (2, 2) on the ground: along a heading, and to its left."""
    c, s = np.cos(heading_rad), np.sin(heading_rad)
    return np.array([[c, s], [-s, c]])


def to_local(points: Floats, middle_m: Array, heading_rad: float) -> tuple[Floats, Floats]:
    """Places (..., 2) or more on the ground: how far along and to the left of a middle (2,).

    As precise as the places are: single precision does for pictures, and is faster.
    """
    kind = points.dtype.type
    x, y = points[..., 0] - kind(middle_m[0]), points[..., 1] - kind(middle_m[1])
    c, s = kind(np.cos(heading_rad)), kind(np.sin(heading_rad))
    # Written out: a matrix product of so few columns keeps every core busy and is slower.
    return c * x + s * y, c * y - s * x


def to_ground(s: Floats, q: Floats, middle_m: Array, heading_rad: float) -> Floats:
    """The way back: places (..., 2) on the ground."""
    kind = np.asarray(s).dtype.type
    c, n = kind(np.cos(heading_rad)), kind(np.sin(heading_rad))
    return np.stack([c * s - n * q, n * s + c * q], axis=-1) + np.asarray(middle_m, dtype=kind)


def within(
    points: Floats,
    middle_m: Array,
    heading_rad: float,
    half_m: tuple[float, float],
    *,
    is_round: bool = False,
) -> Flags:
    """Whether places (n, 2) lie in a rectangle of half size (2,), or in the ellipse within it."""
    kind = points.dtype.type
    s, q = to_local(points, middle_m, heading_rad)
    a, b = s / kind(half_m[0]), q / kind(half_m[1])
    return np.asarray(a * a + b * b < 1 if is_round else (np.abs(a) < 1) & (np.abs(b) < 1))

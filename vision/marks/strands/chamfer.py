"""Distances to the nearest edge of about one direction, at half the picture's size.

An oriented chamfer distance (Barrow and others, IJCAI 1977; by direction after Liu and others, CVPR
2010), truncated: it tells how well many known edges lie on a picture's, all at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.marks.picture import Grey
from vision.marks.strands.find import ridges
from vision.marks.strands.light import Gradient
from vision.units.arrays import Array

DIRECTIONS = 6
"""Bins of 30 degrees; an edge stands in the two that it is nearest to."""
SIZE = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chamfer:
    """`distance_px` (DIRECTIONS, height / 2, width / 2) in px of the whole picture."""

    distance_px: Grey
    truncated_px: float

    def at(self, places_px: Array, bins: NDArray[np.int64]) -> Array:
        """Distances at places (..., m, 2) of edges whose directions are in `bins` (m,).

        Outside the picture, as far as it goes: what is not seen does not lie well.
        """
        _, height, width = self.distance_px.shape
        with np.errstate(invalid="ignore"):
            at = np.rint((places_px - 0.5 * (SIZE - 1)) / SIZE)
            inside = np.asarray(((at >= 0) & (at < [width, height])).all(axis=-1))
        at = np.where(inside[..., None], at, 0).astype(np.intp)
        found = self.distance_px[bins, at[..., 1], at[..., 0]]
        return np.where(inside, found, np.float32(self.truncated_px))


def chamfer_of(gradient: Gradient, truncated_px: float) -> Chamfer:
    """The distances of a picture's edges."""
    strength = np.hypot(gradient.du, gradient.dv)
    rows, columns, clear = ridges(gradient, strength, np.ones(strength.shape, dtype=bool))
    rows, columns = rows[clear], columns[clear]
    place = _places(gradient.du[rows, columns], gradient.dv[rows, columns])
    height, width = -(-strength.shape[0] // SIZE), -(-strength.shape[1] // SIZE)
    every = np.empty((DIRECTIONS, height, width), dtype=np.float32)
    for number in range(DIRECTIONS):
        off = np.abs((place - number + DIRECTIONS / 2) % DIRECTIONS - DIRECTIONS / 2)
        own = off < 1.0
        empty = np.ones((height, width), dtype=np.uint8)
        empty[rows[own] // SIZE, columns[own] // SIZE] = 0
        every[number] = cv2.distanceTransform(empty, cv2.DIST_L2, 3)
    return Chamfer(
        distance_px=np.minimum(every, truncated_px / SIZE) * SIZE, truncated_px=truncated_px
    )


def direction_bins(normal_rad: Array) -> NDArray[np.int64]:
    """The bin (n,) of edges with normals (n,), whichever side is bright."""
    return np.rint(_places(np.cos(normal_rad), np.sin(normal_rad))).astype(np.int64) % DIRECTIONS


def _places(du: Array | Grey, dv: Array | Grey) -> Array:
    return np.asarray(np.mod(np.arctan2(dv, du), np.pi) / np.pi * DIRECTIONS)

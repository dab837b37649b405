"""From a straightened picture to the photograph of a screen that it was made of, and back."""

from __future__ import annotations

import numpy as np

from vision.units.arrays import Array

BEND_STEPS = 5
"""Steps to turn a bend round: of one percent a hundredth of a px is left."""


def homography(corners_px: Array, width: int, height: int) -> Array:
    """From pixels of a picture to those of a photograph that shows its corners there, (3, 3)."""
    right, low = width - 0.5, height - 0.5
    own = np.array([(-0.5, -0.5), (right, -0.5), (right, low), (-0.5, low)])
    rows = []
    for (x, y), (u, v) in zip(own, corners_px, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    found = np.linalg.solve(np.array(rows), corners_px.ravel())
    return np.asarray(np.append(found, 1.0).reshape(3, 3))


def projected(image: Array, pixels_px: Array) -> Array:
    """Pixels (..., 2) through a homography (3, 3)."""
    p = pixels_px @ image[:, :2].T + image[:, 2]
    return np.asarray(p[..., :2] / p[..., 2:])


def bent(pixels_px: Array, bend: float, size: tuple[int, ...]) -> Array:
    """Where a lens that bends puts pixels (..., 2) of a photograph of that width and height."""
    middle, half = half_diagonal(size)
    ideal = pixels_px - middle
    p = ideal
    for _ in range(BEND_STEPS):
        p = ideal / (1 + bend * (p**2).sum(axis=-1, keepdims=True) / half**2)
    return np.asarray(p + middle)


def unbent(pixels_px: Array, bend: float, size: tuple[int, ...]) -> Array:
    """The other way round: where pixels (..., 2) belong."""
    middle, half = half_diagonal(size)
    p = pixels_px - middle
    return np.asarray(middle + p * (1 + bend * (p**2).sum(axis=-1, keepdims=True) / half**2))


def half_diagonal(size: tuple[int, ...]) -> tuple[Array, float]:
    """The middle (2,) of a photograph of that width and height, and half its diagonal, in px."""
    return 0.5 * (np.array(size[:2], dtype=np.float64) - 1), 0.5 * float(np.hypot(size[0], size[1]))

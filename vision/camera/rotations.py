"""Rotation matrices and rotation vectors, many at once.

Rodrigues' formula and the way back by the unit quaternion, whose largest part is never small
(Shepperd, "Quaternion from rotation matrix", Journal of Guidance and Control 1, 1978).
`scipy.spatial.transform` has the same, and takes longer to import than a picture to measure.
"""

from __future__ import annotations

import numpy as np

from vision.units.arrays import Array

SMALL_RAD = 1e-3
"""Below this angle, sine and cosine terms come from their series, exact there to all digits."""


def rotation_from_vector(vector_rad: Array) -> Array:
    """Rotations exp([v]x) (..., 3, 3) of rotation vectors (..., 3) in radians."""
    vector = np.asarray(vector_rad, dtype=np.float64)
    x, y, z = vector[..., 0], vector[..., 1], vector[..., 2]
    square = x * x + y * y + z * z
    angle = np.sqrt(square)
    small = angle < SMALL_RAD
    safe = np.where(small, 1.0, angle)
    first = np.where(small, 1 - square / 6 * (1 - square / 20), np.sin(safe) / safe)
    half = np.sin(0.5 * safe) / (0.5 * safe)
    second = np.where(small, 0.5 - square / 24, 0.5 * half * half)
    cos = 1 - second * square
    out = np.empty((*vector.shape, 3))
    out[..., 0, 0], out[..., 1, 1] = cos + second * x * x, cos + second * y * y
    out[..., 2, 2] = cos + second * z * z
    for i, j, product, third in ((0, 1, x * y, z), (2, 0, x * z, y), (1, 2, y * z, x)):
        out[..., i, j] = second * product - first * third
        out[..., j, i] = second * product + first * third
    return out


def vector_from_rotation(R: Array) -> Array:
    """Rotation vectors (..., 3) in radians, of length 0 to pi, of rotations R (..., 3, 3)."""
    R = np.asarray(R, dtype=np.float64)
    w, vector = _quaternion(R)
    sine = np.linalg.norm(vector, axis=-1)
    sign = np.where(w < 0, -1.0, 1.0)
    angle = 2 * np.arctan2(sine, np.abs(w))
    # Half an angle over its sine is 1 to all digits where the sine is this small.
    scale = np.where(sine > 1e-10, angle / np.maximum(sine, 1e-10), 2.0) * sign
    return np.asarray(vector * scale[..., None])


def _quaternion(R: Array) -> tuple[Array, Array]:
    """Unit quaternions (w (...), vector (..., 3)) of rotations (..., 3, 3), of either sign."""
    trace = np.trace(R, axis1=-2, axis2=-1)
    squares = np.concatenate(
        [trace[..., None], np.diagonal(R, axis1=-2, axis2=-1)], axis=-1
    )  # 4 w^2 - 1, then 4 x^2 - 1 + (1 - trace) and so on: the greatest is the greatest part
    symmetric, lean = R + np.swapaxes(R, -1, -2), R - np.swapaxes(R, -1, -2)
    turn = np.stack([lean[..., 2, 1], lean[..., 0, 2], lean[..., 1, 0]], axis=-1)
    # Rows: the quaternion times four of one of its parts.
    rows = np.empty((*R.shape[:-2], 4, 4))
    rows[..., 0, 0], rows[..., 0, 1:], rows[..., 1:, 0] = 1 + trace, turn, turn
    rows[..., 1:, 1:] = symmetric
    rows[..., (1, 2, 3), (1, 2, 3)] += (1 - trace)[..., None]
    best = np.argmax(squares, axis=-1)
    row = np.take_along_axis(rows, best[..., None, None], axis=-2)[..., 0, :]
    row = row / np.linalg.norm(row, axis=-1, keepdims=True)
    return row[..., 0], row[..., 1:]

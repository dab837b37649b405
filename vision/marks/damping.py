"""Many small normal equations solved at once, every unknown scaled to one first."""

from __future__ import annotations

import numpy as np

from vision.units.arrays import Array


def _scaled(normal: Array, damping: Array) -> tuple[Array, Array]:
    scale = np.sqrt(np.diagonal(normal, axis1=1, axis2=2)) + 1e-9
    system = normal / (scale[:, :, None] * scale[:, None, :])
    return system + damping[:, None, None] * np.eye(normal.shape[-1]), scale


def damped_step(normal: Array, right: Array, damping: Array) -> Array:
    """Steps (n, k) of Levenberg and Marquardt for normal matrices (n, k, k) and gradients (n, k).

    `damping` (n,) is relative to the scaled diagonal, so that units are no matter.
    """
    system, scale = _scaled(normal, damping)
    return np.asarray(np.linalg.solve(system, (right / scale)[..., None])[..., 0] / scale)


def inverse_diagonal(normal: Array) -> Array:
    """Diagonals (n, k) of the inverses of normal matrices (n, k, k), hardly determined ones too."""
    system, scale = _scaled(normal, np.full(len(normal), 1e-9))
    return np.asarray(np.diagonal(np.linalg.inv(system), axis1=1, axis2=2) / scale**2)

"""Views that a display has already straightened or merged, made for tests from raw pictures.

Nothing here is used by what reads them.
"""

from __future__ import annotations

import cv2
import numpy as np


def straightened_view(bgr: np.ndarray, f_px: float, across_deg: float, down_deg: float = 0.0):
    """A picture of an equidistant lens of that focal length as a plain lens would show it.

    So wide from left to right, and looking so much further down.
    """
    height, width = bgr.shape[:2]
    f = 0.5 * width / np.tan(np.radians(across_deg) / 2)
    u, v = np.meshgrid(np.arange(width), np.arange(height))
    rays = np.stack(
        [(u - 0.5 * (width - 1)) / f, (v - 0.5 * (height - 1)) / f, np.ones(u.shape)], axis=-1
    )
    c, s = np.cos(np.radians(down_deg)), np.sin(np.radians(down_deg))
    rays = rays @ np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    return _seen(bgr, f_px, rays)


def top_view(bgr: np.ndarray, f_px: float, height_m: float, tilt_deg: float, px_a_m: float):
    """The ground before a camera as from above, as a display draws it: 1280 x 720 px."""
    u, v = np.meshgrid(np.arange(1280), np.arange(720))
    ahead, left = (700 - v) / px_a_m, (640 - u) / px_a_m
    c, s = np.cos(np.radians(tilt_deg)), np.sin(np.radians(tilt_deg))
    down = np.full(u.shape, float(height_m))
    rays = np.stack([-left, down * c - ahead * s, ahead * c + down * s], axis=-1)
    return _seen(bgr, f_px, rays)


def _seen(bgr: np.ndarray, f_px: float, rays: np.ndarray) -> np.ndarray:
    height, width = bgr.shape[:2]
    rho = np.hypot(rays[..., 0], rays[..., 1])
    scale = f_px * np.arctan2(rho, rays[..., 2]) / np.maximum(rho, 1e-9)
    x = (scale * rays[..., 0] + 0.5 * (width - 1)).astype(np.float32)
    y = (scale * rays[..., 1] + 0.5 * (height - 1)).astype(np.float32)
    return cv2.remap(bgr, x, y, cv2.INTER_LINEAR)

"""How much light a picture had: its levels, its noise, and the one over the other."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.units.plain import also_written, written
from vision.views.settings import SETTINGS

TUNED = SETTINGS.sharpness


LAPLACIAN = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32)
"""Blind to levels, slopes and straight edges along the grid; its gain on white noise is 6 (J.
Immerkaer, Fast noise variance estimation, Computer Vision and Image Understanding 64, 1996)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Levels of 255: `level` (95 % of the picture is darker), `span` (5 % to 95 %), `noise` sigma.

    `signal_to_noise` is span over noise, with its sigma: how well any edge can be told.
    """

    level: float = written(1)
    span: float = written(1)
    noise: float = written(2)

    @property
    @also_written(1)
    def signal_to_noise(self) -> float:
        """Span over noise, the noise being at least that of rounding."""
        return self.span / max(self.noise, TUNED.quantisation)

    @property
    @also_written(1, key="sigma")
    def signal_to_noise_sigma(self) -> float:
        """Its standard deviation."""
        return TUNED.span_share * self.signal_to_noise


def measure_light(grey: np.ndarray) -> Light:
    """The light of a picture (height, width), levels 0 to 255."""
    return Light(
        level=float(np.percentile(grey[::3, ::3], 95)), span=span_of(grey), noise=noise_of(grey)
    )


def span_of(grey: np.ndarray) -> float:
    """From the level that 5 % of the picture stays below to the one that 5 % exceeds."""
    low, high = np.percentile(grey[::3, ::3], [5, 95])
    return float(high - low)


def noise_of(grey: np.ndarray) -> float:
    """Noise sigma in levels, from what neighbouring pixels do not share; 0 for an even picture.

    The median over the picture, so that edges do not count; pixels at black are left out, where
    noise is cut off.
    """
    grey = np.asarray(grey, dtype=np.float32)
    rough = np.abs(cv2.filter2D(grey, -1, LAPLACIAN))[1:-1:2, 1:-1:2]
    lit = cv2.blur(grey, (9, 9))[1:-1:2, 1:-1:2] > 8
    if lit.sum() < 100:
        lit = np.ones_like(lit)
    return float(1.4826 * np.median(rough[lit]) / 6)

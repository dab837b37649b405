"""Places in a picture that look like the centre of a mark, found without knowing where to look.

Crosses are found here: dark (or light) in both directions at once, with tape-bright surroundings.
Quadrants and boards have their own response and join in `responses`.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.geometry import Array, frozen_array
from vision.job import Ink

SCALES_PX = (1.2, 2.0, 3.4, 5.5)
"""Gaussian scales at which lines of 1 to 14 px are seen as lines; a factor of 1.7 loses little."""

LOG_OFFSET = 12.0
"""Added to grey levels before the logarithm, so that the noise of deep shadow is not magnified."""

MOST_CANDIDATES = 320
"""Strongest peaks kept: on car-park pictures all larger marks are among the first 300."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """Peaks, strongest first: `pixels_px` (n, 2) and `strength` (n,), a curvature of log grey."""

    pixels_px: Array
    strength: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "pixels_px", frozen_array(self.pixels_px, (None, 2), "pixels_px"))
        object.__setattr__(self, "strength", frozen_array(self.strength, (None,), "strength"))


def _cross_response(log_grey: np.ndarray, scale_px: float) -> np.ndarray:
    """Smaller eigenvalue of the scale-normalised Hessian: positive only where both ways are dark.

    Along a single line one eigenvalue is near zero; only where two lines cross are both large
    (Lindeberg, "Feature detection with automatic scale selection", IJCV 30(2), 1998, section 5).
    """
    smooth = cv2.GaussianBlur(log_grey, (0, 0), scale_px)
    # The 3x3 second-derivative kernels of Sobel sum to four times the derivative.
    uu = cv2.Sobel(smooth, cv2.CV_32F, 2, 0, ksize=3)
    vv = cv2.Sobel(smooth, cv2.CV_32F, 0, 2, ksize=3)
    uv = cv2.Sobel(smooth, cv2.CV_32F, 1, 1, ksize=3)
    mean = 0.5 * (uu + vv)
    spread = cv2.magnitude(0.5 * (uu - vv), uv)
    return np.asarray((mean - spread) * (scale_px**2 / 4), dtype=np.float32)


def find_candidates(grey: np.ndarray, ink: Ink = "dark", most: int = MOST_CANDIDATES) -> Candidates:
    """Peaks of a grey picture (height, width), levels 0 to 255, for marks of the given ink.

    The logarithm makes a shadow an offset, so a mark in shadow weighs as much as one in the sun.
    """
    log_grey = np.log(np.asarray(grey, dtype=np.float32) + LOG_OFFSET)
    if ink == "light":
        log_grey = -log_grey
    response = _cross_response(log_grey, SCALES_PX[0])
    for scale in SCALES_PX[1:]:
        cv2.max(response, _cross_response(log_grey, scale), dst=response)
    # Tape is brighter than the ground round it: the brightest level nearby against the wide mean.
    small = cv2.resize(log_grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    wide = cv2.resize(cv2.GaussianBlur(small, (0, 0), 6.0), log_grey.shape[::-1])
    nearby = cv2.GaussianBlur(cv2.dilate(log_grey, np.ones((7, 7), np.uint8)), (0, 0), 2.0)
    peak = response == cv2.dilate(response, np.ones((7, 7), np.uint8))
    peak &= (response > 0.01) & (nearby - wide > 0.1)
    v, u = np.nonzero(peak)
    order = np.argsort(-response[v, u])[:most]
    return Candidates(
        pixels_px=np.stack([u[order], v[order]], axis=1), strength=response[v, u][order]
    )

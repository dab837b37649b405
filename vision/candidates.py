"""Places in a picture that look like the centre of a mark, found without knowing where to look.

A cross is dark (or light) in both directions at once; a quadrant is a saddle, dark one way and
bright the other. Both are seen in the eigenvalues of the Hessian, with tape-bright surroundings. A
board is a crowd of saddles, and its centre is where they are densest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from vision.geometry import Array, frozen_array
from vision.job import Ink

Kind = Literal["cross", "saddle", "board"]

SCALES_PX = (1.2, 2.0, 3.4, 5.5)
"""Gaussian scales at which lines of 1 to 14 px are seen as lines; a factor of 1.7 loses little."""

CROWD_SCALES_PX = (4.0, 6.5, 10.5, 17.0, 28.0)
CROWD_POWER = 0.8
CROWD_GAIN = 5.0
"""Brings the density of a clear board to the strength of a clear cross."""
CROWD_CAP = 0.15
"""Saddle strength that counts in full: a strong edge must not outweigh a faint board."""

LOG_OFFSET = 12.0
"""Added to grey levels before the logarithm, so that the noise of deep shadow is not magnified."""

NOISE_PEAK = 0.85
"""Curvature that white noise of sigma 1 in the logarithm shows at scale 1: 3.5 times its sigma,
sqrt(3 / (16 pi)), about what its highest peaks reach. It falls with the scale (the variance of a
Gaussian's second derivative, scale-normalised as here). Less than that is no mark."""
LEAST_NOISE = 0.5
"""Sigma in levels that rounding and compression leave where a picture looks noiseless."""

STRENGTH_CAP, LEAST_CAP, CAP_RANK = 0.12, 0.02, 25
"""Strength above which a peak is worth no more: near marks are strong, and so are some stains. In
poor light all are weaker, and the strongest 25 set it."""

NOISY, SOFTENED_PX = 5.0, 0.9
"""From this noise on (sigma in levels) marks are looked for in the picture softened by this much:
noise falls to a third, a mark of 6 px keeps most of its contrast. Nothing is measured there."""
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

    @property
    def worth(self) -> Array:
        """What each peak counts, (n,), 0 to 1."""
        ranked = np.sort(self.strength)[::-1]
        cap = ranked[min(CAP_RANK, len(ranked)) - 1] if len(ranked) else STRENGTH_CAP
        cap = np.clip(cap, LEAST_CAP, STRENGTH_CAP)
        return np.asarray(np.minimum(self.strength / cap, 1.0))


def picture_noise(grey: np.ndarray) -> float:
    """Sigma of a grey picture's noise in levels, as if it were white; at least `LEAST_NOISE`.

    The median size of a mask that answers to no plane and no straight edge along its axes
    (Immerkaer, "Fast noise variance estimation", CVIU 64(2), 1996; the median instead of the mean,
    so that texture counts less).
    """
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32) / 6
    # Every third row and column: tens of thousands of places do for a median.
    answer = cv2.filter2D(np.asarray(grey, dtype=np.float32), cv2.CV_32F, mask)[1:-1:3, 1:-1:3]
    return max(float(1.4826 * np.median(np.abs(answer))), LEAST_NOISE)


def softened(grey: np.ndarray, noise: float) -> np.ndarray:
    """The picture in which marks are looked for: as it is, or softened where it is noisy."""
    if noise < NOISY:
        return grey
    return np.asarray(cv2.GaussianBlur(grey.astype(np.float32), (0, 0), SOFTENED_PX))


def _response(log_grey: np.ndarray, scale_px: float, kind: Kind) -> np.ndarray:
    """Smaller eigenvalue of the scale-normalised Hessian in size, where its signs are the kind's.

    Along a single line or edge one eigenvalue is near zero; only where two lines cross are both
    large, and only at a saddle are they large with opposite signs (Lindeberg, "Feature detection
    with automatic scale selection", IJCV 30(2), 1998, section 5).
    """
    smooth = cv2.GaussianBlur(log_grey, (0, 0), scale_px)
    # The 3x3 second-derivative kernels of Sobel sum to four times the derivative.
    uu = cv2.Sobel(smooth, cv2.CV_32F, 2, 0, ksize=3)
    vv = cv2.Sobel(smooth, cv2.CV_32F, 0, 2, ksize=3)
    uv = cv2.Sobel(smooth, cv2.CV_32F, 1, 1, ksize=3)
    mean = 0.5 * (uu + vv)
    spread = cv2.magnitude(0.5 * (uu - vv), uv)
    size = mean - spread if kind == "cross" else spread - np.abs(mean)
    return np.asarray(size * (scale_px**2 / 4), dtype=np.float32)


def _crowd(response: np.ndarray) -> np.ndarray:
    """Where saddles are dense over a patch and not round it, whatever its size.

    Differences of Gaussians of the saddle strength, at half size: the largest over the scales is
    greatest at the middle of a patch (Lindeberg, as in `_response`).
    """
    capped = np.square(np.clip(response, 0.0, CROWD_CAP)) / CROWD_CAP
    small = cv2.resize(capped, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    levels = [cv2.GaussianBlur(small, (0, 0), scale / 2) for scale in CROWD_SCALES_PX]
    # Weighed by a power of the scale, so that a board outweighs each of its own corners.
    blobs = np.maximum.reduce(
        [
            (scale / CROWD_SCALES_PX[0]) ** CROWD_POWER * (a - b)
            for scale, a, b in zip(CROWD_SCALES_PX, levels, levels[1:], strict=False)
        ]
    )
    return np.asarray(CROWD_GAIN * cv2.resize(blobs, capped.shape[::-1]), dtype=np.float32)


def find_candidates(
    grey: np.ndarray, kind: Kind = "cross", ink: Ink = "dark", most: int = MOST_CANDIDATES
) -> Candidates:
    """Peaks of a grey picture (height, width), levels 0 to 255, for marks of one kind and ink.

    The logarithm makes a shadow an offset, so a mark in shadow weighs as much as one in the sun.
    """
    offset = LOG_OFFSET
    log_grey = np.log(np.asarray(grey, dtype=np.float32) + np.float32(offset))
    # Noise in the logarithm is large where it is dark; what it alone can do counts for nothing.
    floor = np.exp(-cv2.blur(log_grey, (5, 5))) * np.float32(NOISE_PEAK * picture_noise(grey))
    if ink == "light":
        log_grey = -log_grey
    response = np.zeros_like(log_grey)
    for scale in SCALES_PX:
        cv2.max(response, _response(log_grey, scale, kind) - floor / np.float32(scale), response)
    if kind == "board":
        response = _crowd(response)
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

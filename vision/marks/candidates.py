"""Places in a picture that look like the centre of a mark, found without knowing where to look.

A cross is dark (or light) in both directions at once; a quadrant is a saddle, dark one way and
bright the other. Both are seen in the eigenvalues of the Hessian, with tape-bright surroundings. A
board is a crowd of saddles, and its centre is where they are densest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.job.job import Ink
from vision.job.kinds.mark_shape import FilterName
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array, freeze

TUNED = SETTINGS.candidates


Look = tuple[FilterName, Ink]
"""By which filter to look for marks, and of what ink."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """Peaks, strongest first: `pixels_px` (n, 2) and `strength` (n,), a curvature of log grey."""

    pixels_px: Array
    strength: Array

    def __post_init__(self) -> None:
        freeze(self, pixels_px=(None, 2), strength=(None,))

    @property
    def worth(self) -> Array:
        """What each peak counts, (n,), 0 to 1."""
        ranked = np.sort(self.strength)[::-1]
        cap = ranked[min(TUNED.cap_rank, len(ranked)) - 1] if len(ranked) else TUNED.strength_cap
        cap = np.clip(cap, TUNED.least_cap, TUNED.strength_cap)
        return np.asarray(np.minimum(self.strength / cap, 1.0))


def picture_noise(grey: np.ndarray) -> float:
    """Sigma of a grey picture's noise in levels, as if it were white; at least `least_noise`.

    The median size of a mask that answers to no plane and no straight edge along its axes
    (Immerkaer, "Fast noise variance estimation", CVIU 64(2), 1996; the median instead of the mean,
    so that texture counts less).
    """
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32) / 6
    # Every third row and column: tens of thousands of places do for a median.
    answer = cv2.filter2D(np.asarray(grey, dtype=np.float32), cv2.CV_32F, mask)[1:-1:3, 1:-1:3]
    return max(float(1.4826 * np.median(np.abs(answer))), TUNED.least_noise)


def unveiled(grey: np.ndarray) -> np.ndarray | None:
    """The picture without the light that haze, a smeared lens or the sun beside it adds to all.

    Only what is dark shows that light: the darkest of what is not the black round an image circle
    has `darkest` levels at most without it. None where there is no such light to take off.
    """
    sampled = grey[::3, ::3]
    lit = sampled[sampled > TUNED.black]
    veil = float(np.percentile(lit, TUNED.dark_percent)) - TUNED.darkest if lit.size else 0.0
    return np.maximum(np.asarray(grey, dtype=np.float32) - veil, 0.0) if veil > 0 else None


def softened(grey: np.ndarray, noise: float) -> np.ndarray:
    """The picture in which marks are looked for: as it is, or softened where it is noisy."""
    if noise < TUNED.noisy:
        return grey
    return np.asarray(cv2.GaussianBlur(grey.astype(np.float32), (0, 0), TUNED.softened_px))


def _curvature(log_grey: np.ndarray, scale_px: float) -> tuple[np.ndarray, np.ndarray]:
    """Mean of the scale-normalised Hessian's two eigenvalues, and half their difference.

    Along a single line or edge one eigenvalue is near zero; only where two lines cross are both
    large, and only at a saddle are they large with opposite signs (Lindeberg, "Feature detection
    with automatic scale selection", IJCV 30(2), 1998, section 5).
    """
    smooth = cv2.GaussianBlur(log_grey, (0, 0), scale_px)
    # The 3x3 second-derivative kernels of Sobel sum to four times the derivative.
    half = scale_px**2 / 8
    uu = cv2.Sobel(smooth, cv2.CV_32F, 2, 0, ksize=3, scale=half)
    vv = cv2.Sobel(smooth, cv2.CV_32F, 0, 2, ksize=3, scale=half)
    uv = cv2.Sobel(smooth, cv2.CV_32F, 1, 1, ksize=3, scale=2 * half)
    return cv2.add(uu, vv), cv2.magnitude(cv2.subtract(uu, vv), uv)


def _response(mean: np.ndarray, spread: np.ndarray, look: Look) -> np.ndarray:
    """Smaller eigenvalue in size, where the signs of both are the kind's."""
    kind, ink = look
    if kind != "cross":
        return np.asarray(spread - np.abs(mean))
    return np.asarray(mean - spread if ink == "dark" else -mean - spread)


def _crowd(response: np.ndarray) -> np.ndarray:
    """Where saddles are dense over a patch and not round it, whatever its size.

    Differences of Gaussians of the saddle strength, all at half size: the largest over the scales
    is greatest at the middle of a patch (Lindeberg, as in `_curvature`).
    """
    small = np.square(np.clip(response, 0.0, TUNED.crowd_cap)) / TUNED.crowd_cap
    levels = [cv2.GaussianBlur(small, (0, 0), scale / 2) for scale in TUNED.crowd_scales_px]
    # Weighed by a power of the scale, so that a board outweighs each of its own corners.
    blobs = np.maximum.reduce(
        [
            (scale / TUNED.crowd_scales_px[0]) ** TUNED.crowd_power * (a - b)
            for scale, a, b in zip(TUNED.crowd_scales_px, levels, levels[1:], strict=False)
        ]
    )
    return np.asarray(TUNED.crowd_gain * blobs, dtype=np.float32)


def find_candidates(
    grey: np.ndarray,
    looks: Sequence[Look],
    widest_line_px: float = 0.0,
    most: int = TUNED.most_candidates,
    noise: float | None = None,
) -> tuple[Candidates, ...]:
    """Peaks of a grey picture (height, width), levels 0 to 255, for each kind and ink of marks.

    `widest_line_px` is how wide a cross's line or a board's square may be in it; `noise` is what
    `picture_noise` says of it, worked out if not given.
    The logarithm makes a shadow an offset, so a mark in shadow weighs as much as one in the sun.
    """
    # Arrays as large as the picture are used again in place: fetching new ones takes longer than
    # working them out.
    log_grey = np.asarray(grey, dtype=np.float32) + np.float32(TUNED.log_offset)
    # Noise in the logarithm is large where it is dark; what it alone can do counts for nothing.
    noise = picture_noise(grey) if noise is None else noise
    floor = cv2.blur(log_grey, (5, 5))
    np.divide(np.float32(TUNED.noise_peak * noise), floor, out=floor)
    cv2.log(log_grey, log_grey)
    halved, halved_floor = (
        cv2.resize(each, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        for each in (log_grey, floor)
    )
    fine = _strongest(log_grey, floor, TUNED.scales_px, 1.0, looks)
    scales = (
        *TUNED.halved_scales_px,
        *((TUNED.wide_scale_px,) if widest_line_px > TUNED.wide_line_px else ()),
    )
    coarse = _strongest(halved, halved_floor, scales, 2.0, looks)
    size, half_size = log_grey.shape[::-1], halved.shape[::-1]
    brighter = {ink: _brighter(halved if ink == "dark" else -halved, size) for _, ink in looks}
    found = []
    for (kind, ink), near, far in zip(looks, fine, coarse, strict=True):
        if kind == "board":
            near = cv2.resize(near, half_size, interpolation=cv2.INTER_AREA)
            response = cv2.resize(_crowd(cv2.max(near, far)), size)
        else:
            response = cv2.max(near, cv2.resize(far, size), near)
        found.append(_peaks(response, brighter[ink], most))
    return tuple(found)


def _strongest(
    log_grey: np.ndarray,
    floor: np.ndarray,
    scales_px: Sequence[float],
    pixel: float,
    looks: Sequence[Look],
) -> list[np.ndarray]:
    """The largest response of some scales above the noise, for each look; `pixel` in whole ones.

    Band by band, whose pictures stay in the processor's cache: in whole ones most of the time would
    go into fetching memory.
    """
    height = len(log_grey)
    strongest = [np.empty_like(log_grey) for _ in looks]
    margin = int(np.ceil(TUNED.reach_sigmas * max(scales_px) / pixel)) + 2
    for top in range(0, height, TUNED.band_rows):
        first, end = max(top - margin, 0), min(top + TUNED.band_rows, height)
        rows = slice(first, min(end + margin, height))
        inner = slice(top - first, end - first)
        band = [np.zeros_like(log_grey[rows]) for _ in looks]
        for scale in scales_px:
            mean, spread = _curvature(log_grey[rows], scale / pixel)
            noise = floor[rows] / np.float32(scale)
            for best, look in zip(band, looks, strict=True):
                cv2.max(best, _response(mean, spread, look) - noise, best)
        for whole, best in zip(strongest, band, strict=True):
            whole[top:end] = best[inner]
    return strongest


def _brighter(halved: np.ndarray, size: Sequence[int]) -> np.ndarray:
    """Where something tape-bright is near: the brightest level nearby against the wide mean.

    `halved` is the logarithm of the picture at half its size; `size` (width, height) is its own.
    """
    small = cv2.resize(halved, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    wide = cv2.resize(
        cv2.GaussianBlur(small, (0, 0), TUNED.ground_sigma_px / 8), halved.shape[::-1]
    )
    reach = np.ones((TUNED.nearby_px, TUNED.nearby_px), np.uint8)
    nearby = cv2.GaussianBlur(cv2.dilate(halved, reach), (0, 0), 1.0)
    bright = (nearby - wide > TUNED.least_brighter).astype(np.uint8)
    return np.asarray(cv2.resize(bright, size, interpolation=cv2.INTER_NEAREST) > 0)


def _peaks(response: np.ndarray, near_tape: np.ndarray, most: int) -> Candidates:
    v, u = np.divmod(
        np.flatnonzero((response > TUNED.least_strength) & near_tape), response.shape[1]
    )
    peak = response[v, u] == cv2.dilate(response, np.ones((7, 7), np.uint8))[v, u]
    v, u = v[peak], u[peak]
    order = np.argsort(-response[v, u])[:most]
    return Candidates(
        pixels_px=np.stack([u[order], v[order]], axis=1), strength=response[v, u][order]
    )

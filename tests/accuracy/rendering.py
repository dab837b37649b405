"""Small pictures of marks and boards on level ground, drawn for the accuracy tables.

Point membership alone, nothing of the rooms under test: each pixel is a grid of FINE x FINE cells,
each cell near an edge is asked at FINE x FINE jittered places, and the blur is applied to the cells
before they are summed to pixels. A near-upright edge is then misplaced by less than .001 px, and
the blur is that of a lens before a sensor, not of a picture after one. The cameras are those of
`tests.scenes`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from tests.scenes import Eye

Array = np.ndarray
Levels = Callable[[Array, Array], Array]
"""Grey levels at ground points x, y (metres)."""
FINE = 4
REACH_PX = 8
"""Drawn beyond a box on every side, so that the blur has something to take in."""
BASELINE_EYE = Eye(
    place_m=(0.0, 0.0, 2.6),
    aim_deg=(0.0, 45.0, 0.0),
    f_px=330.0,
    centre_px=(639.7, 359.2),
    k=(),
)
"""2.6 m up, 45 degrees down, equidistant, 330 px: the scene of the project's first measurements."""


@dataclass(frozen=True, kw_only=True)
class Box:
    """A part of a picture: whole pixels, the first and one past the last."""

    left: int
    top: int
    right: int
    bottom: int

    @classmethod
    def round_points(cls, points_px: Array, margin_px: float, size: tuple[int, int]) -> Box | None:
        """On whole blocks of 8 px as JPEG has them; None where it leaves the picture."""
        low = np.floor((points_px.min(axis=0) - margin_px) / 8).astype(int) * 8
        high = np.ceil((points_px.max(axis=0) + margin_px) / 8).astype(int) * 8
        if (low < 0).any() or (high > size).any():
            return None
        return cls(left=int(low[0]), top=int(low[1]), right=int(high[0]), bottom=int(high[1]))


def cells(eye: Eye, levels: Levels, box: Box, rng: np.random.Generator) -> Array:
    """Levels of the cells of a box and its surroundings, FINE times as many each way."""
    width = (box.right - box.left + 2 * REACH_PX) * FINE
    height = (box.bottom - box.top + 2 * REACH_PX) * FINE
    u = box.left - REACH_PX - 0.5 + (np.arange(width) + 0.5) / FINE
    v = box.top - REACH_PX - 0.5 + (np.arange(height) + 0.5) / FINE
    u, v = np.meshgrid(u, v)
    out = levels(*eye.ground(u, v))
    dark, bright = cv2.erode(out, np.ones((3, 3))), cv2.dilate(out, np.ones((3, 3)))
    rows, columns = np.nonzero(bright - dark > 4.0)
    grid = np.stack(np.meshgrid(np.arange(FINE), np.arange(FINE)), axis=-1).reshape(-1, 2)
    for part in np.array_split(np.arange(len(rows)), max(1, len(rows) // 40_000)):
        jitter = rng.uniform(0, 1, (len(part), FINE**2, 2))
        inside = ((grid + jitter) / FINE - 0.5) / FINE
        at = rows[part], columns[part]
        places = u[at][:, None] + inside[..., 0], v[at][:, None] + inside[..., 1]
        out[at] = levels(*eye.ground(*places)).mean(axis=1)
    return out


def exposed(drawn: Array, blur_px: float) -> Array:
    """Pixels of `cells` behind a lens of this blur (sigma), without noise, the box alone."""
    blurred = cv2.GaussianBlur(drawn, (0, 0), blur_px * FINE)
    height, width = (each // FINE for each in drawn.shape)
    pixels = blurred.reshape(height, FINE, width, FINE).mean(axis=(1, 3))
    return np.asarray(pixels[REACH_PX:-REACH_PX, REACH_PX:-REACH_PX])


def developed(
    pixels: Array, noise: float, jpeg: int | None, rng: np.random.Generator
) -> np.ndarray:
    """The picture as delivered: noise (sigma, levels), whole levels, compressed or not."""
    noisy = np.clip(np.round(pixels + rng.normal(0, noise, pixels.shape)), 0, 255).astype(np.uint8)
    if jpeg is None:
        return noisy
    _, data = cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, jpeg])
    return cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)


def asphalt(x: Array, y: Array) -> Array:
    """Grey levels of gently blotched ground; brighter beyond the horizon."""
    with np.errstate(invalid="ignore"):
        blotches = np.sin(9.1 * x + 2 * np.sin(3.7 * y)) * np.sin(7.3 * y + 2 * np.sin(4.1 * x))
    return np.asarray(92.0 * np.nan_to_num(1 + 0.05 * blotches, nan=1.9))


@dataclass(frozen=True, kw_only=True)
class Shadow:
    """Ground where x cos(angle) + y sin(angle) > offset keeps this share of light; no penumbra."""

    angle_rad: float
    offset_m: float
    share: float = 0.4

    def fall(self, levels: Array, x: Array, y: Array) -> None:
        """Darken the levels at ground points in place."""
        with np.errstate(invalid="ignore"):
            beyond = x * np.cos(self.angle_rad) + y * np.sin(self.angle_rad) > self.offset_m
        levels[beyond] *= self.share


def spread_of(covariances: Array, rng: np.random.Generator, draws: int = 400) -> Array:
    """Lengths of errors drawn from covariances (n, 2, 2): what a normal estimator would show."""
    values, vectors = np.linalg.eigh(covariances)
    roots = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    drawn = np.einsum("nij,nkj->nki", roots, rng.normal(size=(len(roots), draws, 2)))
    return np.asarray(np.linalg.norm(drawn, axis=-1).ravel())

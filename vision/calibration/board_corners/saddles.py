"""Places in a picture where dark and light meet crosswise, and how they are joined by edges.

Worked in the logarithm of grey, in which a shadow is an offset: a saddle in shadow is as strong as
one in the sun, and an edge that runs on through a shadow's edge keeps its contrast.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from vision.calibration.settings import SETTINGS as TUNED
from vision.marks.damping import rows_of
from vision.marks.picture import Grey
from vision.units.arrays import Array, Flags


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Saddles:
    """Saddles of log grey, strongest first.

    `pixels` (n, 2); `ways` (n, 2, 2) unit vectors along both edges; `sign` (n,), +1 where the
    quadrant between both ways is the brighter, else -1; `strength` (n,) curvature of log grey.
    """

    pixels: Array
    ways: Array
    sign: Array
    strength: Array

    def __len__(self) -> int:
        return len(self.pixels)


def log_grey(grey: Grey) -> NDArray[np.float32]:
    """Logarithm of grey (H, W) in which saddles are sought."""
    levels = np.clip(np.asarray(grey, dtype=np.float32), 0, None)
    return np.asarray(np.log(levels + np.float32(TUNED.log_offset)), dtype=np.float32)


def find_saddles(logs: NDArray[np.float32]) -> Saddles:
    """The strongest saddles of log grey (H, W) over all scales.

    Strength is how far the eigenvalues of the scale-normalised Hessian go to both sides of zero;
    both edges run along the directions in which the Hessian does not curve.
    """
    best = np.zeros(logs.shape, dtype=np.float32)
    scale_of = np.zeros(logs.shape, dtype=np.uint8)
    slopes = []
    for number, scale in enumerate(TUNED.scales_px):
        smooth = cv2.GaussianBlur(logs, (0, 0), scale)
        slopes.append([cv2.Sobel(smooth, cv2.CV_32F, *order, ksize=3) for order in _ORDERS])
        uu, vv, uv = slopes[-1][2:]
        spread = cv2.magnitude(0.5 * (uu - vv), uv)
        strength = (spread - np.abs(0.5 * (uu + vv))) * (scale**2 / 4)
        scale_of[strength > best] = number
        cv2.max(best, strength, dst=best)
    peak = (best == cv2.dilate(best, np.ones((5, 5), np.uint8))) & (best > TUNED.least_strength)
    peak[[0, 1, -2, -1]] = False
    peak[:, [0, 1, -2, -1]] = False
    v, u = np.nonzero(peak)
    order = np.argsort(-best[v, u])[: TUNED.most_saddles]
    v, u = v[order], u[order]
    at_peaks = np.array([[each[v, u] for each in of_scale] for of_scale in slopes], np.float64)
    parts = at_peaks[scale_of[v, u], :, np.arange(len(u))]
    saddles = _described(np.stack([u, v], axis=-1), parts, best[v, u].astype(np.float64))
    kept = _two_sided(smooth_logs(logs), saddles)
    # One corner may peak at two pixels and two scales; the stronger stays.
    for first, second in sorted(cKDTree(saddles.pixels).query_pairs(TUNED.saddles_apart_px)):
        kept[max(first, second)] &= not kept[min(first, second)]
    return rows_of(saddles, kept)


def smooth_logs(logs: NDArray[np.float32]) -> NDArray[np.float32]:
    """Log grey (H, W) at the finest scale, to take single levels from."""
    return np.asarray(cv2.GaussianBlur(logs, (0, 0), TUNED.scales_px[0]), dtype=np.float32)


_ORDERS = ((1, 0), (0, 1), (2, 0), (0, 2), (1, 1))


def _described(at: NDArray[np.intp], parts: Array, strength: Array) -> Saddles:
    """From derivatives (n, 5) at whole pixels: the place of no slope, directions and sign."""
    # Sobel's sums of 8 for a first, 4 for a second derivative.
    slope = parts[:, :2] / 8
    uu, vv, uv = parts[:, 2:].T / 4
    hessian = np.stack([np.stack([uu, uv], -1), np.stack([uv, vv], -1)], axis=-2)
    shift = -np.linalg.solve(hessian, slope[..., None])[..., 0]
    length = np.linalg.norm(shift, axis=-1, keepdims=True)
    shift = shift * np.minimum(1.0, 1.5 / np.maximum(length, 1e-9))
    values, vectors = np.linalg.eigh(hessian)
    # Along cos(a) e1 +- sin(a) e2 there is no curvature: tan^2(a) = -value1 / value2.
    angle = np.arctan(np.sqrt(np.maximum(-values[:, 0], 0) / np.maximum(values[:, 1], 1e-12)))
    first, second = vectors[..., 0], vectors[..., 1]
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    ways = np.stack([cos * first + sin * second, cos * first - sin * second], axis=1)
    mixed = np.einsum("ni,nij,nj->n", ways[:, 0], hessian, ways[:, 1])
    return Saddles(pixels=at + shift, ways=ways, sign=np.sign(mixed), strength=strength)


def join(saddles: Saddles, smooth: NDArray[np.float32]) -> NDArray[np.intp]:
    """Next saddle along each of the four edges of each saddle, (n, 4), -1 where there is none.

    In the order +first way, +second, -first, -second. Two saddles are joined when an edge of each
    points to the other, their signs alternate, the line between them is an edge with the right side
    bright, and each is the other's nearest such.
    """
    n = len(saddles)
    links = np.full((n, 4), -1, dtype=np.intp)
    if n < 2:
        return links
    tree = cKDTree(saddles.pixels)
    _, near = tree.query(saddles.pixels, k=min(TUNED.neighbours + 1, n))
    here = np.repeat(np.arange(n), near.shape[1] - 1)
    there = near[:, 1:].ravel()
    way = saddles.pixels[there] - saddles.pixels[here]
    length = np.linalg.norm(way, axis=-1)
    unit = way / np.maximum(length, 1e-9)[:, None]
    out, sign_out, off_out = _nearest_way(saddles, here, unit)
    back, sign_back, off_back = _nearest_way(saddles, there, unit)
    other_here = saddles.ways[here, 1 - out]
    other_there = saddles.ways[there, 1 - back]
    alike = (other_here * other_there).sum(axis=-1)
    bright_here = saddles.sign[here] * sign_out
    bright_there = saddles.sign[there] * sign_back * np.sign(alike)
    ratio = saddles.strength[here] / saddles.strength[there]
    good = (off_out > TUNED.aslant) & (off_back > TUNED.aslant) & (np.abs(alike) > TUNED.alike)
    good &= (bright_here * bright_there < 0) & (ratio < TUNED.unlike) & (ratio > 1 / TUNED.unlike)
    good &= length > 3
    kept = np.flatnonzero(good)
    middle = other_here[kept] + np.sign(alike[kept])[:, None] * other_there[kept]
    side = middle / np.linalg.norm(middle, axis=-1, keepdims=True)
    start, bright = saddles.pixels[here[kept]], bright_here[kept]
    kept = kept[_is_edge(smooth, start, way[kept], side, bright)]
    kept = kept[np.argsort(-length[kept], kind="stable")]
    ray_out = out + 2 * (sign_out < 0)
    ray_back = back + 2 * (sign_back > 0)
    # The last written, which is the nearest, stays.
    links[here[kept], ray_out[kept]] = there[kept]
    mutual = np.zeros_like(links, dtype=bool)
    both = links[there[kept], ray_back[kept]] == here[kept]
    both &= links[here[kept], ray_out[kept]] == there[kept]
    mutual[here[kept][both], ray_out[kept][both]] = True
    return np.where(mutual, links, -1)


def _two_sided(smooth: NDArray[np.float32], saddles: Saddles) -> Flags:
    """Whether opposite quadrants of each saddle are alike, and neighbouring ones are not."""
    first, second = saddles.ways[:, 0], saddles.ways[:, 1]
    levels = []
    for way in (first + second, first - second):
        reach = TUNED.ring_px * way / np.linalg.norm(way, axis=-1, keepdims=True)
        levels += [sample(smooth, saddles.pixels + reach), sample(smooth, saddles.pixels - reach)]
    a, c, b, d = levels
    mixed = 0.5 * np.abs(a + c - b - d)
    return np.maximum(np.abs(a - c), np.abs(b - d)) < TUNED.most_one_sided * mixed


def _nearest_way(
    saddles: Saddles, which: NDArray[np.intp], unit: Array
) -> tuple[NDArray[np.intp], Array, Array]:
    """Which way (0 or 1) is most along `unit` (m, 2), its sense, and the cosine between them."""
    cosine = np.einsum("mai,mi->ma", saddles.ways[which], unit)
    along = np.abs(cosine).argmax(axis=1)
    best = cosine[np.arange(len(which)), along]
    return along, np.where(best < 0, -1.0, 1.0), np.abs(best)


def _is_edge(
    logs: NDArray[np.float32], start: Array, way: Array, side: Array, bright: Array
) -> Flags:
    """Whether lines from `start` (m, 2) by `way` are edges, bright on the side `bright` says."""
    agree = np.zeros(len(start), dtype=int)
    # Two pixels to each side: outside the blur, inside the narrowest square.
    for share in TUNED.edge_shares:
        at = start + share * way
        step = sample(logs, at + 2 * side) - sample(logs, at - 2 * side)
        agree += bright * step > TUNED.least_edge
    return agree >= len(TUNED.edge_shares) - 1


def sample(image: NDArray[np.float32], at: Array) -> Array:
    """Bilinear levels of an image at pixels (..., 2); the rim's beyond it."""
    rows_first = np.moveaxis(at[..., ::-1], -1, 0)
    return np.asarray(map_coordinates(image, rows_first, np.float64, order=1, mode="nearest"))

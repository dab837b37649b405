"""How the noise of neighbouring pixels being alike changes what a fit to them is worth.

Compression and the camera's own sharpening make neighbours alike. An estimate is a weighted sum of
residuals, the influence of each; its variance is that sum over all pairs of pixels, with the
autocovariance of the residuals, taken as the same all over the patch.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.geometry import Array
from vision.measure.patches import Patches, per_mark

Pixels = NDArray[np.intp]
REACH_PX = 2
"""Pairs further apart than this, along rows or down columns, are taken as not alike."""
LEAST_PAIRS = 20
LEAST_SHARE = 0.5
"""A variance is never taken as less than this share of that of pixels that are not alike."""


def covariance(patches: Patches, residual: Array, influence: Array, noise2: Array) -> Array:
    """Covariance (m, 2, 2) of two numbers a mark, sums of residuals times an influence (n, 2).

    `residual` (n,) shows how alike neighbours are, `noise2` (m,) is the variance of a pixel.
    Bartlett's weights keep the sum over pairs a covariance (Newey and West, Econometrica 55(3),
    1987, for a series; here along rows and columns).
    """
    m = len(patches.marks)
    square = per_mark(patches, residual**2) / np.maximum(np.bincount(patches.of, minlength=m), 1)
    white = _products(patches, influence, influence)
    total = white.copy()
    for first, second, weight in _pairs(patches):
        pairs = np.bincount(patches.of[first], minlength=m)
        product = np.bincount(patches.of[first], residual[first] * residual[second], m)
        alike = np.where(pairs < LEAST_PAIRS, 0.0, product / np.maximum(pairs * square, 1e-9))
        one_way = np.zeros((m, 2, 2))
        for i in range(2):
            for j in range(2):
                both = influence[first, i] * influence[second, j]
                one_way[:, i, j] = np.bincount(patches.of[first], both, m)
        total += (weight * alike)[:, None, None] * (one_way + np.swapaxes(one_way, 1, 2))
    return _at_least(total, LEAST_SHARE * white) * noise2[:, None, None]


def _products(patches: Patches, a: Array, b: Array) -> Array:
    sums = [per_mark(patches, a[:, i] * b[:, j]) for i in range(2) for j in range(2)]
    return np.stack(sums, axis=1).reshape(-1, 2, 2)


def _pairs(patches: Patches) -> list[tuple[Pixels, Pixels, float]]:
    """Pairs of pixels of one mark, each pair once, with Bartlett's weight of their distance."""
    # Every pixel of a mark has a number of its own, one more to the right, `row` more below.
    low = np.full((len(patches.marks), 2), np.iinfo(np.intp).max)
    np.minimum.at(low, patches.of, patches.pixels)
    u, v = (patches.pixels - low[patches.of]).T
    row, column = int(u.max(initial=0)) + 1 + REACH_PX, int(v.max(initial=0)) + 1 + REACH_PX
    key = (patches.of * column + v) * row + u
    where = np.full((len(patches.marks) * column + REACH_PX + 1) * row, -1)
    where[key] = np.arange(len(key))
    pairs: list[tuple[Pixels, Pixels, float]] = []
    for dv in range(REACH_PX + 1):
        for du in range(-REACH_PX if dv else 1, REACH_PX + 1):
            at = where[key + dv * row + du]
            first = np.flatnonzero(at >= 0)
            weight = (1 - abs(du) / (REACH_PX + 1)) * (1 - dv / (REACH_PX + 1))
            pairs.append((first, at[first], weight))
    return pairs


def _at_least(matrix: Array, least: Array) -> Array:
    """`matrix` (m, 2, 2), raised where in some direction it is below `least`."""
    ridge = 1e-9 * np.trace(least, axis1=1, axis2=2) + 1e-30
    scale = np.linalg.cholesky(least + ridge[:, None, None] * np.eye(2))
    inverse = np.linalg.inv(scale)
    values, vectors = np.linalg.eigh(inverse @ matrix @ np.swapaxes(inverse, 1, 2))
    turned = scale @ vectors
    return np.asarray((turned * np.maximum(values, 1.0)[:, None]) @ np.swapaxes(turned, 1, 2))

"""How the noise of neighbouring pixels being alike changes what a fit to them is worth.

Compression and the camera's own sharpening make neighbours alike. An estimate is a weighted sum of
residuals, the influence of each; its variance is that sum over all pairs of pixels, with the
autocovariance of the residuals, taken as the same all over the patch.
"""

from __future__ import annotations

import numpy as np

from vision.marks.measure.patches import Patches
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array

TUNED = SETTINGS.measure


def covariance(patches: Patches, residual: Array, influence: Array, noise2: Array) -> Array:
    """Covariance (m, 2, 2) of two numbers a mark, sums of residuals times an influence (n, 2).

    `residual` (n,) shows how alike neighbours are, `noise2` (m,) is the variance of a pixel.
    Bartlett's weights keep the sum over pairs a covariance (Newey and West, Econometrica 55(3),
    1987, for a series; here along rows and columns).
    """
    products, weights = _products(
        patches, np.column_stack([np.ones(len(residual)), residual, influence])
    )
    count, square, white = products[:, 0, 0, 0], products[:, 0, 1, 1], products[:, 0, 2:, 2:]
    pairs, product, one_way = products[:, 1:, 0, 0], products[:, 1:, 1, 1], products[:, 1:, 2:, 2:]
    square = (square / np.maximum(count, 1))[:, None]
    alike = np.where(pairs < TUNED.least_pairs, 0.0, product / np.maximum(pairs * square, 1e-9))
    both_ways = one_way + np.swapaxes(one_way, 2, 3)
    total = white + np.einsum("mw,w,mwij->mij", alike, weights, both_ways)
    return at_least(total, TUNED.least_variance_share * white) * noise2[:, None, None]


def _products(patches: Patches, values: Array) -> tuple[Array, Array]:
    """Sums (m, w, k, k) of products of the pixels' values (n, k), and their weights (w - 1,).

    First of each pixel with itself, then of pairs of pixels of one mark at each of w - 1
    distances, each pair once; the weights are Bartlett's of the distances.
    """
    steps = [
        (du, dv)
        for dv in range(TUNED.alike_reach_px + 1)
        for du in range(-TUNED.alike_reach_px if dv else 1, TUNED.alike_reach_px + 1)
    ]
    products = np.empty((len(patches.marks), 1 + len(steps), *(2 * [values.shape[1]])))
    for index, span in enumerate(patches.spans):
        # On a grid with room beside and below, a distance is a number of places along its rows.
        place = patches.pixels[span] - patches.pixels[span].min(axis=0)
        row, rows = place.max(axis=0) + 1 + TUNED.alike_reach_px
        grid = np.zeros((rows * row, values.shape[1]))
        grid[place[:, 1] * row + place[:, 0]] = values[span]
        for which, (du, dv) in enumerate([(0, 0), *steps]):
            ahead = dv * row + du
            products[index, which] = grid[: len(grid) - ahead].T @ grid[ahead:]
    reach = TUNED.alike_reach_px + 1
    return products, np.array([(1 - abs(du) / reach) * (1 - dv / reach) for du, dv in steps])


def at_least(matrix: Array, least: Array) -> Array:
    """`matrix` (..., k, k), raised where in some direction it is below `least`."""
    ridge = 1e-9 * np.trace(least, axis1=-2, axis2=-1) + 1e-30
    scale = np.linalg.cholesky(least + ridge[..., None, None] * np.eye(least.shape[-1]))
    inverse = np.linalg.inv(scale)
    values, vectors = np.linalg.eigh(inverse @ matrix @ np.swapaxes(inverse, -2, -1))
    turned = scale @ vectors
    return np.asarray(
        (turned * np.maximum(values, 1.0)[..., None, :]) @ np.swapaxes(turned, -2, -1)
    )

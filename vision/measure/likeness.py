"""By how much residuals that are like their neighbours' widen a variance."""

from __future__ import annotations

import numpy as np

from vision.geometry import Array
from vision.measure.patches import Patches, per_mark

LEAST_PAIRS = 20
MOST_LIKENESS = 0.8


def widening(patches: Patches, residual: Array) -> Array:
    """Factor (m,), 1 or more, for the variance of what is fitted to residuals (n,).

    The effective number of an AR(1) field, along rows and down columns (Bayley and Hammersley,
    J. R. Stat. Soc. Suppl. 8(2), 1946).
    """
    m = len(patches.marks)
    pixels = np.bincount(patches.of, minlength=m)
    variance = per_mark(patches, residual**2) / np.maximum(pixels, 1)
    # Every pixel of a mark has a number of its own, one more to the right, `row` more below.
    low = patches.pixels.min(axis=0) if len(patches.pixels) else np.zeros(2, dtype=np.intp)
    u, v = (patches.pixels - low).T
    row = int(u.max(initial=0)) + 2
    key = (patches.of * (int(v.max(initial=0)) + 2) + v) * row + u
    factor = np.ones(m)
    for step in (1, row):
        at = np.minimum(np.searchsorted(key, key + step), len(key) - 1)
        there = key[at] == key + step
        first, second = np.flatnonzero(there), at[there]
        pairs = np.bincount(patches.of[first], minlength=m)
        product = np.bincount(patches.of[first], residual[first] * residual[second], minlength=m)
        likeness = product / np.maximum(pairs, 1) / np.maximum(variance, 1e-9)
        rho = np.where(pairs < LEAST_PAIRS, 0.0, np.clip(likeness, 0.0, MOST_LIKENESS))
        factor *= (1 + rho) / (1 - rho)
    return factor

"""What covers part of a mark, told from a shadow: in a shadow the ink still stands out.

The drawing of a shadow's edge also fits the edge of what lies on a mark or stands before it: the
body, a person, a sheet, a tear. A shadow dims tape and ink alike, so that their contrast stays as
it was. Where one side of the edge shows none, no mark is to be seen there, and that side is no part
of the measurement: its edge, which is not the mark's, would pull at the centre. And where a half
without ink has no such edge, what covers it ends nobody knows where: nothing is measured.
"""

from __future__ import annotations

import numpy as np

from vision.marks.measure.descent import Fits, information
from vision.marks.measure.patches import Patches, per_mark
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array, Flags

TUNED = SETTINGS.measure


TAPE, INK, BEYOND = 2, 5, {2: 8, 5: 9}
"""Levels of a drawing on the near side, and what they change by on the far side."""


def covered_pixels(patches: Patches, fits: Fits, noise2: Array) -> Array:
    """How far each pixel (n,) is covered, 0 to 1, by marks' fits with a shadow's edge.

    `noise2` (m,) is the variance of a pixel. All are 0 where the edge is a shadow's.
    """
    contrast, sigma = _contrasts(patches, fits, noise2)
    # Whatever is drawn, its far side's images add up to the edge's coverage.
    beyond = fits.basis[:, 6:].sum(axis=1)
    ink = np.abs(fits.basis[:, INK])
    on_far = per_mark(patches, ink * beyond) / np.maximum(per_mark(patches, ink), 1e-9)
    most_ink = np.stack([1 - on_far, on_far], axis=1) > TUNED.most_ink
    bare = most_ink & (np.abs(contrast) + TUNED.covered_sigmas * sigma < TUNED.bare_contrast)
    near, far = (_without_ink(contrast, sigma) | bare)[patches.of].T
    return np.asarray(near * (1 - beyond) + far * beyond)


def uncovered(patches: Patches, fits: Fits, noise2: Array) -> tuple[Flags, Flags, Patches]:
    """Marks (m,) that something covers, those of them of which enough is left, and what is left."""
    share = covered_pixels(patches, fits, noise2)
    hidden = per_mark(patches, share) > 0
    clear = share < TUNED.cover_reach
    ink = np.abs(fits.basis[:, INK])
    enough = per_mark(patches, ink * clear) >= TUNED.least_ink * per_mark(patches, ink)
    enough &= np.bincount(patches.of[clear], minlength=len(hidden)) >= TUNED.least_pixels
    kept = hidden & enough
    return hidden, kept, patches.part(kept, kept[patches.of] & clear)


def _without_ink(contrast: Array, sigma: Array) -> Flags:
    """Which of two sides (m, 2) shows no ink where the other surely does."""
    least = (contrast - TUNED.covered_sigmas * sigma)[:, ::-1]
    inked = (least > TUNED.inked_contrast[0]) & (contrast[:, ::-1] <= TUNED.inked_contrast[1])
    return np.asarray(
        inked & (contrast + TUNED.covered_sigmas * sigma < TUNED.covered_contrast_share * least)
    )


def _contrasts(patches: Patches, fits: Fits, noise2: Array) -> tuple[Array, Array]:
    """Tape minus ink over their sum, (m, 2) for near and far side, with sigma (m, 2)."""
    p, k = fits.state.shape[1], fits.levels.shape[1]
    spread = np.linalg.inv(information(fits, noise2))[:, p:, p:] * noise2[:, None, None]
    sign = np.array([1.0 if mark.ink == "dark" else -1.0 for mark in patches.marks])
    step, both = np.zeros((2, k)), np.zeros((2, k))
    step[:, TAPE], step[:, INK], both[:, TAPE], both[:, INK] = 1, -1, 1, 1
    for level, change in BEYOND.items():
        step[1, change], both[1, change] = step[1, level], both[1, level]
    total = np.maximum(fits.levels @ both.T, 1.0)
    variance = np.einsum("ik,mkl,il->mi", step, spread, step)
    return sign[:, None] * (fits.levels @ step.T) / total, np.sqrt(variance) / total


def half_hidden(patches: Patches, fits: Fits) -> Flags:
    """Marks (m,), drawn without a shadow's edge, of which one half shows ink and another much less.

    Halves are ahead and behind, left and right.
    """
    levels, basis = fits.levels[patches.of], fits.basis
    on_tape = basis[:, TAPE] + basis[:, INK]
    bare = patches.levels - levels[:, 0] * basis[:, 0] - levels[:, 1] * basis[:, 1]
    sign = np.array([1.0 if mark.ink == "dark" else -1.0 for mark in patches.marks])
    hidden = np.zeros(len(patches.marks), dtype=bool)
    for place in (patches.s, patches.q):
        halves = [
            _stands_out(patches, (on_tape > 0.5) & (side * place > 0), bare, basis)
            for side in (1, -1)
        ]
        contrast, sigma = (np.stack(each, axis=1) for each in zip(*halves, strict=True))
        hidden |= _without_ink(sign[:, None] * contrast, sigma).any(axis=1)
    return hidden


def _stands_out(patches: Patches, rows: Flags, levels: Array, basis: Array) -> tuple[Array, Array]:
    """Tape minus ink over their sum (m,) in the pixels `rows` (n,); sigma, infinite if untold."""
    among = rows.astype(np.float64)
    tape, ink = basis[:, TAPE] * among, basis[:, INK] * among
    a, b, c = (per_mark(patches, each) for each in (tape * tape, tape * ink, ink * ink))
    u, v = per_mark(patches, tape * levels), per_mark(patches, ink * levels)
    count, square = per_mark(patches, among), per_mark(patches, among * levels**2)
    whole = a * c - b * b
    tell = (count > 4) & (whole > 1e-6 * np.maximum(a * c, 1e-9))
    whole = np.where(tell, whole, 1.0)
    clear, inked = (c * u - b * v) / whole, (a * v - b * u) / whole
    noise2 = np.maximum(square - clear * u - inked * v, 0.0) / np.maximum(count - 2, 1)
    spread = np.sqrt(noise2 * (a + c + 2 * b) / whole)
    total = np.maximum(clear + inked, 1.0)
    return np.where(tell, (clear - inked) / total, 0.0), np.where(tell, spread / total, np.inf)

"""Where a shadow's edge might cross a mark: the step most like the plain drawing's misfit."""

from __future__ import annotations

import numpy as np

from vision.marks.measure.descent import Fits
from vision.marks.measure.drawing import SHADED
from vision.marks.measure.patches import Patches
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array

TUNED = SETTINGS.measure


ANGLES = np.arange(0.0, np.pi, np.pi / 8)
PLACES = np.arange(1, 8) / 8


def shadow_starts(patches: Patches, fits: Fits) -> Array:
    """States (m, 8) to begin a fit with a shadow's edge from; NaN where noise explains the misfit.

    Only bare tape is looked at: that is one level but for the shadow.
    """
    starts = np.full((len(patches.marks), SHADED), np.nan)
    # The tape's slopes would take most of a step near its middle: give them back before looking.
    slopes = fits.levels[patches.of, 3:5]
    whole = fits.residual + np.einsum("nk,nk->n", fits.basis[:, 3:5], slopes)
    clear = fits.basis[:, 2] > 0.5
    m_per_px = np.sqrt(np.diagonal(patches.metric, axis1=1, axis2=2))
    away = np.stack([patches.s, patches.q], axis=1) / m_per_px[patches.of]
    for index, span in enumerate(patches.spans):
        bare = clear[span]
        if bare.sum() < TUNED.least_bare_pixels:
            continue
        edge = _best_step(whole[span][bare], away[span][bare])
        if edge is not None:
            normal = np.array([np.cos(edge[0]), np.sin(edge[0])]) / m_per_px[index]
            length = np.hypot(*normal)
            blur = min(float(fits.state[index, 3]), TUNED.sharpest_shadow_px)
            line = np.arctan2(normal[1], normal[0]), edge[1] / length
            starts[index] = [0.0, 0.0, 0.0, blur, 0.0, *line, TUNED.start_soft_px]
    return starts


def _best_step(residual: Array, away: Array) -> tuple[float, float] | None:
    """Direction and distance of the straight step at places (n, 2) that explains a misfit (n,)."""
    residual, count = residual - residual.mean(), len(residual)
    across = away @ np.stack([np.cos(ANGLES), np.sin(ANGLES)])
    order = np.argsort(across, axis=0)
    # How many lie beyond each place, and their sum: less what lies before, as the sum of all is 0.
    last = (PLACES * count).astype(int)
    beyond, here = count - 1 - last, -np.cumsum(residual[order], axis=0)[last]
    both = (beyond >= TUNED.least_side_pixels) & (count - beyond >= TUNED.least_side_pixels)
    gain = here**2 * np.where(both, 1 / np.maximum(beyond, 1) + 1 / (count - beyond), 0.0)[:, None]
    place, angle = np.unravel_index(np.argmax(gain), gain.shape)
    if gain[place, angle] <= TUNED.least_step_gain * float(residual @ residual):
        return None
    return float(ANGLES[angle]), float(across[order[last[place], angle], angle])

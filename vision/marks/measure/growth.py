"""How far what is bright reaches beyond where it is drawn to.

Where a picture was soft before its levels were encoded, bright parts are wider than they are, by
some tenths of a pixel, and the same everywhere in it. On a mark that is seen whole opposite sides
cancel; half a mark hangs on them. So whole marks tell the growth, and half marks are put right by
it, with what is left of doubt in their covariance.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from vision.marks.measure.descent import Fits
from vision.marks.measure.patches import Patches
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array, freeze

TUNED = SETTINGS.measure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Growth:
    """What one mark says of the growth, and what a growth does to it.

    `growth_px` with `sigma_px`; `moved_px` (2,) is how far a growth of 1 px moves its centre.
    """

    growth_px: float
    sigma_px: float
    moved_px: Array

    def __post_init__(self) -> None:
        freeze(self, moved_px=(2,))


def growths(patches: Patches, fits: Fits, lever: Array, inverse: Array) -> list[Growth]:
    """What each mark says of it. `lever` (n, p + k) is how pixels follow states and levels.

    `inverse` (m, p + k, p + k) is that of their normal matrix; all by the square root of weights.
    """
    trust, pixel_from_mark = np.sqrt(fits.weights), patches.d_pixel_d_mark
    mark_from_pixel = np.linalg.inv(pixel_from_mark)[patches.of]
    steepness = np.linalg.norm(fits.slopes[:, None, :2] @ mark_from_pixel, axis=-1)[:, 0] * trust
    residual = fits.residual * trust
    found = []
    for index, span in enumerate(patches.spans):
        rows, grown = lever[span], steepness[span]
        follows = inverse[index] @ (rows.T @ grown)
        # What of a growth the rest of the drawing cannot follow.
        own = grown - rows @ follows
        weight = max(float(own @ own), 1e-12)
        noise2 = float(residual[span] @ residual[span]) / max(len(grown) - rows.shape[1], 1)
        found.append(
            Growth(
                growth_px=float(own @ residual[span]) / weight,
                sigma_px=float(np.sqrt(noise2 / weight)),
                moved_px=pixel_from_mark[index] @ follows[:2],
            )
        )
    return found


def of_picture(told: Iterable[Growth]) -> tuple[float, float]:
    """Growth and sigma in px that the marks of a picture tell, those that are seen whole."""
    sure = [each.growth_px for each in told if each.sigma_px < TUNED.sure_growth_px]
    if len(sure) < TUNED.least_grown:
        return 0.0, TUNED.growth_sigma_px
    growth_px = float(np.median(sure))
    scatter_px = 1.4826 * float(np.median(np.abs(np.array(sure) - growth_px)))
    return growth_px, max(scatter_px, TUNED.least_growth_sigma_px)

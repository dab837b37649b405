"""What is believed of any lens before its boards are seen.

The curve has a weak prior, as in `vision.camera.lens_prior`, that keeps it rising where no corner
says how it goes on; it says next to nothing of the focal length.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.calibration.settings import LENS as TUNED
from vision.camera.lens import Lens
from vision.camera.pixel_shape import SQUARE, PixelShape
from vision.units.arrays import Array

DEGREES = np.array([2, 4, 6, 8])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CurvePrior:
    """Prior of a lens for pictures of `width` x `height`, whitened.

    `edge_rad` is the angle at the picture's farther edges, `pixels` the shape of a pixel.
    """

    width: int
    height: int
    edge_rad: float
    pixels: PixelShape = SQUARE

    def rows(self, vector: Array) -> tuple[Array, Array]:
        """Whitened residuals (10,) of a lens (8,) and their derivative (10, 8)."""
        fx, fy, cx, cy, *k = vector
        rows = np.zeros((10, 8))
        rows[[0, 1, 2, 3], [4, 5, 6, 7]] = self.edge_rad**DEGREES / np.array(TUNED.term_sigma)
        for row, share in zip((4, 5), TUNED.slope_shares, strict=True):
            rows[row, 4:] = (DEGREES + 1) * (share * self.edge_rad) ** DEGREES / TUNED.slope_sigma
        residuals = rows @ np.array([0.0, 0.0, 0.0, 0.0, *k])
        aspect = max(self.pixels.sigma, TUNED.aspect_sigma)
        residuals[6] = (np.log(fy / fx) - np.log(self.pixels.aspect)) / aspect
        rows[6, :2] = -1 / fx / aspect, 1 / fy / aspect
        sigma = TUNED.centre_share * self.width
        residuals[7] = (cx - 0.5 * (self.width - 1)) / sigma
        residuals[8] = (cy - 0.5 * (self.height - 1)) / sigma
        rows[7, 2] = rows[8, 3] = 1 / sigma
        usual = equidistant(self.width, self.height, self.edge_rad, self.pixels)
        middle = np.log(np.sqrt(fx * fy) / np.sqrt(usual.fx * usual.fy))
        residuals[9] = middle / TUNED.focal_log_sigma
        rows[9, :2] = 0.5 / fx / TUNED.focal_log_sigma, 0.5 / fy / TUNED.focal_log_sigma
        return residuals, rows

    def about(self, lens: Lens) -> CurvePrior:
        """The same prior for the edge angle of a lens now better known."""
        return CurvePrior(
            width=self.width, height=self.height, edge_rad=edge_rad(lens), pixels=self.pixels
        )


def equidistant(width: int, height: int, edge_rad: float, pixels: PixelShape = SQUARE) -> Lens:
    """The equidistant lens with the picture's middle for its centre and this angle at its edge."""
    half = max(width, height / pixels.aspect) / 2
    return Lens(
        width=width,
        height=height,
        fx=half / edge_rad,
        fy=half / edge_rad * pixels.aspect,
        cx=0.5 * (width - 1),
        cy=0.5 * (height - 1),
    )


def edge_rad(lens: Lens) -> float:
    """Angle at the farther edges by the lens itself, or as an equidistant one if it ends before."""
    radius = 0.5 * max(lens.width / lens.fx, lens.height / lens.fy)
    theta = float(lens.theta(np.asarray(radius)))
    return theta if np.isfinite(theta) else radius

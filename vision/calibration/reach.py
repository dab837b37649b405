"""How far off the axis the corners of a fit reach, and the field of view its lens has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.calibration.lens_fit import LensFit
from vision.camera.lens import Lens
from vision.units.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldOfView:
    """Angle between the rays through the left and the right edge at mid-height, with its sigma.

    `edge_rad` is the larger of the two rays' angles from the axis.
    """

    angle_rad: float
    sigma_rad: float
    edge_rad: float


def reach_rad(fit: LensFit) -> float:
    """Largest angle from the axis at which a corner is used."""
    pixels = np.concatenate([v.pixels_px[u] for v, u in zip(fit.views, fit.used, strict=True)])
    rays = fit.lens.unproject(pixels)
    return float(np.nanmax(np.arccos(np.clip(rays[:, 2], -1, 1))))


def field_of_view(lens: Lens, covariance: Array) -> FieldOfView | None:
    """Field of view across, or None where the lens ends within the picture."""
    middle = 0.5 * (lens.height - 1)
    edges = np.array([[-0.5, middle], [lens.width - 0.5, middle]])
    sides, slopes = [], []
    for pixel in edges:
        mx, my = (pixel - [lens.cx, lens.cy]) / [lens.fx, lens.fy]
        r = np.hypot(mx, my)
        theta = lens.theta(np.asarray(r))
        if not np.isfinite(theta):
            return None
        rise = float(lens.d_radius_d_theta(theta))
        # r is held by the pixel: dtheta = (dr - theta^3 dk1 - ...) / r'(theta).
        by_pixel = np.array([-mx * mx / lens.fx, -my * my / lens.fy, -mx / lens.fx, -my / lens.fy])
        slopes.append(np.concatenate([by_pixel / r, -(theta ** np.array([3, 5, 7, 9]))]) / rise)
        sides.append(float(theta))
    J = slopes[0] + slopes[1]
    return FieldOfView(
        angle_rad=sides[0] + sides[1],
        sigma_rad=float(np.sqrt(J @ covariance @ J)),
        edge_rad=max(sides),
    )

"""Where in the picture a fitted lens is known, and where the board should be held next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.calibration.lens_fit import LensFit
from vision.calibration.settings import LENS as TUNED
from vision.camera.geometry import cross_matrix
from vision.camera.lens import Lens
from vision.units.arrays import Array, Flags

MAP_COLUMNS, MAP_ROWS = 9, 5
FURTHEST_RAD = float(np.radians(110))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UncertaintyMap:
    """Sigma of the projection over the picture, in px: `sigma_px` (rows, columns), NaN where the
    lens cannot see, at `pixels_px` (rows, columns, 2). The larger axis of the ellipse, after the
    turn of the camera that absorbs most of it: a pose found later would absorb the same. `reached`
    (rows, columns) says where corners reach; beyond it is what lenses usually do.
    """  # noqa: D205

    pixels_px: Array
    sigma_px: Array
    reached: Flags


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where to hold the board next: a cell of the map, how well the lens is known there, why."""

    row: int
    column: int
    sigma_px: float
    reached: bool
    leant: bool


def uncertainty_map(
    lens: Lens, covariance: Array, reach_rad: float = FURTHEST_RAD
) -> UncertaintyMap:
    """Sigma of the projection at cell centres of a grid over the picture."""
    u = (np.arange(MAP_COLUMNS) + 0.5) / MAP_COLUMNS * lens.width - 0.5
    v = (np.arange(MAP_ROWS) + 0.5) / MAP_ROWS * lens.height - 0.5
    pixels = np.stack(np.meshgrid(u, v), axis=-1)
    rays = lens.unproject(pixels)
    seen = np.isfinite(rays).all(axis=-1)
    theta = np.arccos(np.clip(np.nan_to_num(rays[..., 2]), -1, 1))
    seen &= theta <= FURTHEST_RAD
    sigma = np.full(seen.shape, np.nan)
    if seen.any():
        _, d_point, d_lens = lens.project_with_derivatives(rays[seen])
        turn = (d_point @ cross_matrix(rays[seen])).reshape(-1, 3)
        J: Array = d_lens.reshape(-1, 8)
        J = J - turn @ np.linalg.lstsq(turn, J, rcond=None)[0]
        J = J.reshape(-1, 2, 8)
        ellipse = J @ covariance @ np.swapaxes(J, 1, 2)
        sigma[seen] = np.sqrt(np.linalg.eigvalsh(ellipse)[:, -1])
    reached = seen & (theta <= TUNED.beyond_reach * reach_rad)
    return UncertaintyMap(pixels_px=pixels, sigma_px=sigma, reached=reached)


def next_place(fit: LensFit, known: UncertaintyMap) -> Place | None:
    """The cell where the lens is known worst, None where it is known well enough all over."""
    if not np.isfinite(known.sigma_px).any():
        return None
    worst = float(np.nanmax(known.sigma_px))
    if worst <= TUNED.good_enough_px:
        return None
    row, column = np.unravel_index(int(np.nanargmax(known.sigma_px)), known.sigma_px.shape)
    leans = [_lean_rad(fit, each) for each in range(len(fit.views))]
    return Place(
        row=int(row),
        column=int(column),
        sigma_px=worst,
        reached=bool(known.reached[row, column]),
        leant=max(leans) >= TUNED.upright_rad,
    )


def _lean_rad(fit: LensFit, view: int) -> float:
    """Angle between the board's normal and the sight to its middle, in [0, pi / 2]."""
    pose = fit.poses[view]
    sight = pose.transform(fit.views[view].board_m.mean(axis=0))
    cosine = abs(float(pose.R[:, 2] @ sight)) / max(float(np.linalg.norm(sight)), 1e-12)
    return float(np.arccos(min(1.0, cosine)))

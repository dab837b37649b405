"""Find every inner corner of one checkerboard in a picture, and measure each.

Saddles are sought at several scales and joined along their edges to grids; the grid that is the
board is filled up, and each corner measured in the original pixels. Neither pose nor lens is known.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.calibration.board import Board, BoardView
from vision.calibration.board_corners.corner_fit import fit_corners
from vision.calibration.board_corners.growth import grown_grids
from vision.calibration.settings import SETTINGS as TUNED
from vision.camera.solver import NoFit
from vision.marks.picture import Grey
from vision.units.arrays import Array
from vision.units.reason import Reason


def find_board(grey: Grey, board: Board, name: str) -> BoardView | NoFit:
    """Find the inner corners of `board` in `grey` (H, W), 0..255, and measure each.

    NoFit codes: 'no-board' where no whole board is found.
    """
    for scale in _scales(max(grey.shape)):
        for grid in grown_grids(_resized(grey, scale), board):
            view = _measured(grey, _in_order((grid + 0.5) / scale - 0.5), board, name)
            if view is not None:
                return view
    return NoFit(reason=Reason("no-board", columns=board.columns, rows=board.rows))


def _scales(longest_px: int) -> list[float]:
    """Sizes at which to search: as it is, then for a soft picture, then for fine squares."""
    first = min(1.0, TUNED.first_side_px / longest_px)
    finer = [
        each for each in (1.0, 2.0) if each > first and each * longest_px <= TUNED.most_side_px
    ]
    return [first, 0.5 * first, *finer]


def _resized(grey: Grey, scale: float) -> Grey:
    if scale == 1.0:
        return grey
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    sized = cv2.resize(np.asarray(grey, np.float32), None, fx=scale, fy=scale, interpolation=way)
    return np.asarray(sized, dtype=np.float32)


def _in_order(corners: Array) -> Array:
    """Turn a grid so that columns run to the right and rows down, as far as the picture shows."""
    across = corners[:, -1].mean(axis=0) - corners[:, 0].mean(axis=0)
    down = corners[-1].mean(axis=0) - corners[0].mean(axis=0)
    if across[0] * down[1] - across[1] * down[0] < 0:
        corners = corners[:, ::-1]
        across = -across
    if across[0] < 0 if abs(across[0]) > abs(across[1]) else across[1] < 0:
        corners = corners[::-1, ::-1]
    return np.ascontiguousarray(corners)


def _measured(grey: Grey, grid: Array, board: Board, name: str) -> BoardView | None:
    """Measure every corner of a grid; None where the grid is not a checkerboard's."""
    corners = fit_corners(grey, grid)
    row, column = np.divmod(np.arange(len(corners.pixels)), board.columns)
    sign = corners.contrast * (1 - 2 * ((row + column) % 2))
    good = np.isfinite(corners.covariance).all(axis=(1, 2))
    good &= np.abs(corners.contrast) >= TUNED.least_contrast
    way = np.sign(np.median(sign[good])) if good.any() else 0.0
    good &= sign * way > 0
    if good.mean() < TUNED.least_agreeing:
        return None
    misfit = np.sqrt(corners.noise2[good]) / np.abs(corners.contrast[good])
    if np.median(misfit) > TUNED.most_board_misfit:
        return None
    return BoardView(
        name=name,
        board_m=board.points_m[good],
        pixels_px=corners.pixels[good],
        covariance_px2=corners.covariance[good],
    )

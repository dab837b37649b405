"""Find every inner corner of one checkerboard in a picture, and measure each.

Saddles are sought at several scales and joined along their edges to grids; the grid that is the
board is filled up, and each corner measured in the original pixels. Neither pose nor lens is known.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.calibration.board import Board, BoardView
from vision.calibration.board_corners.corner_fit import Corners, fit_corners
from vision.calibration.board_corners.growth import (
    counted_lattice,
    fewest,
    grown_grids,
    guessed,
    inside,
)
from vision.calibration.settings import SETTINGS as TUNED
from vision.camera.solver import NoFit
from vision.marks.picture import Grey
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason


def find_board(grey: Grey, board: Board, name: str) -> BoardView | NoFit:
    """Find the largest `board` in `grey` (H, W), 0..255, and measure each of its inner corners.

    NoFit codes: 'no-board' where none is found.
    """
    found = find_boards(grey, board, name, most=1)
    return found if isinstance(found, NoFit) else found[0]


def find_boards(
    grey: Grey, board: Board, name: str, most: int = TUNED.most_boards
) -> tuple[BoardView, ...] | NoFit:
    """Find up to so many boards of one kind, also such as the picture cuts off, the largest first.

    Views after the first are called `name (2)` and so on. NoFit code: 'no-board'.
    """
    in_vain = 0
    for scale in _scales(max(grey.shape)):
        found: list[BoardView] = []
        tried = 0
        if in_vain >= TUNED.most_in_vain:
            break
        for small in grown_grids(_resized(grey, scale), board):
            grid = _in_order((small + 0.5) / scale - 0.5)
            if any(_over(grid, view) for view in found):
                continue
            tried += 1
            if tried > TUNED.most_grids + len(found) or len(found) == most:
                break
            called = f"{name} ({len(found) + 1})" if found else name
            view = _measured(grey, grid, board, called)
            if view is None:
                in_vain += 1
            else:
                found.append(view)
        if found:
            return tuple(found)
    return NoFit(reason=Reason("no-board", columns=board.columns, rows=board.rows))


def seen_counts(grey: Grey) -> tuple[int, int] | None:
    """Inner corners of the largest grid of squares in a picture, the longer side first.

    For a board that was not found: another count may have been meant. None for no grid.
    """
    scale = _scales(max(grey.shape))[0]
    return counted_lattice(_resized(grey, scale))


def _over(grid: Array, view: BoardView) -> bool:
    """Whether a grid lies over a board already measured: a corner of its own among the other's."""
    middle = grid.reshape(-1, 2).mean(axis=0)
    low, high = view.pixels_px.min(axis=0), view.pixels_px.max(axis=0)
    shared = np.linalg.norm(grid.reshape(-1, 1, 2) - view.pixels_px, axis=-1).min(axis=0) < 2.0
    return bool(shared.mean() > TUNED.least_over or ((middle > low) & (middle < high)).all())


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


def _lacks_a_line(good: Flags) -> bool:
    """Whether an outer line of the board (rows, columns) has no corner: it is a smaller board."""
    return not min(line.any() for line in (good[0], good[-1], good[:, 0], good[:, -1]))


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
    """Measure every corner of a grid; None where the grid is not a checkerboard's.

    A corner that was lost, or that no drawing suits, is asked for once more from where its measured
    neighbours put it: a shadow's edge may have dragged the saddle that it was sought from.
    """
    corners = fit_corners(grey, grid)
    good, shown = _good(corners, grid, grey), inside(grid, grey.shape)
    if good.sum() < fewest(board) or good[shown].mean() < TUNED.least_agreeing:
        return None
    sure = _calm(corners, good)
    if not sure[shown].all():
        again = guessed(np.where(sure[..., None], corners.pixels.reshape(grid.shape), np.nan))
        second = fit_corners(grey, again)
        better = _good(second, again, grey)
        if _calm(second, better).sum() > sure.sum():
            corners, good, shown = second, better, inside(again, grey.shape)
    if _lacks_a_line(good | ~shown):
        return None
    good = good.ravel()
    misfit = np.sqrt(corners.noise2[good]) / np.abs(corners.contrast[good])
    if np.median(misfit) > TUNED.most_board_misfit:
        return None
    return BoardView(
        name=name,
        board_m=board.points_m[good],
        pixels_px=corners.pixels[good],
        covariance_px2=corners.covariance[good],
    )


def _good(corners: Corners, grid: Array, grey: Grey) -> Flags:
    """Which corners (rows, columns) were measured in the picture, light and dark in turn."""
    row, column = np.indices(grid.shape[:2]).reshape(2, -1)
    sign = corners.contrast * (1 - 2 * ((row + column) % 2))
    good = np.isfinite(corners.covariance).all(axis=(1, 2))
    good &= np.abs(corners.contrast) >= TUNED.least_contrast
    way = np.sign(np.median(sign[good])) if good.any() else 0.0
    good &= sign * way > 0
    within = inside(corners.pixels.reshape(grid.shape), grey.shape)
    return np.asarray(good.reshape(within.shape) & within)


def _calm(corners: Corners, good: Flags) -> Flags:
    """Which of the good corners (rows, columns) leave no more than corners of this board do."""
    noise2 = corners.noise2.reshape(good.shape)
    return np.asarray(good & (noise2 <= TUNED.most_misfit * np.median(noise2[good])))

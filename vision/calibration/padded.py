"""Board views as arrays of one length, and how a real board differs from a flat and square one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.calibration.board import BoardView
from vision.units.arrays import Array, Flags

BENDS, STRETCHES = 3, 2
SHARED = BENDS + STRETCHES
"""What a board may have for good: bends along x, across and along y; stretch and shear of its
print. Bends come first; a picture may have bends of its own as well."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Padded:
    """Views of one length: `board_m` (v, n, 3), `pixels_px` (v, n, 2), `covariance_px2`.

    `there` (v, n) is False where a view has fewer corners than the longest. `modes` (v, n, 3, 5)
    moves of each corner by one unit of each of SHARED; a unit of bend or stretch is a move by the
    board's half length at its ends.
    """

    board_m: Array
    pixels_px: Array
    covariance_px2: Array
    there: Flags
    modes: Array

    def __len__(self) -> int:
        return len(self.board_m)

    @property
    def weight(self) -> Array:
        """1 where there is a corner, else 0, (v, n)."""
        return self.there.astype(np.float64)

    def only(self, which: Sequence[int] | NDArray[Any]) -> Padded:
        """The views `which` alone."""
        chosen = np.asarray(which, dtype=np.intp)
        return Padded(
            board_m=self.board_m[chosen],
            pixels_px=self.pixels_px[chosen],
            covariance_px2=self.covariance_px2[chosen],
            there=self.there[chosen],
            modes=self.modes[chosen],
        )


def padded(views: Sequence[BoardView]) -> Padded:
    """Views of one board as arrays."""
    most = max(len(view) for view in views)

    def rows(arrays: list[Array]) -> Array:
        return np.array(
            [np.pad(a, [(0, most - len(a)), *[(0, 0)] * (a.ndim - 1)], mode="edge") for a in arrays]
        )

    board = rows([view.board_m for view in views])
    return Padded(
        board_m=board,
        pixels_px=rows([view.pixels_px for view in views]),
        covariance_px2=rows([view.covariance_px2 for view in views]),
        there=np.array([np.arange(most) < len(view) for view in views]),
        modes=modes(board),
    )


def modes(board_m: Array) -> Array:
    """Moves (v, n, 3, SHARED) of corners for one unit of each.

    The bends are the squares and the product of both ways along the board: what is straight in
    them a pose absorbs, so that they are the same for a board turned end for end, and for a part of
    one. A quarter turn, which a board of as many rows as columns may hide, only exchanges them.
    """
    half = 0.5 * np.ptp(board_m[..., :2].reshape(-1, 2), axis=0).max()
    x, y = board_m[..., 0] / half, board_m[..., 1] / half
    modes = np.zeros((*x.shape, 3, SHARED))
    modes[..., 2, 0], modes[..., 2, 1], modes[..., 2, 2] = x * x, x * y, y * y
    modes[..., 0, 3] = x
    modes[..., 0, 4] = y
    return np.asarray(half * modes)

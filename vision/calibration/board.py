"""A checkerboard shown to a camera, and where its inner corners were seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.units.arrays import Array, freeze

Indices = NDArray[np.bool_] | NDArray[np.integer[Any]]

FEWEST_SIDE = 3
"""Inner corners along a side: below it nothing tells a board from two crossing lines."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A board of `columns` x `rows` inner corners, squares `square_m` wide, taken to be flat."""

    columns: int
    rows: int
    square_m: float

    def __post_init__(self) -> None:
        if min(self.columns, self.rows) < FEWEST_SIDE:
            raise ValueError(
                f"board: expected {FEWEST_SIDE} or more inner corners a side, found "
                f"{self.columns} x {self.rows}"
            )
        if not (np.isfinite(self.square_m) and self.square_m > 0):
            raise ValueError(f"square_m: expected above 0, found {self.square_m}")

    @property
    def points_m(self) -> Array:
        """Inner corners (rows * columns, 3), row by row, z = 0, the board's middle at 0."""
        y, x = np.mgrid[: self.rows, : self.columns].astype(np.float64)
        x -= 0.5 * (self.columns - 1)
        y -= 0.5 * (self.rows - 1)
        return np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=-1) * self.square_m


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoardView:
    """The corners of the board that one picture shows.

    `name` of the picture; `board_m` (n, 3) in board coordinates, z = 0; `pixels_px` (n, 2) and
    `covariance_px2` (n, 2, 2) of what was measured. Corners that could not be measured are absent.
    Which end of the board is first does not matter: its grid of corners looks the same turned
    round, and even from behind.
    """

    name: str
    board_m: Array
    pixels_px: Array
    covariance_px2: Array

    def __post_init__(self) -> None:
        n = len(self.board_m)
        freeze(self, board_m=(n, 3), pixels_px=(n, 2), covariance_px2=(n, 2, 2))
        if n and not (np.linalg.eigvalsh(self.covariance_px2) > 0).all():
            raise ValueError("covariance_px2: expected positive definite matrices")

    def __len__(self) -> int:
        return len(self.board_m)

    def chosen(self, which: Indices) -> BoardView:
        """Keep the corners `which` (indices or flags) alone."""
        return BoardView(
            name=self.name,
            board_m=self.board_m[which],
            pixels_px=self.pixels_px[which],
            covariance_px2=self.covariance_px2[which],
        )

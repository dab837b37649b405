"""Grids of corners: their steps, smooth surfaces, and which corners lie off their neighbours."""

from __future__ import annotations

import numpy as np

from vision.calibration.settings import SETTINGS as TUNED
from vision.units.arrays import Array, Flags


def steps(grid: Array) -> tuple[Array, Array]:
    """Vectors from each corner to the next along its row and its column, (n, 2) each, in px."""
    down, across = np.gradient(grid, axis=(0, 1))
    return across.reshape(-1, 2), down.reshape(-1, 2)


def spacing_of(grid: Array) -> Array:
    """Distance (rows, columns) in px from each corner to the nearer of the next ones."""
    lengths = [np.linalg.norm(step, axis=-1) for step in steps(grid)]
    return np.asarray(np.minimum(*lengths).reshape(grid.shape[:2]))


def narrowing(grid: Array) -> Array:
    """Shorter step to a next corner over the mean one, along rows and columns, (n, 2), at most 1.

    Beyond the outer corners steps change as they do inside: towards the edge of a wide picture the
    outer squares are much the smallest.
    """
    shares = []
    for axis in (1, 0):
        line = np.moveaxis(grid, axis, 0)
        before = 3 * line[0] - 3 * line[1] + line[2]
        after = 3 * line[-1] - 3 * line[-2] + line[-3]
        length = np.linalg.norm(np.diff(np.stack([before, *line, after]), axis=0), axis=-1)
        mean = np.moveaxis(np.linalg.norm(np.gradient(line, axis=0), axis=-1), 0, axis)
        least = np.moveaxis(np.minimum(length[1:], length[:-1]), 0, axis)
        shares.append(np.clip(least / np.maximum(mean, 1e-9), 0.5, 1.0).ravel())
    return np.stack(shares, axis=-1)


def smoothed(grid: Array) -> tuple[Array, Flags]:
    """Polynomials in column and row through the known corners, and which corners lie off them.

    Robust: corners off by more than three of the median and a share of the spacing lose their say.
    """
    rows, columns = grid.shape[:2]
    known = np.isfinite(grid[..., 0])
    degree = 3 if known.sum() >= TUNED.cubic_from else 2
    if known.sum() < TUNED.quadratic_from:
        return grid, np.zeros(known.shape, dtype=bool)
    row, column = np.indices((rows, columns))
    x, y = 2 * column / (columns - 1) - 1, 2 * row / (rows - 1) - 1
    terms = np.stack(
        [x**i * y**j for i in range(degree + 1) for j in range(degree + 1 - i)], axis=-1
    )
    trusted, wrong = known, np.zeros(known.shape, dtype=bool)
    smooth = grid
    for _ in range(4):
        fit = np.linalg.lstsq(terms[trusted], grid[trusted], rcond=None)[0]
        smooth = terms @ fit
        off = np.linalg.norm(grid - smooth, axis=-1)
        most = np.maximum(TUNED.wrong_share * spacing_of(smooth), 4 * np.median(off[trusted]))
        wrong = known & (off > np.maximum(most, 0.5))
        following = known & ~wrong
        if following.sum() < len(terms[0, 0]) + 2 or (following == trusted).all():
            break
        trusted = following
    return smooth, wrong


def between(grid: Array) -> Array:
    """Each corner (rows, columns, 2) midway between those on both sides of it; itself at a rim."""
    places, counts = np.zeros(grid.shape), np.zeros(grid.shape[:2])
    for axis in (0, 1):
        inner = np.moveaxis(grid, axis, 0)
        at, count = np.moveaxis(places, axis, 0), np.moveaxis(counts, axis, 0)
        at[1:-1] += 0.5 * (inner[:-2] + inner[2:])
        count[1:-1] += 1
    middle = places / np.maximum(counts, 1)[..., None]
    return np.where((counts > 0)[..., None], middle, grid)


_LINES = ((0, 1), (1, 0), (0, -1), (-1, 0))


def astray(grid: Array) -> Array:
    """Distance (rows, columns), px, of each corner from the nearest place its neighbours give it.

    Places are those of straight and evenly bent lines from one side or from both, and of
    parallelograms: of a strongly bent grid some serve here, others there. 0 where no neighbours
    tell; NaN for a corner that is not known.
    """
    rows, columns = grid.shape[:2]
    padded = np.pad(grid, ((3, 3), (3, 3), (0, 0)), constant_values=np.nan)

    def at(row: int, column: int) -> Array:
        return padded[3 + row : 3 + row + rows, 3 + column : 3 + column + columns]

    places = []
    for (row, column), (down, across) in zip(_LINES, _LINES[1:] + _LINES[:1], strict=True):
        one, two, three = (at(n * row, n * column) for n in (1, 2, 3))
        places.append(3 * one - 3 * two + three)
        places.append(one + at(down, across) - at(row + down, column + across))
        if row + column > 0:
            other = at(-row, -column)
            places.append(0.5 * (one + other))
            places.append((4 * (one + other) - two - at(-2 * row, -2 * column)) / 6)
    away = np.linalg.norm(np.stack(places) - grid, axis=-1)
    nearest = np.nan_to_num(away, nan=np.inf).min(axis=0)
    nearest = np.where(np.isfinite(nearest), nearest, 0.0)
    return np.where(np.isfinite(grid[..., 0]), nearest, np.nan)


def strays(grid: Array, spacing_px: Array, times: float = 1.0) -> Flags:
    """Which known corners (rows, columns) lie off wherever their neighbours would put them.

    By `times` what the settings allow.
    """
    most = np.maximum(TUNED.astray_share * spacing_px, TUNED.astray_px)
    return np.asarray(astray(grid) > times * most)

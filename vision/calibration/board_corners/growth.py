"""Grids of joined saddles, filled up to a board's size."""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vision.calibration.board import Board
from vision.calibration.board_corners.saddles import (
    Saddles,
    find_saddles,
    join,
    log_grey,
    sample,
    smooth_logs,
)
from vision.calibration.board_corners.surface import smoothed, steps
from vision.calibration.settings import SETTINGS
from vision.marks.picture import Grey
from vision.units.arrays import Array, Flags

TUNED = SETTINGS.board_corners


def grown_grids(grey: Grey, board: Board) -> list[Array]:
    """Grids (rows, columns, 2) of pixels that may be the board, the likeliest first."""
    logs = log_grey(grey)
    saddles, smooth = find_saddles(logs), smooth_logs(logs)
    links = join(saddles, smooth)
    scored: list[tuple[float, Array]] = []
    for places in _components(saddles, links, board):
        for count, grid in _windows(places, saddles, board):
            if count < _fewest(board):
                continue
            filled = _filled(grid, saddles)
            contrast = _contrast(filled, smooth)
            if contrast > 0:
                # The largest in the picture: a board may be seen a second time, on a screen, say.
                scored.append((count * contrast * _size(filled), filled))
    scored.sort(key=lambda each: -each[0])
    return [grid for _, grid in scored[: TUNED.most_grids]]


def _fewest(board: Board) -> float:
    return max(TUNED.least_share * board.columns * board.rows, TUNED.fewest)


def _size(grid: Array) -> float:
    """Root of the mean area of a grid's squares, px."""
    across, down = steps(grid)
    area = across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0]
    return float(np.sqrt(np.abs(area).mean()))


def _components(
    saddles: Saddles, links: NDArray[np.intp], board: Board
) -> list[dict[tuple[int, int], int]]:
    """Saddles that hang together, each by its (column, row) from the first."""
    seen = np.zeros(len(saddles), dtype=bool)
    components = []
    for first in range(len(saddles)):
        if seen[first] or (links[first] < 0).all():
            continue
        places = _spread(first, saddles, links, seen)
        if len(places) >= _fewest(board):
            components.append(places)
    return components


def _spread(
    first: int, saddles: Saddles, links: NDArray[np.intp], seen: Flags
) -> dict[tuple[int, int], int]:
    """Number all saddles that can be reached from one, and mark them as seen."""
    axes = {first: saddles.ways[first]}
    at = {first: (0, 0)}
    places = {(0, 0): first}
    seen[first] = True
    waiting = deque([first])
    while waiting:
        here = waiting.popleft()
        for ray, there in enumerate(links[here]):
            if there < 0 or seen[there]:
                continue
            way = saddles.ways[here, ray % 2] * (1 if ray < 2 else -1)
            along = axes[here] @ way
            axis = int(np.abs(along).argmax())
            step = 1 if along[axis] > 0 else -1
            column, row = at[here]
            place = (column + step, row) if axis == 0 else (column, row + step)
            if place in places:
                continue
            seen[there] = True
            at[there], places[place] = place, int(there)
            # The same two axes go on: each takes the way most like it.
            turned = axes[here] @ saddles.ways[there].T
            which = np.abs(turned).argmax(axis=1)
            if which[0] == which[1]:
                which = np.array([0, 1])
            sense = np.where(turned[[0, 1], which] < 0, -1.0, 1.0)
            axes[there] = saddles.ways[there, which] * sense[:, None]
            waiting.append(int(there))
    return places


def _windows(
    places: dict[tuple[int, int], int], saddles: Saddles, board: Board
) -> list[tuple[int, Array]]:
    """Every way of laying the board over a component that takes in the most saddles.

    Grids (rows, columns, 2), NaN where there is no saddle; the board's other way round is turned.
    """
    cells = np.array(list(places))
    low, size = cells.min(axis=0), np.ptp(cells, axis=0) + 1
    margin = max(board.columns, board.rows)
    whole = np.full((size[1] + 2 * margin, size[0] + 2 * margin, 2), np.nan)
    for (column, row), index in places.items():
        whole[row - low[1] + margin, column - low[0] + margin] = saddles.pixels[index]
    known = np.isfinite(whole[..., 0])
    found: list[tuple[int, Array]] = []
    for rows, columns in {(board.rows, board.columns), (board.columns, board.rows)}:
        for top in range(whole.shape[0] - rows + 1):
            for left in range(whole.shape[1] - columns + 1):
                window = slice(top, top + rows), slice(left, left + columns)
                if _goes_on(known, top, left, rows, columns):
                    continue
                count = int(known[window].sum())
                grid = whole[window]
                if rows != board.rows:
                    grid = grid.transpose(1, 0, 2)
                found.append((count, grid))
    most = max((count for count, _ in found), default=0)
    ties = [each for each in found if each[0] == most]
    return ties if len(ties) <= TUNED.most_ties else []


def _goes_on(known: Flags, top: int, left: int, rows: int, columns: int) -> bool:
    """Whether a further row or column of saddles lies along a window: the board is a larger one."""
    down, across = slice(top, top + rows), slice(left, left + columns)
    lines = []
    for row in (top - 1, top + rows):
        lines += [known[row, across]] if 0 <= row < known.shape[0] else []
    for column in (left - 1, left + columns):
        lines += [known[down, column]] if 0 <= column < known.shape[1] else []
    return any(line.mean() > TUNED.most_beside for line in lines)


def _filled(grid: Array, saddles: Saddles) -> Array:
    """A grid with missing and wrong corners guessed, or taken from a saddle where one is near.

    A corner is wrong where it lies far from a smooth surface through all; after the last round
    those that still do are put on it.
    """
    tree = cKDTree(saddles.pixels)
    for _ in range(TUNED.fill_rounds):
        smooth, wrong = smoothed(grid)
        grid = _guessed(np.where(wrong[..., None], np.nan, grid), saddles, tree)
    smooth, wrong = smoothed(grid)
    return np.where(wrong[..., None], smooth, grid)


def _guessed(grid: Array, saddles: Saddles, tree: cKDTree) -> Array:
    """A grid with its missing corners guessed from their neighbours, or taken from a saddle."""
    grid = grid.copy()
    for _ in range(sum(grid.shape[:2])):
        missing = np.argwhere(~np.isfinite(grid[..., 0]))
        if not len(missing):
            break
        guesses = [(row, column, *_guess(grid, row, column)) for row, column in missing]
        # The best supported first: a guess from both sides is no extrapolation.
        most = max(weight for _, _, weight, _ in guesses)
        for row, column, weight, place in guesses:
            if weight < most or weight == 0:
                continue
            spacing = _spacing(grid, row, column, place)
            away, index = tree.query(place)
            near = away < TUNED.snap_share * spacing
            grid[row, column] = saddles.pixels[index] if near else place
    return grid


_LINES = ((0, 1), (1, 0), (0, -1), (-1, 0))
_CORNERS = tuple(zip(_LINES, (*_LINES[1:], _LINES[0]), strict=True))


def _guess(grid: Array, row: int, column: int) -> tuple[int, Array]:
    """Weight and place of a missing corner, from straight or evenly bent lines through it."""
    rows, columns = grid.shape[:2]

    def at(down: int, across: int) -> Array | None:
        r, c = row + down, column + across
        inside = 0 <= r < rows and 0 <= c < columns
        return grid[r, c] if inside and np.isfinite(grid[r, c, 0]) else None

    weights, places = [0], [np.zeros(2)]
    for down, across in _LINES:
        one, two, three = (at(k * down, k * across) for k in (1, 2, 3))
        opposite = at(-down, -across)
        if one is not None and opposite is not None:
            weights, places = [*weights, 3], [*places, 0.5 * (one + opposite)]
        elif one is not None and two is not None and three is not None:
            weights, places = [*weights, 2], [*places, 3 * one - 3 * two + three]
        elif one is not None and two is not None:
            weights, places = [*weights, 1], [*places, 2 * one - two]
    for (down, across), (other_down, other_across) in _CORNERS:
        one, two = at(down, across), at(other_down, other_across)
        both = at(down + other_down, across + other_across)
        if one is not None and two is not None and both is not None:
            weights, places = [*weights, 2], [*places, one + two - both]
    total = sum(weights)
    middle = sum(w * p for w, p in zip(weights, places, strict=True)) / max(total, 1)
    return total, np.asarray(middle)


def _spacing(grid: Array, row: int, column: int, place: Array) -> float:
    """Distance to the nearest known neighbour along the grid; 0 where there is none."""
    near = [
        float(np.linalg.norm(grid[r, c] - place))
        for r, c in ((row + d, column + a) for d, a in _LINES)
        if 0 <= r < grid.shape[0] and 0 <= c < grid.shape[1] and np.isfinite(grid[r, c, 0])
    ]
    return min(near, default=0.0)


def _contrast(grid: Array, smooth: NDArray[np.float32]) -> float:
    """Contrast of a grid's squares in log grey along its faintest line; 0 where none alternate.

    A grid laid one line too far has a line with no squares.
    """
    if not np.isfinite(grid).all():
        return 0.0
    across, down = (each.reshape(grid.shape) for each in steps(grid))
    mixed = np.zeros(grid.shape[:2])
    for a in (-0.4, 0.4):
        for b in (-0.4, 0.4):
            mixed += np.sign(a * b) * sample(smooth, grid + a * across + b * down) / 4
    row, column = np.indices(mixed.shape)
    signed = mixed * (1 - 2 * ((row + column) % 2))
    way = np.sign(np.median(signed))
    if (signed * way > 0).mean() < TUNED.least_signed:
        return 0.0
    lines = [np.median(signed * way, axis=axis).min() for axis in (0, 1)]
    return max(float(min(lines)), 0.0)

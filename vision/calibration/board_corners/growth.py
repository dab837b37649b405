"""Grids of joined saddles, filled up to a board's size."""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
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
from vision.calibration.settings import SETTINGS as TUNED
from vision.marks.picture import Grey
from vision.units.arrays import Array, Flags


def grown_grids(grey: Grey, board: Board) -> list[Array]:
    """Grids (rows, columns, 2) of pixels that may be the board, the likeliest first."""
    logs = log_grey(grey)
    saddles, smooth = find_saddles(logs), smooth_logs(logs)
    links = join(saddles, smooth)
    laid = [
        each
        for places in _components(saddles, links, board)
        for each in _windows(places, saddles, board)
        if each[0] >= fewest(board)
    ]
    laid.sort(key=lambda each: -each[0])
    scored: list[tuple[float, Array]] = []
    for count, grid in laid[: TUNED.most_filled]:
        filled = _filled(grid, saddles)
        contrast = _contrast(filled, smooth)
        if contrast > 0:
            # The largest in the picture: a board may be seen a second time, on a screen, say.
            scored.append((count * contrast * _size(filled), filled))
    scored.sort(key=lambda each: -each[0])
    return [grid for _, grid in scored[: TUNED.most_tried]]


def fewest(board: Board) -> float:
    """Corners of a board that must hang together."""
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
        if len(places) >= fewest(board):
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
    known = np.pad(np.isfinite(whole[..., 0]), 1)
    found: list[tuple[int, Array]] = []
    for rows, columns in {(board.rows, board.columns), (board.columns, board.rows)}:
        around = sliding_window_view(known, (rows + 2, columns + 2))
        count = around[..., 1:-1, 1:-1].sum(axis=(-2, -1))
        # Where a further row or column of saddles lies beside it, the board is a larger one.
        lines = [around[..., end, 1:-1] for end in (0, -1)]
        lines += [around[..., 1:-1, end] for end in (0, -1)]
        beside = np.max([line.mean(axis=-1) for line in lines], axis=0)
        count = np.where(beside > TUNED.most_beside, 0, count)
        for top, left in np.argwhere(count == max(count.max(), 1)):
            grid = whole[top : top + rows, left : left + columns]
            grid = grid if rows == board.rows else grid.transpose(1, 0, 2)
            found.append((int(count[top, left]), grid))
    most = max((count for count, _ in found), default=0)
    ties = [each for each in found if each[0] == most]
    return ties if len(ties) <= TUNED.most_ties else []


def _filled(grid: Array, saddles: Saddles) -> Array:
    """A grid with missing and wrong corners guessed, or taken from a saddle where one is near.

    A corner is wrong where it lies far from a smooth surface through all; after the last round
    those that still do are sought on it. A guess is where the picture is asked for a corner, not
    where one is: of a board that no such surface fits, corners are lost here and asked for again
    from those that were measured (`find`).
    """
    tree = cKDTree(saddles.pixels)
    for _ in range(TUNED.fill_rounds):
        smooth, wrong = smoothed(grid)
        grid = guessed(np.where(wrong[..., None], np.nan, grid), tree)
    smooth, wrong = smoothed(grid)
    return np.where(wrong[..., None], smooth, grid)


def guessed(grid: Array, tree: cKDTree | None = None) -> Array:
    """A grid with its missing corners guessed from their neighbours.

    Or taken from the saddles of a tree where one lies near.
    """
    grid = grid.copy()
    for _ in range(sum(grid.shape[:2])):
        weights, places, spacing = _guesses(grid)
        missing = ~np.isfinite(grid[..., 0])
        # The best supported first: a guess from both sides is no extrapolation.
        now = missing & (weights > 0) & (weights == weights[missing].max(initial=0))
        if not now.any():
            break
        grid[now] = places[now]
        if tree is not None:
            away, index = tree.query(places[now])
            near = away < TUNED.snap_share * spacing[now]
            grid[now] = np.where(near[:, None], tree.data[index], places[now])
    return grid


_LINES = np.array([(0, 1), (1, 0), (0, -1), (-1, 0)])
_REACH = 3


def _guesses(grid: Array) -> tuple[Array, Array, Array]:
    """Weights and places of corners from straight or evenly bent lines through their neighbours.

    (rows, columns), and 2 for places; with the distance to the nearest neighbour.
    """
    rows, columns = grid.shape[:2]
    room = (_REACH, _REACH)
    padded = np.pad(grid, (room, room, (0, 0)), constant_values=np.nan)

    def at(step: NDArray[np.int_]) -> Array:
        row, column = step + _REACH
        return padded[row : row + rows, column : column + columns]

    total, summed = np.zeros((rows, columns)), np.zeros(grid.shape)
    for line, turned in zip(_LINES, np.roll(_LINES, -1, axis=0), strict=True):
        one, two, three = (at(count * line) for count in (1, 2, 3))
        free = np.ones((rows, columns), dtype=bool)
        along = (0.5 * (one + at(-line)), 3 * one - 3 * two + three, 2 * one - two)
        for weight, place in zip((3, 2, 1), along, strict=True):
            told = np.isfinite(place[..., 0])
            _add(total, summed, weight, place, told & free)
            free &= ~told
        corner = one + at(turned) - at(line + turned)
        _add(total, summed, 2, corner, np.isfinite(corner[..., 0]))
    places = summed / np.maximum(total, 1)[..., None]
    away = [np.linalg.norm(at(line) - places, axis=-1) for line in _LINES]
    return total, places, np.min(np.nan_to_num(away, nan=np.inf), axis=0)


def _add(total: Array, summed: Array, weight: int, place: Array, told: Flags) -> None:
    total[told] += weight
    summed[told] += weight * place[told]


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
    shown = inside(grid, smooth.shape)
    if not shown.any():
        return 0.0
    way = np.sign(np.median(signed[shown]))
    if (signed[shown] * way > 0).mean() < TUNED.least_signed:
        return 0.0
    whole = [*zip(signed, shown, strict=True), *zip(signed.T, shown.T, strict=True)]
    lines = [np.median(line[there] * way) for line, there in whole if there.any()]
    return max(float(min(lines)), 0.0)


def inside(grid: Array, shape: tuple[int, ...]) -> Flags:
    """Which corners (rows, columns) of a grid a picture (H, W) shows with some pixels round it."""
    high = np.array([shape[1], shape[0]]) - 1 - TUNED.rim_px
    return np.asarray(((grid >= TUNED.rim_px) & (grid <= high)).all(axis=-1))


def counted_lattice(grey: Grey) -> tuple[int, int] | None:
    """Lines of the largest lattice of joined saddles in grey (H, W), the longer side first."""
    logs = log_grey(grey)
    saddles = find_saddles(logs)
    links = join(saddles, smooth_logs(logs))
    seen = np.zeros(len(saddles), dtype=bool)
    best: dict[tuple[int, int], int] = {}
    for first in range(len(saddles)):
        if not seen[first] and (links[first] >= 0).any():
            best = max(best, _spread(first, saddles, links, seen), key=len)
    if len(best) < TUNED.fewest:
        return None
    cells = np.array(list(best))
    counts = []
    for axis in (0, 1):
        _, of_line = np.unique(cells[:, axis], return_counts=True)
        counts.append(int((of_line > TUNED.least_line * of_line.max()).sum()))
    return max(counts), min(counts)

"""Find every inner corner of one checkerboard in a picture, and measure each.

OpenCV finds the grid; each corner is then measured by drawing a blurred saddle into the original
pixels around it. The window never reaches beyond the corner's own four squares, which in the
slanted edge of a wide picture are a few pixels across; a fixed window would take in the neighbours.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from vision.board import Board, BoardView
from vision.geometry import Array
from vision.picture import Grey
from vision.solver import NoFit

WINDOW_SHARE = 0.42
"""Of the way to the neighbouring corners; beyond a half the next corner's edges come in."""

WIDEST_PX = 10
FEWEST_PIXELS = 14
"""Seven unknowns per corner, each with two pixels."""

FURTHEST_SHARE = 0.3
"""A corner that moves further than this share of the spacing has slid to something else."""

LEAST_SIGMA_PX = 0.02
"""What a drawn saddle cannot know: curved edges, print, compression blocks."""

LEAST_CONTRAST = 4.0
"""Grey levels between a corner's dark and light squares, halved, below which it is not there."""

LEAST_AGREEING = 0.8
"""Share of corners whose colours must alternate as a checkerboard's do."""

REFINE_STEPS = 14
SPREAD = float(np.sqrt(2 / np.pi))
LONGEST_SEARCH_PX = 2600
SEARCH_SIDE_PX = 1400
FLATTEN_SHARE = 0.04

_SB_FAST = cv2.CALIB_CB_NORMALIZE_IMAGE
_SB_SLOW = cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_EXHAUSTIVE
_CLASSIC = cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE


def find_board(grey: Grey, board: Board, name: str) -> BoardView | NoFit:
    """Find the inner corners of `board` in `grey` (H, W), 0..255, and measure each.

    NoFit codes: 'no-board' where no whole board is found.
    """
    for corners in _grids(grey, board):
        view = _measured(grey, _in_order(corners, board), board, name)
        if view is not None:
            return view
    text = f"no board of {board.columns} x {board.rows} inner corners, all of it in view"
    return NoFit(code="no-board", text=text)


def flattened(grey: Grey) -> NDArray[np.uint8]:
    """Grey with local mean and contrast made even, so that shade and glare do not matter."""
    sigma = max(4.0, FLATTEN_SHARE * max(grey.shape))
    mean = cv2.GaussianBlur(grey, (0, 0), sigma)
    spread = np.sqrt(np.maximum(cv2.GaussianBlur((grey - mean) ** 2, (0, 0), sigma), 0.0))
    even = 128 + 60 * (grey - mean) / np.maximum(spread, 6.0)
    return np.clip(even, 0, 255).astype(np.uint8)


def _grids(grey: Grey, board: Board) -> Iterator[Array]:
    """Try one search after another, the quick ones first; each gives (rows, columns, 2)."""
    raw = np.clip(grey, 0, 255).astype(np.uint8)
    even = flattened(grey)
    size = (board.columns, board.rows)
    shape = (board.rows, board.columns, 2)
    longest = max(grey.shape)
    first = min(1.0, SEARCH_SIDE_PX / longest)
    scales = [first] + [s for s in (2.0, 1.0) if s != first and s * longest <= LONGEST_SEARCH_PX]
    tries: list[tuple[NDArray[np.uint8], float, int | None]]
    tries = [(image, scale, _SB_FAST) for scale in scales for image in (raw, even)]
    tries += [(image, first, None) for image in (raw, even)]
    # Exhaustive search takes seconds where there is no board, so it comes last and once.
    tries += [(even, first, _SB_SLOW)]
    for image, scale, flags in tries:
        sized = _resized(image, scale)
        if flags is None:
            found, corners = cv2.findChessboardCorners(sized, size, flags=_CLASSIC)
        else:
            found, corners = cv2.findChessboardCornersSB(sized, size, flags=flags)
        if found:
            yield _unscaled(corners, scale).reshape(shape)


def _resized(image: NDArray[np.uint8], scale: float) -> NDArray[np.uint8]:
    if scale == 1.0:
        return image
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(image, None, fx=scale, fy=scale, interpolation=way), np.uint8)


def _unscaled(corners: object, scale: float) -> Array:
    return (np.asarray(corners, dtype=np.float64) + 0.5) / scale - 0.5


def _in_order(corners: Array, board: Board) -> Array:
    """Turn a grid so that columns run to the right and rows down, as far as the picture shows."""
    across = corners[:, -1].mean(axis=0) - corners[:, 0].mean(axis=0)
    down = corners[-1].mean(axis=0) - corners[0].mean(axis=0)
    if across[0] * down[1] - across[1] * down[0] < 0:
        corners = corners[:, ::-1]
        across = -across
    if across[0] < 0 if abs(across[0]) > abs(across[1]) else across[1] < 0:
        corners = corners[::-1, ::-1]
    return np.ascontiguousarray(corners)


def _steps(grid: Array) -> tuple[Array, Array]:
    """Vectors from each corner to the next along its row and its column, (n, 2) each, in px."""
    down, across = np.gradient(grid, axis=(0, 1))
    return across.reshape(-1, 2), down.reshape(-1, 2)


def _measured(grey: Grey, grid: Array, board: Board, name: str) -> BoardView | None:
    """Measure every corner of a grid; None where the grid is not a checkerboard's."""
    pixels, covariance, contrast = _refined(grey, grid)
    # Again from better places: the bend of the edges is taken from the grid itself.
    sure = np.isfinite(covariance[:, :1, 0])
    grid = np.where(sure, pixels, grid.reshape(-1, 2)).reshape(grid.shape)
    pixels, covariance, contrast = _refined(grey, grid)
    row, column = np.divmod(np.arange(len(pixels)), board.columns)
    sign = contrast * (1 - 2 * ((row + column) % 2))
    good = np.isfinite(covariance).all(axis=(1, 2)) & (np.abs(contrast) >= LEAST_CONTRAST)
    way = np.sign(np.median(sign[good])) if good.any() else 0.0
    good &= sign * way > 0
    if good.mean() < LEAST_AGREEING:
        return None
    return BoardView(
        name=name,
        board_m=board.points_m[good],
        pixels_px=pixels[good],
        covariance_px2=covariance[good],
    )


def _refined(grey: Grey, grid: Array) -> tuple[Array, Array, Array]:
    """Fit a blurred saddle around each corner of `grid` (rows, columns, 2).

    Returns centres (n, 2), covariances (n, 2, 2), NaN where the fit failed, and the signed contrast
    (n,). Gauss-Newton on centre, directions of both edges, level, contrast and blur, all corners at
    once: I = b + c erf(q1 / sqrt2 s) erf(q2 / sqrt2 s), q the distances from the two edges. A wide
    lens bends the edges; how much is known from the grid, and held fixed.
    """
    across, down = _steps(grid)
    bend = _bends(grid, across, down)
    start = grid.reshape(-1, 2)
    offset, weight, values = _windows(grey, start, across, down)
    level = (weight * values).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9)
    p = np.zeros((len(start), 7))
    p[:, :2] = start - np.round(start)
    p[:, 2] = np.arctan2(across[:, 1], across[:, 0])
    p[:, 3] = np.arctan2(down[:, 1], down[:, 0])
    p[:, 4], p[:, 6] = level, 1.0
    model, J = _saddle(p, offset, bend)
    pattern = J[..., 5]
    lean = (weight * pattern * (values - level[:, None])).sum(axis=1)
    p[:, 5] = lean / np.maximum((weight * pattern**2).sum(axis=1), 1e-9)
    damping = np.full(len(start), 1e-3)
    model, J = _saddle(p, offset, bend)
    cost = (weight * (values - model) ** 2).sum(axis=1)
    for _ in range(REFINE_STEPS):
        normal = np.einsum("nka,nk,nkb->nab", J, weight, J)
        gradient = np.einsum("nka,nk->na", J, weight * (values - model))
        ridge = damping[:, None] * np.einsum("naa->na", normal) + 1e-9
        step = np.linalg.solve(normal + np.eye(7) * ridge[:, None], gradient[..., None])[..., 0]
        trial = p + step
        trial[:, 6] = np.clip(trial[:, 6], 0.3, 6.0)
        moved, _ = _saddle(trial, offset, bend)
        cost_then = (weight * (values - moved) ** 2).sum(axis=1)
        better = cost_then < cost
        p = np.where(better[:, None], trial, p)
        cost = np.where(better, cost_then, cost)
        damping = np.clip(np.where(better, damping * 0.2, damping * 8), 1e-9, 1e6)
        model, J = _saddle(p, offset, bend)
    pixels = np.round(start) + p[:, :2]
    return pixels, _covariance(J, weight, cost, pixels - start, across, down), p[:, 5]


def _windows(grey: Grey, start: Array, across: Array, down: Array) -> tuple[Array, Array, Array]:
    """Whole-pixel offsets (n, m, 2), weights (n, m), 0 outside a window, and grey (n, m)."""
    side = np.arange(-WIDEST_PX, WIDEST_PX + 1)
    dy, dx = (each.ravel() for each in np.meshgrid(side, side, indexing="ij"))
    at = np.round(start).astype(int)
    columns, rows = at[:, :1] + dx, at[:, 1:] + dy
    inside = (columns >= 0) & (columns < grey.shape[1]) & (rows >= 0) & (rows < grey.shape[0])
    values = grey[np.clip(rows, 0, grey.shape[0] - 1), np.clip(columns, 0, grey.shape[1] - 1)]
    offset = np.broadcast_to(np.stack([dx, dy], axis=-1), (*dx.shape[:0], len(start), dx.size, 2))
    relative = offset - (start - at)[:, None]
    frame = np.stack([across, down], axis=-1)
    flat = np.abs(np.linalg.det(frame)) < 1e-6
    frame = np.where(flat[:, None, None], np.eye(2), frame)
    share = np.abs(np.einsum("nab,nmb->nma", np.linalg.inv(frame), relative)).max(axis=-1)
    close = share <= WINDOW_SHARE
    return offset.astype(np.float64), (close & inside).astype(np.float64), values.astype(np.float64)


def _bends(grid: Array, across: Array, down: Array) -> Array:
    """Curvature of the edges through each corner, along its row and its column, (n, 2), in 1/px.

    From second differences: their part square to the edge over the squared step.
    """
    bends = []
    for axis, step in ((1, across), (0, down)):
        second = np.diff(grid, n=2, axis=axis)
        ends = [(1, 1) if each == axis else (0, 0) for each in range(3)]
        second = np.pad(second, ends, mode="edge").reshape(-1, 2)
        length = np.maximum(np.linalg.norm(step, axis=-1), 1e-9)
        bends.append((step[:, 0] * second[:, 1] - step[:, 1] * second[:, 0]) / length**3)
    return np.stack(bends, axis=-1)


def _saddle(p: Array, offset: Array, bend: Array) -> tuple[Array, Array]:
    """Grey levels (n, m) of saddles `p` (n, 7) at `offset` (n, m, 2), and derivatives (n, m, 7)."""
    d = offset - p[:, None, :2]
    blur = p[:, None, 6]
    sides, slopes, turns, normals = [], [], [], []
    for edge in (0, 1):
        cosine, sine = np.cos(p[:, 2 + edge, None]), np.sin(p[:, 2 + edge, None])
        curve = bend[:, edge, None]
        along = cosine * d[..., 0] + sine * d[..., 1]
        beside = -sine * d[..., 0] + cosine * d[..., 1]
        q = beside - 0.5 * curve * along**2
        sides.append((q, erf(q / (np.sqrt(2) * blur))))
        slopes.append(SPREAD / blur * np.exp(-0.5 * (q / blur) ** 2))
        turns.append(-along - curve * along * beside)
        normals.append((sine + curve * along * cosine, -cosine + curve * along * sine))
    (q1, e1), (q2, e2) = sides
    g1, g2 = slopes
    c = p[:, None, 5]
    J = np.empty((*q1.shape, 7))
    for axis in (0, 1):
        J[..., axis] = c * (g1 * normals[0][axis] * e2 + e1 * g2 * normals[1][axis])
    J[..., 2], J[..., 3] = c * g1 * turns[0] * e2, c * e1 * g2 * turns[1]
    J[..., 4], J[..., 5] = 1.0, e1 * e2
    J[..., 6] = -c * (g1 * q1 * e2 + e1 * g2 * q2) / blur
    return p[:, None, 4] + c * e1 * e2, J


def _covariance(
    J: Array, weight: Array, cost: Array, moved: Array, across: Array, down: Array
) -> Array:
    """Covariance of centres from what each fit left over; NaN where the fit cannot be meant."""
    count = weight.sum(axis=1)
    normal = np.einsum("nka,nk,nkb->nab", J, weight, J)
    scale = np.sqrt(np.maximum(np.einsum("naa->na", normal), 1e-30))
    inverse = np.linalg.pinv(normal / scale[:, :, None] / scale[:, None, :], hermitian=True)
    inverse = inverse / scale[:, :, None] / scale[:, None, :]
    # At least a third of a grey level: rounding to whole levels alone leaves 0.29.
    noise = np.maximum(cost / np.maximum(count - 7, 1), 1 / 9)
    covariance = noise[:, None, None] * inverse[:, :2, :2] + LEAST_SIGMA_PX**2 * np.eye(2)
    spacing = np.minimum(np.linalg.norm(across, axis=-1), np.linalg.norm(down, axis=-1))
    far = np.linalg.norm(moved, axis=-1) > np.maximum(FURTHEST_SHARE * spacing, 1.0)
    lost = far | (count < FEWEST_PIXELS) | (np.einsum("naa->n", covariance) > spacing**2 / 50)
    covariance[lost] = np.nan
    return np.asarray(covariance)

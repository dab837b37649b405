"""Every corner of a grid measured by drawing a blurred saddle into the pixels around it.

The window keeps off the next corners' edges by the picture's own blur; a fixed window would take
them in where the slanted edge of a wide picture squeezes the squares to a few pixels. Where a
corner's levels are not a saddle's, the edge of a shadow across it is tried.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.calibration.board_corners.saddle import (
    BLUR,
    CENTRE,
    CONTRAST,
    LEVEL,
    PLAIN,
    SOFTNESS,
    TURNS,
    saddle,
    shadow_seeds,
)
from vision.calibration.board_corners.surface import (
    between,
    narrowing,
    spacing_of,
    steps,
    strays,
)
from vision.calibration.settings import SETTINGS as TUNED
from vision.marks.damping import Fitted, descend, rows_of, with_rows
from vision.marks.picture import Grey
from vision.units.arrays import Array, Flags


@dataclass(slots=True, kw_only=True, eq=False)
class Corners:
    """Measured corners, row by row: `pixels` (n, 2), `covariance` (n, 2, 2), NaN where lost.

    `contrast` (n,) signed half difference of levels; `blur` (n,) px; `noise2` (n,) mean square of
    what the drawing leaves, grey levels squared.
    """

    pixels: Array
    covariance: Array
    contrast: Array
    blur: Array
    noise2: Array


@dataclass(slots=True, kw_only=True, eq=False)
class _Windows:
    """Pixels round each corner: offsets (n, m, 2) from `at` (n, 2), weights and levels (n, m).

    `start` (n, 2) is where the grid puts the corner, `turns` (n, 2) its edges' directions, `bend`
    (n, 2) their curvature.
    """

    at: Array
    start: Array
    turns: Array
    offset: Array
    weight: Array
    values: Array
    bend: Array


def fit_corners(grey: Grey, grid: Array) -> Corners:
    """Fit a blurred saddle round each corner of `grid` (rows, columns, 2).

    Levenberg-Marquardt, all corners at once. A wide lens bends the edges; how much is known from
    the grid, and held fixed. The first round gives the blur and which corners stand out. A corner
    keeps the place that the picture gives it: none is put where others would have it, and how far
    it may move is counted from the grid.
    """
    first_shares = np.full((grid[..., 0].size, 2), TUNED.first_share)
    windows, start = _start(grey, grid, first_shares)
    first = _answer(windows, _fitted(windows, start), grid)
    sure = np.isfinite(first.covariance[:, 0, 0])
    better = _places(first, grid)
    blur = float(np.median(first.blur[sure])) if sure.any() else 1.0
    windows, start = _start(grey, better, _shares(better, blur))
    plain = _fitted(windows, start)
    corners = _answer(windows, plain, grid)
    suspect = np.flatnonzero(_suspect(corners))
    many = len(suspect) > TUNED.most_suspect * len(start)
    if not len(suspect) or many or _alternating(corners, grid) < TUNED.least_at_first:
        return _believed(corners, windows, grid)
    shaded = _shaded(rows_of(windows, suspect), plain.state[suspect], grid, suspect, blur)
    for _ in range(2):
        # Once more with the bends that the corners' own places give.
        merged = _merged(windows, plain, shaded, suspect, grid)
        places = _places(merged, between(_places(merged, grid)))
        windows = replace(windows, bend=_bends(places, *steps(places)))
        plain = _fitted(windows, plain.state)
        shaded = _fitted(rows_of(windows, suspect), shaded.state)
    return _believed(_merged(windows, plain, shaded, suspect, grid), windows, grid)


def _believed(corners: Corners, windows: _Windows, grid: Array) -> Corners:
    """The same without corners that neither drawing explains: a hand, a tear, glare.

    Nor those that lie off from wherever their neighbours, looked at in any way, would have them.
    """
    sure = np.isfinite(corners.covariance[:, 0, 0])
    if sure.any():
        usual = np.median(corners.noise2[sure]), np.median(np.abs(corners.contrast[sure]))
        strange = corners.noise2 > TUNED.most_misfit * usual[0]
        strange &= corners.noise2 > (TUNED.strange_share * corners.contrast) ** 2
        strange |= np.abs(corners.contrast) < TUNED.faint_share * usual[1]
        levels = windows.values[windows.weight > 0]
        strange |= np.abs(corners.contrast) > TUNED.most_contrast * 0.5 * np.ptp(levels)
        corners.covariance[strange] = np.nan
        # Those that leave much go first: one wrong corner puts the lines of sound ones astray.
        doubtful = corners.noise2 > TUNED.most_misfit * usual[0]
        for asked, times in ((doubtful, 0.5), (np.ones_like(doubtful), 1.0)):
            known = np.isfinite(corners.covariance[:, :1, 0])
            places = np.where(known, corners.pixels, np.nan).reshape(grid.shape)
            off = strays(places, spacing_of(grid), times).ravel()
            corners.covariance[off & asked] = np.nan
    return corners


def _alternating(corners: Corners, grid: Array) -> float:
    """Share of corners whose colours alternate as a checkerboard's do, the commoner way."""
    sure = np.isfinite(corners.covariance[:, 0, 0])
    row, column = np.indices(grid.shape[:2]).reshape(2, -1)
    signs = np.sign(corners.contrast) * (1 - 2 * ((row + column) % 2)) * sure
    return float(max((signs > 0).mean(), (signs < 0).mean()))


def _suspect(corners: Corners) -> Flags:
    """Corners that are lost or leave much more than the board's others."""
    sure = np.isfinite(corners.covariance[:, 0, 0])
    if not sure.any():
        return ~sure
    much = corners.noise2 > TUNED.suspect * np.median(corners.noise2[sure])
    return ~sure | (much & (corners.noise2 > (TUNED.suspect_share * corners.contrast) ** 2))


def _places(corners: Corners, grid: Array) -> Array:
    """Places (rows, columns, 2) of corners as measured, and as grown where that was in vain."""
    calm = ~_suspect(corners)[:, None]
    return np.where(calm, corners.pixels, grid.reshape(-1, 2)).reshape(grid.shape)


def _shaded(
    windows: _Windows, plain: Array, grid: Array, which: NDArray[np.intp], blur: float
) -> Fitted:
    """Corners, states (n, 11), with a shadow's edge across them.

    Sought from where each was grown, where the plain drawing put it, and midway between those
    beside it: the shadow may have dragged the first two.
    """
    costs, seeds = [], []
    for at in (grid.reshape(-1, 2)[which], windows.at + plain[:, CENTRE], _middles(grid)[which]):
        p = plain.copy()
        p[:, CENTRE], p[:, TURNS], p[:, BLUR] = at - windows.at, windows.turns, blur
        tried = shadow_seeds(p, windows.offset, windows.weight, windows.values, windows.bend)
        costs.append(tried[0])
        seeds.append(tried[1])
    cost, seed = np.concatenate(costs, axis=1), np.concatenate(seeds, axis=1)
    best = np.argsort(cost, axis=1)[:, : TUNED.shadow_seeds, None]
    chosen = np.take_along_axis(seed, best, axis=1)
    found, *others = (_fitted(windows, chosen[:, each]) for each in range(TUNED.shadow_seeds))
    for other in others:
        better = np.asarray(other.cost < found.cost)
        found = with_rows(found, better, rows_of(other, better))
    return found


def _middles(grid: Array) -> Array:
    return between(grid).reshape(-1, 2)


def _merged(
    windows: _Windows, plain: Fitted, shaded: Fitted, suspect: NDArray[np.intp], grid: Array
) -> Corners:
    """Corners drawn plainly, but with a shadow where it explains much more."""
    corners = _answer(windows, plain, grid)
    dark = _answer(rows_of(windows, suspect), shaded, None)
    moved = np.linalg.norm(dark.pixels - grid.reshape(-1, 2)[suspect], axis=-1)
    good = np.isfinite(dark.covariance[:, 0, 0])
    good &= moved < TUNED.furthest_share * spacing_of(grid).ravel()[suspect]
    was_sure = np.isfinite(corners.covariance[suspect, 0, 0])
    good &= ~was_sure | (dark.noise2 < TUNED.shadow_gain * corners.noise2[suspect])
    return with_rows(corners, suspect[good], rows_of(dark, good))


def _start(grey: Grey, grid: Array, shares: Array) -> tuple[_Windows, Array]:
    """Windows round a grid's corners and first values (n, 7)."""
    windows = _windows(grey, grid, shares)
    level = (windows.weight * windows.values).sum(axis=1)
    level /= np.maximum(windows.weight.sum(axis=1), 1e-9)
    p = np.zeros((len(windows.at), PLAIN))
    p[:, CENTRE], p[:, TURNS] = windows.start - windows.at, windows.turns
    p[:, LEVEL], p[:, BLUR] = level, 1.0
    pattern = saddle(p, windows.offset, windows.bend)[1][..., CONTRAST]
    lean = (windows.weight * pattern * (windows.values - level[:, None])).sum(axis=1)
    p[:, CONTRAST] = lean / np.maximum((windows.weight * pattern**2).sum(axis=1), 1e-9)
    return windows, p


def _fitted(windows: _Windows, start: Array) -> Fitted:
    """All corners fitted at once from `start` (n, k); who is done, or never bettered, drops out."""
    bounded = [BLUR] if start.shape[1] == PLAIN else [BLUR, SOFTNESS]

    def evaluated(p: Array, which: NDArray[np.intp]) -> Fitted:
        some = windows if len(which) == len(start) else rows_of(windows, which)
        model, J = saddle(p, some.offset, some.bend)
        rest = some.values - model
        weighted = J * some.weight[..., None]
        return Fitted(
            state=p,
            cost=(some.weight * rest**2).sum(axis=1),
            normal=weighted.transpose(0, 2, 1) @ J,
            right=(weighted.transpose(0, 2, 1) @ rest[..., None])[..., 0],
        )

    def moved(p: Array, step: Array) -> Array:
        p = p + step
        p[:, bounded] = np.clip(p[:, bounded], *TUNED.blurs_px)
        return p

    def rests(step: Array, damping: Array) -> Flags:
        still = np.linalg.norm(step[:, CENTRE], axis=-1) <= TUNED.done_px
        return np.asarray(still | (damping >= TUNED.most_damping))

    return descend(evaluated, moved, start, TUNED.steps * len(bounded), rests)


def _shares(grid: Array, blur_px: float) -> Array:
    """How far each window may reach along rows and columns, (n, 2), in steps of the grid."""
    across, down = steps(grid)
    area = np.abs(across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0])
    clear = TUNED.clear_of_blur * blur_px + 0.5
    # Square to the columns' edges lies area / |down|, to the rows' edges area / |across|.
    lengths = np.stack([np.linalg.norm(down, axis=-1), np.linalg.norm(across, axis=-1)], axis=-1)
    shares = np.clip(
        1 - clear * lengths / np.maximum(area, 1e-9)[:, None], 0.35, TUNED.widest_share
    )
    return np.asarray(shares * narrowing(grid))


def _windows(grey: Grey, grid: Array, shares: Array) -> _Windows:
    """Pixels within `shares` (n, 2) of the steps to the next corners, none further than WIDEST."""
    across, down = steps(grid)
    start = grid.reshape(-1, 2)
    at = np.round(start).astype(int)
    reach = np.abs(across) * shares[:, :1] + np.abs(down) * shares[:, 1:]
    wide, high = np.clip(np.ceil(reach.max(axis=0) + 1), 2, TUNED.widest_px).astype(int)
    sides = np.arange(-high, high + 1), np.arange(-wide, wide + 1)
    dy, dx = (each.ravel() for each in np.meshgrid(*sides, indexing="ij"))
    columns, rows = at[:, :1] + dx, at[:, 1:] + dy
    inside = (columns >= 0) & (columns < grey.shape[1]) & (rows >= 0) & (rows < grey.shape[0])
    values = grey[np.clip(rows, 0, grey.shape[0] - 1), np.clip(columns, 0, grey.shape[1] - 1)]
    offset = np.broadcast_to(np.stack([dx, dy], axis=-1), (len(start), dx.size, 2))
    relative = offset - (start - at)[:, None]
    frame = np.stack([across, down], axis=-1)
    flat = np.abs(np.linalg.det(frame)) < 1e-6
    frame = np.where(flat[:, None, None], np.eye(2), frame)
    share = np.einsum("nab,nmb->nma", np.linalg.inv(frame), relative)
    least, most = _bounds(grid, shares)
    close = ((share >= least[:, None]) & (share <= most[:, None])).all(axis=-1)
    weight = (close & inside).astype(np.float64)
    # Every window's own pixels first, so that what no window needs can be cut off.
    order = np.argsort(-weight, axis=1, kind="stable")[:, : int(weight.sum(axis=1).max())]
    weight, values = (np.take_along_axis(each, order, axis=1) for each in (weight, values))
    offset = np.take_along_axis(offset, order[..., None], axis=1)
    return _Windows(
        at=at.astype(np.float64),
        start=start,
        turns=np.stack([np.arctan2(each[:, 1], each[:, 0]) for each in (across, down)], axis=-1),
        offset=offset.astype(np.float64),
        weight=weight,
        values=values.astype(np.float64),
        bend=_bends(grid, across, down),
    )


def _bounds(grid: Array, shares: Array) -> tuple[Array, Array]:
    """Ends (n, 2) of windows along rows and columns: less far outwards from the outer corners.

    Many boards are cut or framed within their outer squares.
    """
    ends = []
    row, column = (each.ravel() for each in np.indices(grid.shape[:2]))
    for outer_column, outer_row in ((0, 0), (grid.shape[1] - 1, grid.shape[0] - 1)):
        outer = np.stack([column == outer_column, row == outer_row], axis=-1)
        ends.append(np.where(outer, np.minimum(shares, TUNED.outer_share), shares))
    return -ends[0], ends[1]


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


def _answer(windows: _Windows, found: Fitted, grid: Array | None) -> Corners:
    """Centres with covariances from what each fit left over; NaN where it cannot be meant.

    `grid` (rows, columns, 2) is where the corners were thought to be; None where that is no matter.
    """
    p, unknowns = found.state, found.state.shape[1]
    count = windows.weight.sum(axis=1)
    scale = np.sqrt(np.maximum(np.einsum("naa->na", found.normal), 1e-30))
    scale2 = scale[:, :, None] * scale[:, None, :]
    inverse = np.linalg.pinv(found.normal / scale2, hermitian=True) / scale2
    # At least a third of a grey level: rounding to whole levels alone leaves 0.29.
    noise2 = np.maximum(found.cost / np.maximum(count - unknowns, 1), 1 / 9)
    covariance = noise2[:, None, None] * inverse[:, :2, :2] + TUNED.least_sigma_px**2 * np.eye(2)
    pixels = windows.at + p[:, CENTRE]
    lost = count < max(TUNED.fewest_pixels, unknowns + 4)
    if grid is not None:
        spacing = spacing_of(grid).ravel()
        moved = np.linalg.norm(pixels - grid.reshape(-1, 2), axis=-1)
        lost |= moved > np.maximum(TUNED.furthest_share * spacing, 1.0)
        lost |= np.einsum("naa->n", covariance) > spacing**2 / 50
    covariance[lost] = np.nan
    return Corners(
        pixels=pixels,
        covariance=np.asarray(covariance),
        contrast=p[:, CONTRAST].copy(),
        blur=p[:, BLUR].copy(),
        noise2=noise2,
    )

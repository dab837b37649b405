"""Straight step edges fitted to a picture's own pixels, many at once: place, turn and blur.

A step edge under a Gaussian blur is a normal integral of the distance from the edge. Each edge
begins at a whole pixel with a known direction across it; distance, turn, blur and the levels on
both sides are fitted (damped Gauss-Newton, analytic derivatives). Nothing is resampled.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera.distributions import normal_integral
from vision.marks.damping import Fitted, descend, inverse_diagonal
from vision.marks.settings import SETTINGS, Window
from vision.units.arrays import Array

TUNED = SETTINGS.edges


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeFit:
    """Edges (n,): distance from where each began, turn, blur with its sigma, and the rest.

    `off_sigma_px` is the distance's standard deviation; `step` the level on the far side minus
    that on the near; `explained` the share of what a window holds, beside the noise, that the edge
    explains.
    """

    off_px: Array
    off_sigma_px: Array
    turn_rad: Array
    blur_px: Array
    blur_sigma_px: Array
    step: Array
    explained: Array


def fit_edges(
    grey: np.ndarray, pixels: np.ndarray, normal_rad: Array, window: Window, noise: float
) -> EdgeFit:
    """Fit an edge at each of `pixels` (n, 2), whole numbers, with directions across them (n,).

    `grey` (height, width); every window must lie within it. `noise` is the sigma of its levels.
    """
    return _fit(_windows(grey, pixels, normal_rad, window), window.blur_px, noise)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Windows:
    """Pixels round each edge, (n, k): their distance across and along it, and their levels."""

    across: Array
    along: Array
    levels: Array


def _windows(grey: np.ndarray, pixels: np.ndarray, normal: Array, window: Window) -> _Windows:
    """Cut the pixels round each edge.

    The whole pixels nearest to a grid that lies along the edge, each with its own exact place.
    """
    reaches = (window.across_px, window.along_px)
    grids = [np.arange(-reach, reach + 0.5, window.every) for reach in reaches]
    grid_across, grid_along = (each.ravel() for each in np.meshgrid(*grids))
    cos, sin = np.cos(normal)[:, None], np.sin(normal)[:, None]
    du = np.rint(cos * grid_across - sin * grid_along).astype(int)
    dv = np.rint(sin * grid_across + cos * grid_along).astype(int)
    return _Windows(
        across=cos * du + sin * dv,
        along=-sin * du + cos * dv,
        levels=grey[pixels[:, 1:] + dv, pixels[:, :1] + du].astype(np.float64),
    )


def edge_basis(across: Array, along: Array, state: Array) -> tuple[Array, Array]:
    """Share of the far side (n, k) at places (n, k) and its derivatives (n, 3, k) by the state.

    State (n, 3): distance of the edge in px, its turn in radians (small), its blur in px.
    """
    off, turn, blur = (state[:, i, None] for i in range(3))
    t = (across + turn * along - off) / blur
    density = np.exp(-0.5 * t * t) / np.sqrt(2 * np.pi) / blur
    return normal_integral(t), np.stack([-density, density * along, -density * t], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Edges(Fitted):
    """Edges with the states of `edge_basis` and the levels (n, 2) on both sides, solved for."""

    levels: Array


def _fit(windows: _Windows, start_px: float, noise: float) -> EdgeFit:
    """Damped Gauss-Newton steps for all edges at once, the two levels solved for exactly."""
    count, size = windows.levels.shape
    rows = np.empty((count, 6, size))
    rows[:, 5] = windows.levels

    def evaluated(state: Array, which: NDArray[np.intp]) -> _Edges:
        # All that a step takes are products of these rows: slopes, near side, far side, levels.
        share, slopes = edge_basis(windows.across, windows.along, state)
        rows[:, :3], rows[:, 3], rows[:, 4] = slopes, 1 - share, share
        sums = rows @ rows.transpose(0, 2, 1)
        sides, seen = sums[:, 3:5, 3:5], sums[:, 3:5, 5:]
        levels = np.linalg.solve(sides + 1e-6 * np.eye(2), seen)
        scale = np.ones((count, 5, 1))
        scale[:, :3] = (levels[:, 1] - levels[:, 0])[:, None]
        left = sums[:, 5, 5] + (levels * (sides @ levels - 2 * seen)).sum(axis=(1, 2))
        return _Edges(
            state=state,
            cost=np.maximum(left, 0.0),
            normal=scale * sums[:, :5, :5] * scale.transpose(0, 2, 1),
            right=(scale * (sums[:, :5, 5:] - sums[:, :5, 3:5] @ levels))[..., 0],
            levels=np.asarray(levels[..., 0], dtype=np.float64),
        )

    start = np.tile([0.0, 0.0, start_px], (len(windows.levels), 1))
    found = descend(evaluated, _moved, start, TUNED.steps, first=1e-2, less=0.3)
    off_variance, _, blur_variance = inverse_diagonal(found.normal).T[:3]
    noise2 = found.cost / (size - 5)
    spread = size * windows.levels.var(axis=1)
    left = np.maximum(found.cost - size * noise**2, 0)
    return EdgeFit(
        off_px=found.state[:, 0],
        off_sigma_px=np.sqrt(np.maximum(off_variance, 0) * noise2),
        turn_rad=found.state[:, 1],
        blur_px=found.state[:, 2],
        blur_sigma_px=np.sqrt(np.maximum(blur_variance, 0) * noise2),
        step=found.levels[:, 1] - found.levels[:, 0],
        explained=1 - left / np.maximum(spread, 1e-9),
    )


def _moved(state: Array, step: Array) -> Array:
    """A state after a step, which goes no further than the slopes at its start tell."""
    ones = np.ones(len(state))
    limit = np.stack([ones, 0.3 * ones, 0.5 * state[:, 2]], axis=1)
    state = state + np.clip(step[:, :3], -limit, limit * np.array([1.0, 1.0, 2.0]))
    state[:, 1] = np.clip(state[:, 1], -0.4, 0.4)
    state[:, 2] = np.clip(state[:, 2], *TUNED.blur_range_px)
    return state

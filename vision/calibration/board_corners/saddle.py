"""Grey levels round a board's corner, blurred, with or without the edge of a shadow across it."""

from __future__ import annotations

import numpy as np
from scipy.special import erf

from vision.calibration.settings import SETTINGS as TUNED
from vision.units.arrays import Array

SPREAD = float(np.sqrt(2 / np.pi))
ROOT2 = float(np.sqrt(2))
PLAIN, SHADED = 7, 11
"""Unknowns: centre (2), directions of both edges, level, contrast, blur; and with a shadow the
share of light it takes, the direction of its edge's normal, the edge's offset and softness."""

CENTRE, TURNS, LEVEL, CONTRAST, BLUR = slice(0, 2), slice(2, 4), 4, 5, 6
SHADE, ACROSS, OFFSET, SOFTNESS = 7, 8, 9, 10


def saddle(p: Array, offset: Array, bend: Array) -> tuple[Array, Array]:
    """Grey levels (n, m) of corners `p` at `offset` (n, m, 2), and derivatives (n, m, k).

    `p` is (n, 7) or, with shadows, (n, 11); `bend` (n, 2) the curvature of both edges, 1/px.
    I = (b + c erf(q1 / sqrt2 s) erf(q2 / sqrt2 s)) (1 - h (1 + erf(x / sqrt2 t)) / 2), with q the
    distances from the two edges and x that from the shadow's; h is 0 in a plain one.
    """
    lit, J = _corner(p, offset, bend)
    if p.shape[1] == PLAIN:
        return lit, J
    cosine, sine = np.cos(p[:, ACROSS, None]), np.sin(p[:, ACROSS, None])
    x = cosine * offset[..., 0] + sine * offset[..., 1] - p[:, OFFSET, None]
    soft, h = p[:, SOFTNESS, None], p[:, SHADE, None]
    beyond = 0.5 * (1 + erf(x / (ROOT2 * soft)))
    density = 0.5 * SPREAD / soft * np.exp(-0.5 * (x / soft) ** 2)
    light = 1 - h * beyond
    whole = np.empty((*lit.shape, SHADED))
    whole[..., :PLAIN] = J * light[..., None]
    whole[..., SHADE] = -lit * beyond
    turn = -sine * offset[..., 0] + cosine * offset[..., 1]
    whole[..., ACROSS] = -lit * h * density * turn
    whole[..., OFFSET] = lit * h * density
    whole[..., SOFTNESS] = lit * h * density * x / soft
    return lit * light, whole


def _corner(p: Array, offset: Array, bend: Array) -> tuple[Array, Array]:
    """The same without a shadow: levels (n, m) and derivatives (n, m, 7)."""
    d = offset - p[:, None, CENTRE]
    blur = p[:, None, BLUR]
    sides, slopes, turns, normals = [], [], [], []
    for edge in (0, 1):
        cosine, sine = np.cos(p[:, 2 + edge, None]), np.sin(p[:, 2 + edge, None])
        curve = bend[:, edge, None]
        along = cosine * d[..., 0] + sine * d[..., 1]
        beside = -sine * d[..., 0] + cosine * d[..., 1]
        q = beside - 0.5 * curve * along**2
        sides.append((q, erf(q / (ROOT2 * blur))))
        slopes.append(SPREAD / blur * np.exp(-0.5 * (q / blur) ** 2))
        turns.append(-along - curve * along * beside)
        normals.append((sine + curve * along * cosine, -cosine + curve * along * sine))
    (q1, e1), (q2, e2) = sides
    g1, g2 = slopes
    c = p[:, None, CONTRAST]
    J = np.empty((*q1.shape, PLAIN))
    for axis in (0, 1):
        J[..., axis] = c * (g1 * normals[0][axis] * e2 + e1 * g2 * normals[1][axis])
    J[..., 2], J[..., 3] = c * g1 * turns[0] * e2, c * e1 * g2 * turns[1]
    J[..., LEVEL], J[..., CONTRAST] = 1.0, e1 * e2
    J[..., BLUR] = -c * (g1 * q1 * e2 + e1 * g2 * q2) / blur
    return p[:, None, LEVEL] + c * e1 * e2, J


def shadow_seeds(
    p: Array, offset: Array, weight: Array, values: Array, bend: Array
) -> tuple[Array, Array]:
    """Costs (n, seeds) and starts (n, seeds, 11) where a shadow's edge explains the levels best.

    Tried at ANGLES directions and OFFSETS places each, with the corner where `p` (n, 7) has it and
    four free levels: dark and light, in the sun and in the shade.
    """
    pattern = _corner(p, offset, bend)[1][..., CONTRAST]
    reach = np.sqrt((weight * (offset**2).sum(axis=-1)).max(axis=1))
    blur = p[:, BLUR]
    tried, costs = [], []
    for angle in np.arange(TUNED.shadow_angles) * (2 * np.pi / TUNED.shadow_angles):
        across = offset @ np.array([np.cos(angle), np.sin(angle)])
        for share in np.linspace(-0.7, 0.7, TUNED.shadow_offsets):
            place = share * reach
            beyond = 0.5 * (1 + erf((across - place[:, None]) / (ROOT2 * blur[:, None])))
            ones = np.ones_like(pattern)
            A = np.stack([ones, pattern, beyond, beyond * pattern], axis=-1)
            W = A * weight[..., None]
            turned = W.transpose(0, 2, 1)
            normal = turned @ A + 1e-3 * np.eye(4)
            levels = np.linalg.solve(normal, turned @ values[..., None])[..., 0]
            rest = values - (A @ levels[..., None])[..., 0]
            costs.append((weight * rest**2).sum(axis=1))
            # Only a fall of light: a rise is the same edge seen from its other side.
            lost = -levels[:, 2] / np.maximum(levels[:, 0], 1.0)
            costs[-1] = np.where((lost > 0.05) & (lost < 0.97), costs[-1], np.inf)
            seed = np.zeros((len(p), SHADED))
            seed[:, :PLAIN] = p
            seed[:, LEVEL], seed[:, CONTRAST] = levels[:, 0], levels[:, 1]
            seed[:, SHADE], seed[:, ACROSS] = np.clip(lost, 0.05, 0.97), angle
            seed[:, OFFSET], seed[:, SOFTNESS] = place, blur
            tried.append(seed)
    cost, seeds = np.stack(costs, axis=1), np.stack(tried, axis=1)
    best = np.argsort(cost, axis=1)[:, : TUNED.shadow_seeds]
    chosen = np.take_along_axis(seeds, best[..., None], axis=1)
    return np.take_along_axis(cost, best, axis=1), chosen

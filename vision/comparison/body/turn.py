"""The turn of a camera against the body, from pieces of the body's edges and another picture.

Unknowns are a turn w, the rotation vector in camera coordinates that takes old rays to new ones,
and a shift s of the camera's place in its own coordinates, of which 5 mm are expected:

    x = exp([w]x) (ray - s / depth),    pixel = lens(x)

Each piece of edge gives one observation, how far along its normal it lies from where it should.
Weights redescend (Tukey); sigmas are the larger of what the normal matrix says and what leaving out
one strand at a time shows, since the pieces of a strand are spoilt together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.camera.geometry import cross_matrix
from vision.camera.lens import Lens
from vision.camera.rotations import rotation_from_vector, vector_from_rotation
from vision.camera.statistics import normal_limit
from vision.comparison.body.settings import SETTINGS
from vision.marks.strands.light import Gradient
from vision.marks.strands.match import Matched, match
from vision.marks.strands.pieces import Pieces, normals_of
from vision.units.arrays import Array, Flags

MAD = normal_limit(0.75)
"""Median of the absolute values of a standard normal."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """Pieces as rays: (n, m, 3) along each in old camera coordinates, and how far away each is.

    `profile` (n, k) is what a picture of the later one's size shows of them.
    """

    pieces: Pieces
    profile: Array
    rays: Array
    depth_m: Array
    depth_log_sigma: Array

    def only(self, which: Flags) -> Sight:
        """Those of the pieces."""
        return Sight(
            pieces=self.pieces.only(which),
            profile=self.profile[which],
            rays=self.rays[which],
            depth_m=self.depth_m[which],
            depth_log_sigma=self.depth_log_sigma[which],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """Where a fit ended: turn and shift (6,), their covariance, and which pieces agree.

    `near` are those that lie within a pixel, agreeing or not.
    """

    state: Array
    covariance: Array
    agrees: Flags
    near: Flags
    off_px: Array
    spread: float
    matched: Matched


def sight_of(
    pieces: Pieces, lens: Lens, depth_m: Array, depth_log_sigma: Array, scale: float = 1.0
) -> Sight:
    """The rays of pieces in the picture they were found in, for one `scale` times its size."""
    return Sight(
        pieces=pieces,
        profile=pieces.profile_at(scale),
        rays=lens.unproject(pieces.places()),
        depth_m=depth_m,
        depth_log_sigma=depth_log_sigma,
    )


def predicted(sight: Sight, lens: Lens, state: Array) -> tuple[Array, Array]:
    """Places (n, m, 2) of pieces after a turn and shift (6,), and their derivative (n, m, 2, 6).

    The turn's derivative is by the small rotation that follows the turn, exp([dw]x) exp([w]x).
    """
    R = rotation_from_vector(state[:3])
    near = sight.rays - (state[3:] / sight.depth_m[:, None])[:, None]
    rays = near @ R.T
    pixels, d_point, _ = lens.project_with_derivatives(rays)
    by_turn = -d_point @ cross_matrix(rays)
    by_shift = -d_point @ R / sight.depth_m[:, None, None, None]
    return pixels, np.concatenate([by_turn, by_shift], axis=-1)


def fit(sight: Sight, gradient: Gradient, lens: Lens, start: Array) -> Fitted | None:
    """Fit turn and shift from a start (6,) near them; None where next to nothing is found."""
    state, rows, solved = start, None, None
    for search in SETTINGS.searches_px:
        rows = observed(sight, gradient, lens, state, search)
        if rows is None:
            return None
        solved = _solved(sight, rows, state)
        if solved is None:
            return None
        turned = rotation_from_vector(solved.step[:3]) @ rotation_from_vector(state[:3])
        state = np.concatenate([vector_from_rotation(turned), state[3:] + solved.step[3:]])
    if rows is None or solved is None:
        return None
    return _ended(sight, rows, solved, state)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """Observations of pieces (n,): distance, sigma, slope (n, 6) by turn and shift."""

    off_px: Array
    sigma_px: Array
    by_state: Array
    use: Flags
    matched: Matched


def observed(
    sight: Sight, gradient: Gradient, lens: Lens, state: Array, search_px: float
) -> Rows | None:
    """What a picture shows of each piece near where a state puts it."""
    pixels, by_state = predicted(sight, lens, state)
    normals = normals_of(pixels)
    slopes = (normals[..., None, :] @ by_state)[..., 0, :].mean(axis=1)
    found = match(gradient, pixels, sight.profile, search_px)
    use = found.found & np.isfinite(slopes).all(axis=1)
    if use.sum() < SETTINGS.least_strands:
        return None
    return Rows(
        off_px=found.off_px, sigma_px=found.sigma_px, by_state=slopes, use=use, matched=found
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Solved:
    step: Array
    weights: Array
    spread: float
    normal: Array


PRIOR = np.diag(np.r_[np.zeros(3), np.full(3, SETTINGS.shift_m**-2)])


def _solved(sight: Sight, rows: Rows, state: Array) -> _Solved | None:
    """The step of a robust fit: weights from the residuals, which follow from the weights."""
    J, d, sigma = (each[rows.use] for each in (rows.by_state, rows.off_px, rows.sigma_px))
    weights = np.ones(len(d))
    step, spread = np.zeros(6), 1.0
    normal = np.eye(6)
    for least in SETTINGS.least_spreads:
        root = np.sqrt(weights) / sigma
        A, b = J * root[:, None], d * root
        normal = A.T @ A / spread**2 + PRIOR
        if np.linalg.det(normal[:3, :3]) <= 0:
            return None
        step = np.linalg.solve(normal, A.T @ b / spread**2 - PRIOR @ state)
        left = (d - J @ step) / sigma
        spread = max(float(np.median(np.abs(left)) / MAD), least)
        x = left / (SETTINGS.redescends * spread)
        weights = np.where(np.abs(x) < 1, (1 - x**2) ** 2, 0.0)
    full = np.zeros(len(rows.use))
    full[rows.use] = weights
    return _Solved(step=step, weights=full, spread=spread, normal=normal)


def _ended(sight: Sight, rows: Rows, solved: _Solved, state: Array) -> Fitted:
    left = rows.off_px - rows.by_state @ solved.step
    off = np.abs(np.where(rows.use, np.nan_to_num(left), np.inf))
    hessian = np.linalg.inv(solved.normal)
    knifed = _jackknife(sight, rows, solved)
    sigma = np.sqrt(np.maximum(np.diag(hessian), np.diag(knifed)))
    own = np.sqrt(np.diag(hessian))
    covariance = hessian * np.outer(sigma / own, sigma / own)
    return Fitted(
        state=state,
        covariance=covariance + _by_depths(sight, rows, solved, state, covariance),
        agrees=off < SETTINGS.agrees_px,
        near=off < SETTINGS.near_px,
        off_px=left,
        spread=solved.spread,
        matched=rows.matched,
    )


def _by_depths(sight: Sight, rows: Rows, solved: _Solved, state: Array, covariance: Array) -> Array:
    """What unsure depths add to the covariance once the lens was shifted.

    What a shift does to an edge is known to the share that its depth is known to. Depths are wrong
    strand by strand, and half as much with a slope over the picture, since the body is no box; a
    scale common to all is the shift's own. Of a shift only that part counts which is more than its
    own noise.
    """
    use = solved.weights > 0
    w = solved.weights[use] / (rows.sigma_px[use] * solved.spread) ** 2
    gain = np.linalg.solve(solved.normal, (rows.by_state[use] * w[:, None]).T)
    seen = float(state[3:] @ np.linalg.solve(covariance[3:, 3:], state[3:]))
    real = np.sqrt(max(0.0, 1 - 3 / max(seen, 1e-9)))
    moved = rows.by_state[use, 3:] @ (real * state[3:])
    share = sight.depth_log_sigma[use] * moved
    pieces = sight.pieces
    _, strand = np.unique(pieces.strand[use], return_inverse=True)
    ways = [np.where(strand == number, share, 0.0) for number in range(strand.max() + 1)]
    for axis in range(2):
        at = pieces.middle_px[use, axis]
        ways.append(0.5 * share * (at - at.mean()) / max(float(at.std()), 1e-9))
    owed = gain @ np.array(ways).T
    return np.asarray(owed @ owed.T)


def _jackknife(sight: Sight, rows: Rows, solved: _Solved) -> Array:
    """Covariance from leaving out each strand in turn, the weights held."""
    use = solved.weights > 0
    w = solved.weights[use] / (rows.sigma_px[use] * solved.spread) ** 2
    J, d, strand = rows.by_state[use], rows.off_px[use], sight.pieces.strand[use]
    names = np.unique(strand)
    steps = []
    for name in names:
        own = strand == name
        less = solved.normal - J[own].T @ (w[own, None] * J[own])
        right = J[~own].T @ (w[~own] * d[~own])
        steps.append(np.linalg.lstsq(less, right, rcond=None)[0])
    off = np.array(steps) - np.mean(steps, axis=0)
    return np.asarray((len(names) - 1) / len(names) * off.T @ off)


def likelihood(sight: Sight, found: Fitted) -> float:
    """The logarithm of how likely a fit's residuals are, a strand counting as one observation.

    An edge lies where it should, to the sigma of its place, or anywhere in the reach of the search.
    """
    _, strand = np.unique(sight.pieces.strand, return_inverse=True)
    sigma, out = SETTINGS.place_px, SETTINGS.outlying
    off = np.where(found.near, np.nan_to_num(found.off_px), np.inf)
    within = np.exp(-0.5 * np.square(off / sigma)) / (sigma * np.sqrt(2 * np.pi))
    logs = np.log((1 - out) * within + out / (2 * SETTINGS.near_px))
    length = sight.pieces.length_px
    share = length / np.bincount(strand, weights=length)[strand]
    return float(logs @ share)

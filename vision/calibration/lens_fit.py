"""Fit a lens to pictures of a board, with no guess to begin with.

One least-squares network: eight lens parameters and six for each view's pose. The curve has a weak
prior, as in `vision.camera.lens_prior`, that keeps it rising where no corner says how it goes on;
it says nothing of the focal length. What the corners' own covariance does not explain (a board
that is not quite flat, a lens of slightly another kind) is carried as one more variance per
corner, estimated from the residuals, so that the stated sigmas answer for it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from vision.calibration.board import BoardView
from vision.calibration.lens_start import poses_for, starts
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import stepped
from vision.camera.solver import NoFit, Solution, solve
from vision.camera.statistics import chi_square_limit
from vision.units.arrays import Array, Flags, frozen_array
from vision.units.reason import Reason

FEWEST_CORNERS = 8
STARTS_TRIED = 3
START_TOLERANCE = 1e-5
FIT_TOLERANCE = 1e-10
ROBUST_ROUNDS = 4
CAUCHY_WIDTH = 2.0
CHI2_REJECT = chi_square_limit(0.999, 2)
"""A corner beyond this, of its two coordinates, is left out."""

TERM_SIGMA = (0.30, 0.16, 0.06, 0.03)
"""Of each polynomial term's share at the picture's edge: twice what `vision.camera.lens_prior`
allows, since here no field of view was stated; a pinhole's curve at 40 degrees is well inside."""

SLOPE_SIGMA = 0.35
SLOPE_SHARES = (0.75, 1.0)
"""The curve's rise against an equidistant one, at these shares of the edge: at three sigma it still
rises, so the lens does not turn over in the picture."""

ASPECT_SIGMA = 0.01
CENTRE_SIGMA_SHARE = 0.04
"""Of the picture's width: modules with a centre 3 % off are on sale."""

FOCAL_LOG_SIGMA = 0.7
"""Of the focal length's logarithm about the start: a factor of two, only so that boards which leave
it open lead to a wide answer and not to none."""

LARGEST_EXTRA_PX = 20.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CurvePrior:
    """What is believed of any lens before its boards are seen, whitened; see the constants."""

    width: int
    height: int
    edge_rad: float

    def residuals(self, lens: Lens) -> tuple[Array, Array]:
        """Whitened residuals (10,) and their derivative by the lens parameters (10, 8)."""
        powers = self.edge_rad ** np.array([2, 4, 6, 8])
        rows = np.zeros((10, 8))
        rows[[0, 1, 2, 3], [4, 5, 6, 7]] = powers / np.array(TERM_SIGMA)
        for row, share in zip((4, 5), SLOPE_SHARES, strict=True):
            degree = np.array([2, 4, 6, 8])
            rows[row, 4:] = (degree + 1) * (share * self.edge_rad) ** degree / SLOPE_SIGMA
        residuals = rows @ np.array([0.0, 0.0, 0.0, 0.0, *lens.k])
        residuals[6] = np.log(lens.fx / lens.fy) / ASPECT_SIGMA
        rows[6, :2] = 1 / lens.fx / ASPECT_SIGMA, -1 / lens.fy / ASPECT_SIGMA
        sigma = CENTRE_SIGMA_SHARE * self.width
        residuals[7] = (lens.cx - 0.5 * (self.width - 1)) / sigma
        residuals[8] = (lens.cy - 0.5 * (self.height - 1)) / sigma
        rows[7, 2] = rows[8, 3] = 1 / sigma
        usual = 0.5 * max(self.width, self.height) / self.edge_rad
        residuals[9] = np.log(np.sqrt(lens.fx * lens.fy) / usual) / FOCAL_LOG_SIGMA
        rows[9, :2] = 0.5 / lens.fx / FOCAL_LOG_SIGMA, 0.5 / lens.fy / FOCAL_LOG_SIGMA
        return residuals, rows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LensFit:
    """A lens with its covariance, from boards.

    `covariance` (8, 8) in the order of `vision.camera.lens.PARAMETERS`; `poses`
    (`camera_from_board`), and `used` flags (n,), `residual_px` (n, 2) measured minus predicted,
    one per view of `views`. `extra_sigma_px` is what had to be added to every corner's own sigma,
    `variance_factor` chi-square over degrees of freedom after that. `rms_px` is of the used
    corners' lengths.
    """

    lens: Lens
    covariance: Array
    prior: CurvePrior
    views: tuple[BoardView, ...]
    poses: tuple[Pose, ...]
    used: tuple[Flags, ...]
    residual_px: tuple[Array, ...]
    extra_sigma_px: float
    variance_factor: float
    rms_px: float

    @property
    def sigma(self) -> Array:
        """One standard deviation of each parameter, (8,)."""
        return np.sqrt(np.diag(self.covariance))


State = tuple[Lens, tuple[Pose, ...]]


def fit_lens(views: Sequence[BoardView], width: int, height: int) -> LensFit | NoFit:
    """Fit a lens for pictures of `width` x `height` to one or more views, from no guess.

    NoFit codes: 'too-few-boards' and those of `vision.camera.solver.solve`.
    """
    usable = tuple(view for view in views if len(view) >= FEWEST_CORNERS)
    if not usable:
        return NoFit(reason=Reason("too-few-boards", needed=FEWEST_CORNERS))
    best: tuple[float, Solution[State]] | None = None
    last = NoFit(reason=Reason("not-converged"))
    for start in starts(usable, width, height)[:STARTS_TRIED]:
        edge = 0.5 * max(width, height) / start.lens.fx
        network = _Network(usable, CurvePrior(width=width, height=height, edge_rad=edge))
        state: State = (start.lens, start.poses)
        found = network.robust(state, 1, START_TOLERANCE)
        if isinstance(found, NoFit):
            last = found
            continue
        length2 = network.length2(found.state, 0.0)
        typical = float(np.median(np.where(np.isfinite(length2), length2, np.inf)))
        if best is None or typical < best[0]:
            best = (typical, found)
    if best is None:
        return last
    # The start's focal length is one of a few tried; the prior belongs to the lens now found.
    prior = CurvePrior(width=width, height=height, edge_rad=_edge(best[1].state[0]))
    return refit(usable, prior, best[1].state)


def _edge(lens: Lens) -> float:
    """Angle at the farther edges by the lens itself, or as an equidistant one if it ends before."""
    radius = 0.5 * max(lens.width, lens.height) / lens.fx
    theta = float(lens.theta(np.asarray(radius)))
    return theta if np.isfinite(theta) else radius


def refit(views: Sequence[BoardView], prior: CurvePrior, start: State) -> LensFit | NoFit:
    """Fit from a start that is near: robust rounds, then plain least squares on what passes."""
    network = _Network(tuple(views), prior)
    lens, poses = start
    other, rms = poses_for(lens, views)
    now = network.view_rms(start)
    poses = tuple(b if r < n else a for a, b, r, n in zip(poses, other, rms, now, strict=True))
    found = network.robust((lens, poses), ROBUST_ROUNDS, START_TOLERANCE)
    if isinstance(found, NoFit):
        return found
    state = found.state
    for _ in range(3):
        extra = network.extra_sigma(state)
        length2 = network.length2(state, extra)
        passing = np.isfinite(length2) & (np.nan_to_num(length2, nan=np.inf) <= CHI2_REJECT)
        found = network.solve(state, extra, passing.astype(np.float64), FIT_TOLERANCE)
        if isinstance(found, NoFit):
            return found
        state = found.state
    return _as_fit(network, found, extra, passing)


class _Network:
    """All corners of all views in rows; the unknowns are the lens, then six a view."""

    def __init__(self, views: tuple[BoardView, ...], prior: CurvePrior) -> None:
        self.views, self.prior = views, prior
        self.view = np.repeat(np.arange(len(views)), [len(view) for view in views])
        self.board = np.concatenate([view.board_m for view in views])
        self.pixels = np.concatenate([view.pixels_px for view in views])
        self.covariance = np.concatenate([view.covariance_px2 for view in views])
        self.unknowns = 8 + 6 * len(views)

    def predicted(self, state: State) -> Array:
        lens, poses = state
        parts = [pose.transform(view.board_m) for pose, view in zip(poses, self.views, strict=True)]
        return lens.project(np.concatenate(parts))

    def length2(self, state: State, extra_px: float) -> Array:
        """Squared whitened lengths (m,), NaN where the lens cannot see."""
        residual = self.pixels - self.predicted(state)
        root = self._root(extra_px)
        return np.asarray(np.square(np.einsum("nij,nj->ni", root, residual)).sum(axis=-1))

    def view_rms(self, state: State) -> Array:
        """RMS of each view in px, infinite where the lens cannot see all of it."""
        square = np.square(self.pixels - self.predicted(state)).sum(axis=-1)
        square = np.where(np.isfinite(square), square, np.inf)
        return np.array([np.sqrt(square[self.view == v].mean()) for v in range(len(self.views))])

    def extra_sigma(self, state: State) -> float:
        """Sigma to be added to each corner so that the typical residual is what is stated, px."""
        freedom = max(0.1, 1 - self.unknowns / (2 * len(self.view)))
        target = chi_square_limit(0.5, 2) * freedom

        def typical(extra: float) -> float:
            length2 = self.length2(state, extra)
            return float(np.median(length2[np.isfinite(length2)]))

        if typical(0.0) <= target:
            return 0.0
        low, high = 0.0, LARGEST_EXTRA_PX
        for _ in range(40):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if typical(middle) > target else (low, middle)
        return high

    def robust(self, state: State, rounds: int, tolerance: float) -> Solution[State] | NoFit:
        """Rounds of least squares with Cauchy weights on each corner's whitened length."""
        found: Solution[State] | NoFit = NoFit(reason=Reason("not-converged"))
        for _ in range(rounds):
            extra = self.extra_sigma(state)
            length2 = self.length2(state, extra)
            seen = np.isfinite(length2)
            weight = np.where(seen, 1 / (1 + np.nan_to_num(length2) / CAUCHY_WIDTH**2), 0.0)
            found = self.solve(state, extra, weight, tolerance)
            if isinstance(found, NoFit):
                return found
            state = found.state
        return found

    def solve(
        self, state: State, extra_px: float, weight: Array, tolerance: float
    ) -> Solution[State] | NoFit:
        """Least squares over the corners whose weight is above 0."""
        active = weight > 0
        if min(np.bincount(self.view[active], minlength=len(self.views))) < 3:
            return NoFit(reason=Reason("too-few-boards", needed=3))
        rows = self._rows(extra_px, weight)
        return solve(rows, _retract, state, tolerance=tolerance, max_iterations=100)

    def _root(self, extra_px: float) -> Array:
        total = self.covariance + extra_px**2 * np.eye(2)
        return np.linalg.inv(np.linalg.cholesky(total))

    def _rows(self, extra_px: float, weight: Array) -> Callable[[State], tuple[Array, Array]]:
        active = weight > 0
        root = self._root(extra_px)[active] * np.sqrt(weight[active])[:, None, None]
        board, pixels, view = self.board[active], self.pixels[active], self.view[active]
        spans = [np.flatnonzero(view == v) for v in range(len(self.views))]

        def evaluate(state: State) -> tuple[Array, Array]:
            lens, poses = state
            points, d_poses = np.empty((len(view), 3)), np.empty((len(view), 3, 6))
            for pose, span in zip(poses, spans, strict=True):
                points[span] = pose.transform(board[span])
                d_poses[span] = pose.d_point_d_pose(board[span])
            seen, d_point, d_lens = lens.project_with_derivatives(points)
            d_pose = root @ d_point @ d_poses
            known, d_known = self.prior.residuals(lens)
            J = np.zeros((2 * len(view) + len(known), self.unknowns))
            J[: 2 * len(view), :8] = (root @ d_lens).reshape(-1, 8)
            for v, span in enumerate(spans):
                both = slice(2 * span[0], 2 * span[-1] + 2)
                J[both, 8 + 6 * v : 14 + 6 * v] = d_pose[span].reshape(-1, 6)
            J[2 * len(view) :, :8] = d_known
            marks = np.einsum("nij,nj->ni", root, seen - pixels).ravel()
            return np.concatenate([marks, known]), J

        return evaluate


def _retract(state: State, step: Array) -> State:
    lens, poses = state
    moved = tuple(pose.perturbed(step[8 + 6 * v : 14 + 6 * v]) for v, pose in enumerate(poses))
    return stepped(lens, step[:8]), moved


def _as_fit(network: _Network, found: Solution[State], extra: float, passing: Flags) -> LensFit:
    residual = network.pixels - network.predicted(found.state)
    freedom = max(1, len(found.residuals) - network.unknowns)
    factor = found.chi2 / freedom
    cut = np.cumsum([len(view) for view in network.views])[:-1]
    used, residuals = np.split(passing, cut), np.split(residual, cut)
    for array in (*used, *residuals):
        array.setflags(write=False)
    covariance = found.covariance[:8, :8] * max(1.0, factor)
    return LensFit(
        lens=found.state[0],
        covariance=frozen_array((covariance + covariance.T) / 2, (8, 8), "covariance"),
        prior=network.prior,
        views=network.views,
        poses=found.state[1],
        used=tuple(used),
        residual_px=tuple(residuals),
        extra_sigma_px=extra,
        variance_factor=factor,
        rms_px=_rms(residual[passing]),
    )


def _rms(residual: Array) -> float:
    return float(np.sqrt(np.square(residual).sum(axis=-1).mean())) if len(residual) else np.nan

"""Fit a lens to pictures of a board, with no guess to begin with.

One least-squares network: eight lens parameters and six for each view's pose. The curve has a weak
prior, as in `vision.camera.lens_prior`, that keeps it rising where no corner says how it goes on;
it says nothing of the focal length. What the corners' own covariance does not explain (a board
that is not quite flat, a lens of slightly another kind) is carried as one more variance per
corner, estimated from the residuals, so that the stated sigmas answer for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.adjustment.elimination import Reduced
from vision.adjustment.groups import Group
from vision.adjustment.network import Network, network_of, points_of
from vision.adjustment.solving import Solved, settled, solved, weighted, weights_of
from vision.adjustment.state import Columns, Seen, State, View, Weights, whiteners
from vision.adjustment.statements import OfLens
from vision.calibration.board import BoardView
from vision.calibration.lens_start import poses_for, starts
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.solver import FIRST_DAMPING, NoFit, Settled
from vision.camera.statistics import chi_square_limit
from vision.units.arrays import Array, Flags, frozen_array
from vision.units.reason import Reason

FEWEST_CORNERS, FEWEST_IN_VIEW = 8, 3
STARTS_TRIED = 3
START_TOLERANCE = 1e-5
FIT_TOLERANCE = 1e-10
ROBUST_ROUNDS, REFITS = 4, 3
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

    def rows(self, vector: Array) -> tuple[Array, Array]:
        """Whitened residuals (10,) of a lens (8,) and their derivative (10, 8)."""
        fx, fy, cx, cy, *k = vector
        powers = self.edge_rad ** np.array([2, 4, 6, 8])
        rows = np.zeros((10, 8))
        rows[[0, 1, 2, 3], [4, 5, 6, 7]] = powers / np.array(TERM_SIGMA)
        for row, share in zip((4, 5), SLOPE_SHARES, strict=True):
            degree = np.array([2, 4, 6, 8])
            rows[row, 4:] = (degree + 1) * (share * self.edge_rad) ** degree / SLOPE_SIGMA
        residuals = rows @ np.array([0.0, 0.0, 0.0, 0.0, *k])
        residuals[6] = np.log(fx / fy) / ASPECT_SIGMA
        rows[6, :2] = 1 / fx / ASPECT_SIGMA, -1 / fy / ASPECT_SIGMA
        sigma = CENTRE_SIGMA_SHARE * self.width
        residuals[7] = (cx - 0.5 * (self.width - 1)) / sigma
        residuals[8] = (cy - 0.5 * (self.height - 1)) / sigma
        rows[7, 2] = rows[8, 3] = 1 / sigma
        usual = 0.5 * max(self.width, self.height) / self.edge_rad
        residuals[9] = np.log(np.sqrt(fx * fy) / usual) / FOCAL_LOG_SIGMA
        rows[9, :2] = 0.5 / fx / FOCAL_LOG_SIGMA, 0.5 / fy / FOCAL_LOG_SIGMA
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


Guess = tuple[Lens, tuple[Pose, ...]]


def fit_lens(views: Sequence[BoardView], width: int, height: int) -> LensFit | NoFit:
    """Fit a lens for pictures of `width` x `height` to one or more views, from no guess.

    NoFit codes: 'too-few-boards' and those of `vision.camera.solver.settle`.
    """
    usable = tuple(view for view in views if len(view) >= FEWEST_CORNERS)
    if not usable:
        return NoFit(reason=Reason("too-few-boards", needed=FEWEST_CORNERS))
    best: tuple[float, Guess] | None = None
    last = NoFit(reason=Reason("not-converged"))
    for start in starts(usable, width, height)[:STARTS_TRIED]:
        edge = 0.5 * max(width, height) / start.lens.fx
        prior = CurvePrior(width=width, height=height, edge_rad=edge)
        network = _board_network(usable, prior, (start.lens, start.poses))
        found = _robust(network, network.seen(network.start), 1)
        if isinstance(found, NoFit):
            last = found
            continue
        typical = float(np.median(_whitened(network, found, 0.0)[1]))
        if best is None or typical < best[0]:
            best = typical, _guess(network, found.state)
    if best is None:
        return last
    # The start's focal length is one of a few tried; the prior belongs to the lens now found.
    edge = _edge(best[1][0])
    return refit(usable, CurvePrior(width=width, height=height, edge_rad=edge), best[1])


def _edge(lens: Lens) -> float:
    """Angle at the farther edges by the lens itself, or as an equidistant one if it ends before."""
    radius = 0.5 * max(lens.width, lens.height) / lens.fx
    theta = float(lens.theta(np.asarray(radius)))
    return theta if np.isfinite(theta) else radius


def refit(views: Sequence[BoardView], prior: CurvePrior, start: Guess) -> LensFit | NoFit:
    """Fit from a start that is near: robust rounds, then plain least squares on what passes."""
    lens, poses = start
    other, rms = poses_for(lens, views)
    network = _board_network(views, prior, start)
    now = _view_rms(network, network.seen(network.start))
    poses = tuple(b if r < n else a for a, b, r, n in zip(poses, other, rms, now, strict=True))
    network = _board_network(views, prior, (lens, poses))
    seen = _robust(network, network.seen(network.start), ROBUST_ROUNDS)
    if isinstance(seen, NoFit):
        return seen
    for _ in range(REFITS):
        extra = _extra_sigma(network, seen)
        full, length2 = _whitened(network, seen, extra)
        passing = np.asarray(length2 <= CHI2_REJECT)
        weights = weights_of(full, passing)
        found = _settled(network, weights, seen, FIT_TOLERANCE)
        if isinstance(found, NoFit):
            return found
        fit, seen = found, found.state
    solution = solved(network, weights, fit)
    if isinstance(solution, NoFit):
        return solution
    return _as_fit(network, tuple(views), prior, solution, extra, passing)


def _board_network(views: Sequence[BoardView], prior: CurvePrior, start: Guess) -> Network:
    """One lens and a pose for each view; the corners lie on the board where they are printed."""
    lens, poses = start
    columns = Columns.apart(poses=len(views), lenses=1)
    ends = np.cumsum([0, *(len(view) for view in views)])
    pictures = tuple(
        View(name=view.name, pose=v, lens=0, rows=slice(ends[v], ends[v + 1]), like=lens)
        for v, view in enumerate(views)
    )
    points = points_of(
        pictures,
        (),
        np.concatenate([view.board_m for view in views]),
        np.concatenate([view.pixels_px for view in views]),
        np.concatenate([view.covariance_px2 for view in views]),
    )
    of_lens = OfLens(group=Group("lens", ""), columns=columns.lens[0], prior=prior)
    start_state = columns.state(list(poses), [lens.as_vector()], 0)
    return network_of(columns, pictures, points, (of_lens,), start_state)


def _guess(network: Network, state: State) -> Guess:
    lens = network.views[0].like.with_vector(state.lens[0])
    return lens, tuple(state.pose(view.pose) for view in network.views)


def _whitened(network: Network, seen: Seen, extra_px: float) -> tuple[Array, Array]:
    """Whiteners (m, 2, 2), and squared whitened lengths (m,), infinite where nothing is seen."""
    full = whiteners(network.points.covariance_px2 + extra_px**2 * np.eye(2))
    length2 = np.square(full @ seen.off_px[..., None]).sum(axis=(1, 2))
    return full, np.where(np.isfinite(length2), length2, np.inf)


def _view_rms(network: Network, seen: Seen) -> Array:
    """RMS of each view in px, infinite where the lens cannot see all of it."""
    square = np.square(seen.off_px).sum(axis=-1)
    square = np.where(np.isfinite(square), square, np.inf)
    return np.sqrt([square[view.rows].mean() for view in network.views])


def _extra_sigma(network: Network, seen: Seen) -> float:
    """Sigma to be added to each corner so that the typical residual is what is stated, px."""
    freedom = max(0.1, 1 - network.size / (2 * len(seen.off_px)))
    target = chi_square_limit(0.5, 2) * freedom
    known = np.isfinite(seen.off_px).all(axis=1)
    # In the axes of each corner's own ellipse the extra variance only adds to both.
    values, vectors = np.linalg.eigh(network.points.covariance_px2[known])
    square = np.square((vectors.transpose(0, 2, 1) @ seen.off_px[known][..., None])[..., 0])

    def typical(extra_px: float) -> float:
        return float(np.median(np.sum(square / (values + extra_px**2), axis=1)))

    if typical(0.0) <= target:
        return 0.0
    low, high = 0.0, LARGEST_EXTRA_PX
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if typical(middle) > target else (low, middle)
    return high


def _robust(network: Network, seen: Seen, rounds: int) -> Seen | NoFit:
    """Rounds of least squares with Cauchy weights on each corner's whitened length."""
    for _ in range(rounds):
        full, length2 = _whitened(network, seen, _extra_sigma(network, seen))
        weights = weighted(full, 1 / (1 + length2 / CAUCHY_WIDTH**2))
        found = _settled(network, weights, seen, START_TOLERANCE)
        if isinstance(found, NoFit):
            return found
        seen = found.state
    return seen


def _settled(
    network: Network, weights: Weights, seen: Seen, tolerance: float
) -> Settled[Seen, Reduced] | NoFit:
    """Least squares over the corners that weigh something."""
    active = np.asarray(weights.whiteners.any(axis=(1, 2)))
    if min(int(active[view.rows].sum()) for view in network.views) < FEWEST_IN_VIEW:
        return NoFit(reason=Reason("too-few-boards", needed=FEWEST_IN_VIEW))
    return settled(
        network, weights, seen, tolerance=tolerance, max_iterations=100, damping=FIRST_DAMPING
    )


def _as_fit(
    network: Network,
    views: tuple[BoardView, ...],
    prior: CurvePrior,
    found: Solved,
    extra: float,
    passing: Flags,
) -> LensFit:
    lens, poses = _guess(network, found.state)
    residual = -found.seen.off_px
    factor = found.chi2 / max(1, found.degrees_of_freedom)
    cut = [view.rows.stop for view in network.views[:-1]]
    used, residuals = np.split(passing, cut), np.split(residual, cut)
    for array in (*used, *residuals):
        array.setflags(write=False)
    columns = network.columns.lens[0]
    covariance = found.covariance.kept[np.ix_(columns, columns)] * max(1.0, factor)
    return LensFit(
        lens=lens,
        covariance=frozen_array((covariance + covariance.T) / 2, (8, 8), "covariance"),
        prior=prior,
        views=views,
        poses=poses,
        used=tuple(used),
        residual_px=tuple(residuals),
        extra_sigma_px=extra,
        variance_factor=factor,
        rms_px=float(np.sqrt(np.square(residual[passing]).sum(axis=-1).mean())),
    )

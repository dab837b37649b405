"""One camera fitted alone to the layout as planned: our stand-in for what a display unit does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import PARAMETERS, Lens
from vision.camera.lens_prior import LensPrior, stepped
from vision.camera.solver import NoFit, Solution, solve
from vision.camera.statistics import chi_square_limit, median_variance_factor
from vision.job.job import Camera
from vision.units.arrays import Array, Flags, frozen_array
from vision.units.reason import Reason

Guess = tuple[Pose, Lens]

UNKNOWNS = 6 + len(PARAMETERS)
"""Of one camera, everywhere: the six steps of `Pose.perturbed`, then the lens's parameters."""

FEWEST_MARKS = 4
PLACE_SIGMA_M = 0.1
"""Sigma of a camera's stated place, per coordinate, unless the caller knows better."""
ROBUST_ROUNDS = 4
ROBUST_TOLERANCE = 1e-4
"""A round of weights need not be solved to the last digit: the next one changes the weights."""

REFITS = 4
REFIT_TOLERANCE = 1e-9

CAUCHY_WIDTH = 2.0
"""Whitened length, in robust standard deviations, at which a mark weighs half."""

CHI2_REJECT = chi_square_limit(0.999, 2)
"""A mark beyond this, of its two coordinates, is left out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Points:
    """Identified marks of one camera: planned centres and measured pixels, row by row.

    `ids` (n), `planned_m` (n, 3) ground, `mark_sigma_m` (n,) sigma of the planned place per
    coordinate, `pixels_px` (n, 2) in the picture turned back, `covariance_px2` (n, 2, 2).
    """

    ids: tuple[str, ...]
    planned_m: Array
    mark_sigma_m: Array
    pixels_px: Array
    covariance_px2: Array

    def __post_init__(self) -> None:
        n = len(self.ids)
        shapes: tuple[tuple[str, tuple[int, ...]], ...] = (
            ("planned_m", (n, 3)),
            ("mark_sigma_m", (n,)),
            ("pixels_px", (n, 2)),
            ("covariance_px2", (n, 2, 2)),
        )
        for name, shape in shapes:
            object.__setattr__(self, name, frozen_array(getattr(self, name), shape, name))
        a, d = self.covariance_px2[:, 0, 0], self.covariance_px2[:, 1, 1]
        b, c = self.covariance_px2[:, 0, 1], self.covariance_px2[:, 1, 0]
        if not ((a > 0) & (a * d - b * c > 0)).all():
            raise ValueError("covariance_px2: expected positive definite matrices")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanFit:
    """A camera's pose and lens from its marks alone, every mark taken to lie as planned.

    `covariance` (14, 14): six steps of `Pose.perturbed`, then eight lens parameters. `used` (n,)
    bool, row by row of `points`; `residual_px` (n, 2) and `residual_m` (n, 2), measured minus
    predicted, the latter on each mark's own height plane (NaN where the ray does not reach it).
    `rms_px` and `max_px` (and `_m`) are of the used marks' residual lengths.
    """

    pose: Pose
    lens: Lens
    covariance: Array
    points: Points
    used: Flags
    residual_px: Array
    residual_m: Array
    rms_px: float
    max_px: float
    rms_m: float
    max_m: float
    chi2: float


def fit_plan(
    camera: Camera,
    prior: LensPrior,
    points: Points,
    start: Guess,
    *,
    position_sigma_m: float = PLACE_SIGMA_M,
) -> PlanFit | NoFit:
    """Fit pose and lens robustly to `points`, from `start`, with priors on place and lens.

    A few rounds with Cauchy weights on each mark's whitened 2-D length, then plain least squares
    on the marks that pass the 0.999 test, until the same marks pass. A mark that the lens at hand
    cannot see takes no part in a round, and may come back in a later one. NoFit codes:
    'too-few-marks' and those of `solve`.
    """
    network = _Network(camera, prior, points, position_sigma_m)
    guess = start
    for _ in range(ROBUST_ROUNDS):
        whitening, length2 = network.whitened(guess)
        active = np.isfinite(length2)
        if active.sum() < FEWEST_MARKS:
            return _too_few(int(active.sum()))
        weight = np.zeros(len(points.ids))
        scale2 = median_variance_factor(length2[active]) * CAUCHY_WIDTH**2
        weight[active] = 1 / (1 + length2[active] / scale2)
        found = network.solve(guess, whitening, weight, ROBUST_TOLERANCE)
        if isinstance(found, NoFit):
            return found
        settled = found.iterations == 0
        guess = found.state
        if settled:
            break
    return _refit(network, guess)


def ground_residual(pose: Pose, lens: Lens, pixels_px: Array, planned_m: Array) -> Array:
    """Measured minus planned x, y (n, 2) in metres on each mark's height plane; NaN if missed."""
    rays = lens.unproject(pixels_px) @ pose.R
    place = pose.camera_in_ground_m
    rise = planned_m[:, 2] - place[2]
    reaches = rise * rays[:, 2] > 0
    distance = np.where(reaches, rise, np.nan) / np.where(reaches, rays[:, 2], 1.0)
    return place[:2] + distance[:, None] * rays[:, :2] - planned_m[:, :2]


class _Network:
    """The rows of one camera's fit; `whitening` and `weight` stay fixed within a `solve`."""

    def __init__(
        self, camera: Camera, prior: LensPrior, points: Points, position_sigma_m: float
    ) -> None:
        self.points = points
        self._prior = prior
        self._place_m = camera.position_m
        self._place_sigma_m = position_sigma_m
        self._last: tuple[Guess, tuple[Array, Array, Array]] | None = None

    def _projected(self, guess: Guess) -> tuple[Array, Array, Array]:
        """Pixels of all marks and what they change with; kept, as the last guess is asked again."""
        if self._last is None or self._last[0] is not guess:
            pose, lens = guess
            seen = pose.transform(self.points.planned_m)
            self._last = guess, lens.project_with_derivatives(seen)
        return self._last[1]

    def whitened(self, guess: Guess) -> tuple[Array, Array]:
        """Whitening matrices (n, 2, 2) and squared whitened lengths (n,) at `guess`.

        NaN where the lens cannot see. A mark's variance is the pixel's own and that of its planned
        place, carried into the picture; held fixed within a solve, so that a fit cannot shrink its
        residuals by moving where variances are large.
        """
        points = self.points
        pixels, d_point, _ = self._projected(guess)
        d_ground = d_point @ guess[0].R * points.mark_sigma_m[:, None, None]
        total = points.covariance_px2 + d_ground @ np.swapaxes(d_ground, 1, 2)
        seen = np.isfinite(total).all(axis=(1, 2))
        whitening = np.full_like(total, np.nan)
        whitening[seen] = np.linalg.inv(np.linalg.cholesky(total[seen]))
        residual = np.einsum("nij,nj->ni", whitening, points.pixels_px - pixels)
        return whitening, np.square(residual).sum(axis=-1)

    def solve(
        self, guess: Guess, whitening: Array, weight: Array, tolerance: float
    ) -> Solution[Guess] | NoFit:
        """Least squares over the marks whose weight is above 0."""
        return solve(self.rows(whitening, weight), _retract, guess, tolerance=tolerance)

    def rows(self, whitening: Array, weight: Array) -> Callable[[Guess], tuple[Array, Array]]:
        """Make the function that gives whitened residuals (m,) and their derivatives (m, 14).

        Marks of weight above 0 (two rows each), then the lens's prior, then the place.
        """
        active = weight > 0
        planned = self.points.planned_m[active]
        measured = self.points.pixels_px[active]
        root = whitening[active] * np.sqrt(weight[active])[:, None, None]

        def evaluate(state: Guess) -> tuple[Array, Array]:
            pose, lens = state
            pixels, d_point, d_lens = (each[active] for each in self._projected(state))
            d_pose = d_point @ pose.d_point_d_pose(planned)
            marks = np.einsum("nij,nj->ni", root, pixels - measured).ravel()
            d_marks = (root @ np.concatenate([d_pose, d_lens], axis=-1)).reshape(-1, UNKNOWNS)
            known, d_known = self._prior.residuals(lens)
            place = (pose.camera_in_ground_m - self._place_m) / self._place_sigma_m
            rows = np.zeros((len(known) + 3, UNKNOWNS))
            rows[:-3, 6:] = d_known
            rows[-3:, :3] = np.eye(3) / self._place_sigma_m
            return np.concatenate([marks, known, place]), np.concatenate([d_marks, rows])

        return evaluate


def _retract(state: Guess, step: Array) -> Guess:
    pose, lens = state
    return pose.perturbed(step[:6]), stepped(lens, step[6:])


def _refit(network: _Network, guess: Guess) -> PlanFit | NoFit:
    """Plain least squares on the marks that pass the test, until the same marks pass."""
    used: Flags = np.zeros(len(network.points.ids), dtype=bool)
    fit: Solution[Guess] | None = None
    for _ in range(REFITS):
        whitening, length2 = network.whitened(guess)
        seen = np.isfinite(length2)
        if seen.sum() < FEWEST_MARKS:
            return _too_few(int(seen.sum()))
        limit = CHI2_REJECT * median_variance_factor(length2[seen])
        passing = seen & (np.where(seen, length2, np.inf) <= limit)
        if fit is not None and np.array_equal(passing, used):
            break
        used = passing
        if used.sum() < FEWEST_MARKS:
            return _too_few(int(used.sum()))
        found = network.solve(guess, whitening, used.astype(np.float64), REFIT_TOLERANCE)
        if isinstance(found, NoFit):
            return found
        fit, guess = found, found.state
    assert fit is not None, "the first pass of the loop either fits or returns"
    return _as_fit(network.points, fit, used)


def _as_fit(points: Points, found: Solution[Guess], used: Flags) -> PlanFit:
    pose, lens = found.state
    residual_px = points.pixels_px - lens.project(pose.transform(points.planned_m))
    residual_m = ground_residual(pose, lens, points.pixels_px, points.planned_m)
    rms_px, max_px = _rms_and_max(residual_px[used])
    rms_m, max_m = _rms_and_max(residual_m[used])
    for array in (residual_px, residual_m, used):
        array.setflags(write=False)
    return PlanFit(
        pose=pose,
        lens=lens,
        covariance=frozen_array(found.covariance, (14, 14), "covariance"),
        points=points,
        used=used,
        residual_px=residual_px,
        residual_m=residual_m,
        rms_px=rms_px,
        max_px=max_px,
        rms_m=rms_m,
        max_m=max_m,
        chi2=found.chi2,
    )


def _rms_and_max(residual: Array) -> tuple[float, float]:
    """RMS and worst length of residuals (n, 2), over those that are finite; NaN if none is."""
    length = np.linalg.norm(residual[np.isfinite(residual).all(axis=-1)], axis=-1)
    if not length.size:
        return float("nan"), float("nan")
    return float(np.sqrt(np.mean(length**2))), float(length.max())


def _too_few(count: int) -> NoFit:
    return NoFit(reason=Reason("too-few-marks", usable=count, needed=FEWEST_MARKS))

"""One camera fitted alone to the layout as planned: our stand-in for what a display unit does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import compress
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from vision.adjustment.elimination import Reduced
from vision.adjustment.groups import Group
from vision.adjustment.network import Network, network_of, points_of
from vision.adjustment.settings import SETTINGS
from vision.adjustment.solving import Solved, settled, solved, weighted, weights_of
from vision.adjustment.state import Columns, Seen, View, whiteners
from vision.adjustment.statements import Held, OfLens
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import LensPrior
from vision.camera.solver import FIRST_DAMPING, NoFit, Settled
from vision.camera.statistics import median_variance_factor
from vision.job.job import Camera, Job
from vision.job.layout import PlannedMark, place_sigma_m
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, Flags, freeze, frozen_array
from vision.units.plain import also_written, written
from vision.units.reason import Reason

Guess = tuple[Pose, Lens]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Points:
    """Identified marks of one camera: planned centres and measured pixels, row by row.

    `ids` (n), `planned_m` (n, 3) ground, `mark_sigma_m` (n,) sigma of the planned place per
    coordinate, `pixels_px` (n, 2) in the picture turned back, `covariance_px2` (n, 2, 2).
    """

    ids: tuple[MarkId, ...]
    planned_m: Array
    mark_sigma_m: Array
    pixels_px: Array
    covariance_px2: Array

    def __post_init__(self) -> None:
        n = len(self.ids)
        freeze(
            self, planned_m=(n, 3), mark_sigma_m=(n,), pixels_px=(n, 2), covariance_px2=(n, 2, 2)
        )
        a, d = self.covariance_px2[:, 0, 0], self.covariance_px2[:, 1, 1]
        b, c = self.covariance_px2[:, 0, 1], self.covariance_px2[:, 1, 0]
        if not ((a > 0) & (a * d - b * c > 0)).all():
            raise ValueError("covariance_px2: expected positive definite matrices")

    @classmethod
    def of(
        cls,
        job: Job,
        marks: Sequence[PlannedMark],
        pixels_px: ArrayLike,
        covariance_px2: ArrayLike,
    ) -> Points:
        """Marks of a job where they are planned, seen at pixels (n, 2), covariances (n, 2, 2)."""
        return cls(
            ids=tuple(mark.id for mark in marks),
            planned_m=np.array([mark.centre_m for mark in marks]).reshape(-1, 3),
            mark_sigma_m=np.array([place_sigma_m(job, mark) for mark in marks]),
            pixels_px=np.reshape(pixels_px, (-1, 2)),
            covariance_px2=np.reshape(covariance_px2, (-1, 2, 2)),
        )

    def only(self, kept: Flags) -> Points:
        """Those rows that are flagged, `kept` (n,)."""
        rows = {name: getattr(self, name)[kept] for name in self.__slots__[1:]}
        return Points(ids=tuple(compress(self.ids, kept)), **rows)

    def __add__(self, more: Points) -> Points:
        rows = {
            name: np.concatenate([getattr(self, name), getattr(more, name)])
            for name in self.__slots__[1:]
        }
        return Points(ids=(*self.ids, *more.ids), **rows)


class Lengths(NamedTuple):
    """RMS and greatest length of residuals that are finite; NaN where none is."""

    rms: float
    most: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanFit:
    """A camera's pose and lens from its marks alone, every mark taken to lie as planned.

    `covariance` (14, 14): six steps of `Pose.perturbed`, then eight lens parameters. `used` (n,)
    bool, row by row of `points`; `residual_px` (n, 2) and `residual_m` (n, 2), measured minus
    predicted, the latter on each mark's own height plane (NaN where the ray does not reach it). The
    last `added` rows are points that took no part in the fit.
    """

    pose: Pose = written(flat=Pose)
    lens: Lens = written()
    covariance: Array
    points: Points
    used: Flags
    residual_px: Array
    residual_m: Array
    chi2: float
    added: int = 0

    @property
    def fitted(self) -> Flags:
        """The used rows (n,) that the fit was made of."""
        return self.used & (np.arange(len(self.used)) < len(self.used) - self.added)

    @property
    @also_written(3, names=("rms", "max"))
    def reprojection_px(self) -> Lengths:
        """Of the fitted marks' residuals in the picture."""
        return _lengths(self.residual_px[self.fitted])

    @property
    @also_written(5, names=("rms", "max"), key="ground_residual_m")
    def off_ground_m(self) -> Lengths:
        """The same on the ground."""
        return _lengths(self.residual_m[self.fitted])


def _lengths(residual: Array) -> Lengths:
    length = np.linalg.norm(residual[np.isfinite(residual).all(axis=-1)], axis=-1)
    if not length.size:
        return Lengths(rms=float("nan"), most=float("nan"))
    return Lengths(rms=float(np.sqrt(np.mean(length**2))), most=float(length.max()))


def fit_plan(
    camera: Camera,
    prior: LensPrior,
    points: Points,
    start: Guess,
    *,
    position_sigma_m: float = SETTINGS.place_sigma_m,
    on_the_way: bool = False,
) -> PlanFit | NoFit:
    """Fit pose and lens robustly to `points`, from `start`, with priors on place and lens.

    A few rounds with Cauchy weights on each mark's whitened 2-D length, then plain least squares
    on the marks that pass the 0.999 test, until the same marks pass. A mark that the lens at hand
    cannot see takes no part in a round, and may come back in a later one. `on_the_way` is a fit
    from which only a better look is wanted, to some hundredths of a sigma. NoFit codes:
    'too-few-marks' and those of `solve`.
    """
    network = camera_network(camera, prior, points, start, position_sigma_m)
    rough = SETTINGS.rough_tolerance
    seen = _robust(network, points, rough if on_the_way else SETTINGS.round_tolerance)
    if isinstance(seen, NoFit):
        return seen
    return _refit(network, points, seen, rough if on_the_way else SETTINGS.refit_tolerance)


def ground_residual(pose: Pose, lens: Lens, pixels_px: Array, planned_m: Array) -> Array:
    """Measured minus planned x, y (n, 2) in metres on each mark's height plane; NaN if missed."""
    rays = lens.unproject(pixels_px) @ pose.R
    place = pose.camera_in_ground_m
    rise = planned_m[:, 2] - place[2]
    reaches = rise * rays[:, 2] > 0
    distance = np.where(reaches, rise, np.nan) / np.where(reaches, rays[:, 2], 1.0)
    return place[:2] + distance[:, None] * rays[:, :2] - planned_m[:, :2]


def camera_network(
    camera: Camera, prior: LensPrior, points: Points, start: Guess, position_sigma_m: float
) -> Network:
    """The network of one camera whose marks lie as planned: its points, lens and mounting."""
    columns = Columns.by_camera(1)
    rows = slice(0, len(points.ids))
    views = (View(name=camera.name, pose=0, lens=0, rows=rows, like=prior.guess),)
    mounting = Held(
        group=Group("mounting", camera.name),
        columns=columns.pose[0, :3],
        degrees=3,
        sigma=position_sigma_m,
        stated=camera.position_m,
    )
    lens = OfLens(group=Group("lens", camera.name), columns=columns.lens[0], prior=prior)
    return network_of(
        columns,
        views,
        points_of(views, points.ids, points.planned_m, points.pixels_px, points.covariance_px2),
        (mounting, lens),
        columns.state([start[0]], [start[1].as_vector()], 0),
    )


def planned_covariance(seen: Seen, points: Points) -> tuple[Array, Array]:
    """Covariances (n, 2, 2) of where marks are seen, px^2, and their whiteners.

    A mark's variance is the pixel's own and that of its planned place, carried into the picture;
    NaN where the lens cannot see it, whose whitener is 1.
    """
    by_mark = seen.by_place * points.mark_sigma_m[:, None, None]
    total = points.covariance_px2 + by_mark @ by_mark.transpose(0, 2, 1)
    known = np.isfinite(total).all(axis=(1, 2), keepdims=True)
    return total, whiteners(np.where(known, total, np.eye(2)))


def _whitened(seen: Seen, points: Points) -> tuple[Array, Array]:
    """Whiteners (n, 2, 2) and squared whitened lengths (n,), infinite where the lens cannot see.

    They are held fixed within a solution, so that a fit cannot shrink its residuals by moving where
    variances are large.
    """
    _, full = planned_covariance(seen, points)
    length2 = np.square(full @ seen.off_px[..., None]).sum(axis=(1, 2))
    return full, np.where(np.isfinite(length2), length2, np.inf)


def _robust(network: Network, points: Points, tolerance: float) -> Seen | NoFit:
    """Rounds with Cauchy weights on each mark's whitened length; how all is seen at the end."""
    seen = network.seen(network.start)
    for _ in range(SETTINGS.rounds):
        full, length2 = _whitened(seen, points)
        active = np.isfinite(length2)
        if active.sum() < SETTINGS.fewest_marks:
            return _too_few(int(active.sum()))
        scale2 = median_variance_factor(length2[active]) * SETTINGS.cauchy_width**2
        weights = weighted(full, 1 / (1 + length2 / scale2))
        found = settled(network, weights, seen, tolerance=tolerance, damping=FIRST_DAMPING)
        if isinstance(found, NoFit):
            return found
        seen = found.state
        if found.iterations == 0:
            break
    return seen


def _refit(network: Network, points: Points, seen: Seen, tolerance: float) -> PlanFit | NoFit:
    """Plain least squares on the marks that pass the test, until the same marks pass."""
    used: Flags = np.zeros(len(points.ids), dtype=bool)
    fit: Settled[Seen, Reduced] | None = None
    for _ in range(SETTINGS.refits):
        full, length2 = _whitened(seen, points)
        known = np.isfinite(length2)
        if known.sum() < SETTINGS.fewest_marks:
            return _too_few(int(known.sum()))
        passing = length2 <= SETTINGS.reject_chi2 * median_variance_factor(length2[known])
        if fit is not None and np.array_equal(passing, used):
            break
        used = np.asarray(passing)
        if used.sum() < SETTINGS.fewest_marks:
            return _too_few(int(used.sum()))
        weights = weights_of(full, used)
        found = settled(network, weights, seen, tolerance=tolerance, damping=FIRST_DAMPING)
        if isinstance(found, NoFit):
            return found
        fit, seen = found, found.state
    assert fit is not None, "the first pass of the loop either fits or returns"
    solution = solved(network, weights, fit)
    return solution if isinstance(solution, NoFit) else _as_fit(network, points, solution, used)


def _as_fit(network: Network, points: Points, found: Solved, used: Flags) -> PlanFit:
    pose, lens = found.state.pose(0), network.views[0].like.with_vector(found.state.lens[0])
    residual_px = -found.seen.off_px
    residual_m = ground_residual(pose, lens, points.pixels_px, points.planned_m)
    for array in (residual_px, residual_m, used):
        array.setflags(write=False)
    return PlanFit(
        pose=pose,
        lens=lens,
        covariance=frozen_array(found.covariance.kept, (14, 14), "covariance"),
        points=points,
        used=used,
        residual_px=residual_px,
        residual_m=residual_m,
        chi2=found.chi2,
    )


def _too_few(count: int) -> NoFit:
    return NoFit(reason=Reason("too-few-marks", usable=count, needed=SETTINGS.fewest_marks))

"""What the check would be able to say of a layout: every sigma against its tolerance."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from vision.adjustment.adjusted import Adjustment
from vision.adjustment.as_planned import planned_adjustment
from vision.adjustment.groups import Group
from vision.camera.lens_prior import USUAL_SIZE_PX, lens_prior
from vision.camera.solver import NoFit
from vision.inspection.verdict.cameras import camera_verdict, overlaps_of
from vision.inspection.verdict.layings import LayingWord, mark_verdict, strip_verdict
from vision.inspection.verdict.seams import seam_verdict
from vision.job.job import Camera, Job
from vision.job.layout import Layout, planned_layout
from vision.job.mark_id import MarkId
from vision.job.settings import SETTINGS as JOB
from vision.marks.measure.forecast import Light
from vision.planning.assessment import (
    PlannedView,
    PredictedCamera,
    PredictedLaying,
    PredictedSeam,
    Prediction,
)
from vision.planning.limits import TIED_DIGITS, problems_of, sorted_limits
from vision.planning.settings import SETTINGS
from vision.planning.single_camera_fits import SingleCameraFit, single_camera_fits, usual_gaps_m
from vision.planning.visibility import observations_of, planned_views, shown_marks
from vision.units.arrays import Array
from vision.views.ground import ground_map
from vision.views.seams.coverage import nearest_ground
from vision.views.seams.gaps import SeamGap, gaps_with_slopes, seam_gaps

Views = Mapping[str, tuple[PlannedView, ...]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Planned:
    """Everything that the figures of one layout are read from."""

    job: Job
    layout: Layout
    views: Views
    fits: dict[str, SingleCameraFit]
    adjustment: Adjustment | NoFit
    gaps: dict[tuple[str, str], SeamGap]


def predict(
    job: Job,
    light: Light | None = None,
    size_px: tuple[int, int] = USUAL_SIZE_PX,
    *,
    known: Views | None = None,
    least_px: float = JOB.least_size_px,
    rough: bool = False,
) -> Prediction:
    """Predict what `job`'s layout would reach, with aims, lenses and places as intended.

    Marks with a shorter extent below `least_px` in a picture do not count there. `known` are views
    by camera that need not be worked out again: those of a camera that has not changed, of a
    layout that has not changed either. With `rough` no mark is drawn: every centre has one cautious
    sigma, which is quicker.
    """
    light = light or Light()
    layout = planned_layout(job)
    priors = {
        camera.name: lens_prior(job.lens_of(camera), *_size(job, camera, size_px))
        for camera in job.cameras
    }
    known = known or {}
    views = {
        camera.name: known.get(camera.name)
        or planned_views(
            job, layout, camera, priors[camera.name], None if rough else light, least_px
        )
        for camera in job.cameras
    }
    observations = tuple(
        observations_of(job, layout, camera, priors[camera.name], views[camera.name])
        for camera in job.cameras
    )
    fits = single_camera_fits(job, layout, observations)
    adjustment = planned_adjustment(job, layout, observations)
    gaps: tuple[SeamGap, ...] = ()
    if not isinstance(adjustment, NoFit):
        gaps = seam_gaps(job, {name: each.fit for name, each in fits.items()}, adjustment)
    planned = _Planned(
        job=job,
        layout=layout,
        views=views,
        fits=fits,
        adjustment=adjustment,
        gaps={gap.between: gap for gap in gaps},
    )
    return _prediction(planned, light, size_px)


def _size(job: Job, camera: Camera, size_px: tuple[int, int]) -> tuple[int, int]:
    fitted = job.lens_of(camera).fitted
    return size_px if fitted is None else (fitted.width, fitted.height)


def _prediction(planned: _Planned, light: Light, size_px: tuple[int, int]) -> Prediction:
    job, adjustment = planned.job, planned.adjustment
    cameras: tuple[PredictedCamera, ...] = ()
    layings: tuple[PredictedLaying, ...] = ()
    seams: tuple[PredictedSeam, ...] = ()
    if not isinstance(adjustment, NoFit):
        took_part = {camera.name for camera in adjustment.cameras}
        cameras = tuple(
            _camera(planned, adjustment, camera)
            for camera in job.cameras
            if camera.name in took_part
        )
        layings = tuple(_layings(job, adjustment))
        seams = tuple(_seam(planned, adjustment, gap) for gap in planned.gaps.values())
    return Prediction(
        job=job,
        light=light,
        size_px=size_px,
        views=tuple(view for name in planned.views for view in planned.views[name]),
        cameras=cameras,
        layings=layings,
        seams=seams,
        limits=sorted_limits(job, cameras, layings, seams),
        problems=problems_of(job, cameras, layings, seams),
    )


def _camera(planned: _Planned, adjustment: Adjustment, camera: Camera) -> PredictedCamera:
    adjusted = adjustment.camera(camera.name)
    shown = shown_marks(planned.views[camera.name], planned.layout)
    nearest = nearest_ground(planned.job.vehicle, camera, adjusted)
    overlaps = overlaps_of(planned.job, camera, planned.gaps, adjustment)
    tolerances = planned.job.tolerances
    judged = camera_verdict(camera, adjusted, tolerances, overlaps=overlaps, nearest=nearest)
    # Straight down there is no pan and no roll: nothing can be known of them.
    sigma_rad = adjusted.aim_on_body_sigma_rad
    pan, tilt, roll = np.where(np.isfinite(sigma_rad), sigma_rad, np.inf).tolist()
    x, y, z = adjusted.position_sigma_m.tolist()
    return PredictedCamera(
        name=camera.name,
        marks=len(shown),
        strips=len({mark.strip for mark in shown if mark.strip is not None}),
        aim_sigma_rad=(pan, tilt, roll),
        position_sigma_m=(x, y, z),
        nearest_ground_m=nearest.distance_m,
        nearest_ground_sigma_m=nearest.sigma_m,
        verdict=judged.verdict,
        views=planned.views[camera.name],
        found_mounting_m=_detectable(adjustment, Group("mounting", camera.name)),
    )


def _layings(job: Job, adjustment: Adjustment) -> Iterator[PredictedLaying]:
    """Strips, then single marks; a carton's corner is not measured, so there is none of it."""
    for strip, adjusted in zip(job.strips, adjustment.strips, strict=True):
        ids = adjusted.mark_ids if adjusted.seen else ()
        covariances = adjusted.mark_shift_covariance_m2
        word = strip_verdict(strip, adjusted, job.tolerances).verdict
        yield _laying(adjustment, Group("strip", strip.name), ids, covariances, word)
    for planned, mark in zip(job.marks, adjustment.marks, strict=True):
        if planned.shape.drawn:
            ids = (MarkId(mark.name),) if mark.seen else ()
            word = mark_verdict(planned, mark, job.tolerances).verdict
            covariances = mark.covariance_m2[None]
            yield _laying(adjustment, Group("mark", mark.name), ids, covariances, word)


def _laying(
    adjustment: Adjustment,
    group: Group,
    ids: tuple[MarkId, ...],
    covariances_m2: Array,
    word: LayingWord,
) -> PredictedLaying:
    if not ids:
        return PredictedLaying(name=group.name, sigma_m=None, mark=None, found_m=None)
    sigmas = _largest(covariances_m2)
    worst = _first_worst(sigmas)
    return PredictedLaying(
        name=group.name,
        sigma_m=float(sigmas[worst]),
        mark=ids[worst],
        found_m=_detectable(adjustment, group),
        verdict=word,
    )


def _seam(planned: _Planned, adjustment: Adjustment, gap: SeamGap) -> PredictedSeam:
    """The largest sigma of the points that are judged: along the seam, and of shared marks."""
    first, second = gap.between
    fitted = (planned.fits[first], planned.fits[second])
    covered = np.flatnonzero(np.isfinite(gap.gaps_m).all(axis=1))
    figures: dict[str, Any] = dict.fromkeys(("sigma_m", "worst_at_m", "usual_gap_m"))
    if len(covered):
        places = [planned.layout.mark(each).centre_m[:2] for each in gap.mark_ids]
        points = np.concatenate([gap.points_m[covered], np.reshape(places, (-1, 2))])
        spreads = [gap.covariances_m2[covered], gap.mark_covariances_m2]
        sigmas = _largest(np.concatenate(spreads))
        worst = _first_worst(sigmas)
        a, b = (ground_map(each.fit.pose, each.fit.lens) for each in fitted)
        pair = (adjustment.camera(first), adjustment.camera(second))
        _, slopes = gaps_with_slopes(gap.points_m[covered], planned.job.vehicle, pair, (a, b))
        figures = {
            "sigma_m": float(sigmas[worst]),
            "worst_at_m": tuple(points[worst].tolist()),
            "usual_gap_m": float(usual_gaps_m(slopes, fitted).max()),
        }
    return PredictedSeam(
        between=gap.between,
        verdict=seam_verdict(gap.between, gap, planned.job.tolerances).verdict,
        shared_marks=gap.shared_marks,
        uncovered_m=gap.uncovered_m,
        overlap_m=gap.overlap_m,
        overlap_sigma_m=gap.overlap_sigma_m,
        **figures,
    )


def _first_worst(sigmas: Array) -> int:
    """The first of those that are the largest but for roundings, (n,)."""
    return int(np.argmax(np.round(sigmas, TIED_DIGITS)))


def _largest(covariances: Array) -> Array:
    """The largest principal sigma of each covariance (n, d, d), (n,)."""
    return np.asarray(np.sqrt(np.maximum(np.linalg.eigvalsh(covariances)[:, -1], 0.0)))


def _detectable(adjustment: Adjustment, group: Group) -> float:
    """Least shift of the whole that is found in 80 of 100 jobs, along the worst direction, m.

    Infinite where none up to `farthest_found_m` is.
    """
    found_m = adjustment.groups[group].faults["shift"].detectable()
    return found_m if found_m <= SETTINGS.farthest_found_m else float("inf")

"""How far apart neighbouring views lie where the display passes from one to the other.

At a ground point X the joint adjustment says which pixel of each camera shows X; each camera's plan
fit says where a display would draw that pixel. The gap is the difference of the two drawings:
G_A(p_A(X)) - G_B(p_B(X)). Its covariance is the joint adjustment's, carried through p; G is a given
function here, since a display's map is what it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera, Adjustment
from vision.adjustment.plan_fit import PlanFit
from vision.job.job import Job, Vehicle
from vision.job.mark_id import MarkId
from vision.job.visibility import sees
from vision.units.arrays import Array, Flags
from vision.units.plain import written
from vision.views.ground import GroundMap, ground_map
from vision.views.seams.coverage import d_pixel_d_camera, overlap
from vision.views.seams.lines import SeamLine, seam_lines
from vision.views.settings import SETTINGS

TUNED = SETTINGS.seams


GROUND_HEIGHT_M = 1e-6
"""A mark higher than this is no ground point: two cameras see it on two places of the ground."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeamGap:
    """What lies between two neighbouring views, the first camera's drawing minus the second's.

    `points_m` (n, 2) along the seam; `gaps_m` (n, 2) and `covariances_m2` (n, 2, 2), NaN where one
    camera does not cover the point. `mark_ids` are the shared points on the ground near the seam,
    planned at `mark_at_m` (m, 2), with `mark_gaps_m` (m, 2) and `mark_covariances_m2` (m, 2, 2); a
    board counts once in `shared_marks`. `worst_gap_m` and `worst_gap_sigma_m` (2,) are of the
    longest gap among points and marks, None where there is none; `rms_gap_m` is of the lengths
    along the seam. `overlap_m` is None where no point of the seam is 1 m from the body, or nobody
    asked; its sigma carries the joint adjustment's covariance to the edges of the views.
    """

    between: tuple[str, str]
    start_m: Array
    end_m: Array
    shared_marks: int
    points_m: Array
    gaps_m: Array
    covariances_m2: Array
    mark_ids: tuple[MarkId, ...]
    mark_at_m: Array
    mark_gaps_m: Array
    mark_covariances_m2: Array
    worst_gap_m: Array | None = written(5)
    worst_gap_sigma_m: Array | None = written(5)
    rms_gap_m: float | None = written(5)
    uncovered_m: float = written(5)
    overlap_m: float | None = written(5)
    overlap_sigma_m: float | None


def seam_gaps(
    job: Job, plan_fits: Mapping[str, PlanFit], adjustment: Adjustment
) -> tuple[SeamGap, ...]:
    """The gap at every seam whose two cameras have both a plan fit and a joint adjustment."""
    return tuple(
        measure_seam(line, job.vehicle, plan_fits, adjustment)
        for line in seams_of(job, plan_fits, adjustment)
    )


def seams_of(
    job: Job, plan_fits: Mapping[str, PlanFit], adjustment: Adjustment
) -> tuple[SeamLine, ...]:
    """The seams whose two cameras have both a plan fit and a joint adjustment."""
    adjusted = {camera.name for camera in adjustment.cameras}
    return tuple(
        line
        for line in seam_lines(job)
        if all(name in plan_fits and name in adjusted for name in line.between)
    )


def measure_seam(
    line: SeamLine,
    vehicle: Vehicle,
    plan_fits: Mapping[str, PlanFit],
    adjustment: Adjustment,
    *,
    overlapping: bool = True,
) -> SeamGap:
    """Measure one seam: gaps along it and at shared marks, what is uncovered, and the overlap.

    The overlap costs more than all the rest; without `overlapping` it is None.
    """
    pair = (adjustment.camera(line.between[0]), adjustment.camera(line.between[1]))
    fits = (plan_fits[line.between[0]], plan_fits[line.between[1]])
    maps = (ground_map(fits[0].pose, fits[0].lens), ground_map(fits[1].pose, fits[1].lens))
    points = line.points_m()
    joint = adjustment.covariance_of(*line.between)
    gaps, covariances = _gaps_along(points, vehicle, pair, maps, joint)
    ids, places, mark_gaps, mark_covariances = _mark_gaps(line, fits, maps)
    every = np.concatenate([gaps, mark_gaps])
    spread = np.concatenate([covariances, mark_covariances])
    lengths = np.linalg.norm(every, axis=1)
    known = np.isfinite(lengths)
    covered = np.asarray(np.isfinite(gaps).all(axis=1))
    worst = int(np.nanargmax(lengths)) if known.any() else None
    shared = overlap(line, vehicle, pair) if overlapping else None
    return SeamGap(
        between=line.between,
        start_m=line.start_m,
        end_m=line.end_m,
        shared_marks=len({mark_id.mark for mark_id in ids}),
        points_m=points,
        gaps_m=gaps,
        covariances_m2=covariances,
        mark_ids=ids,
        mark_at_m=places,
        mark_gaps_m=mark_gaps,
        mark_covariances_m2=mark_covariances,
        worst_gap_m=None if worst is None else every[worst],
        worst_gap_sigma_m=None if worst is None else np.sqrt(np.diag(spread[worst])),
        rms_gap_m=float(np.sqrt(np.mean(np.sum(gaps[covered] ** 2, axis=1))))
        if covered.any()
        else None,
        uncovered_m=_length_of(points, ~covered),
        overlap_m=None if shared is None else shared[0],
        overlap_sigma_m=None if shared is None else shared[1],
    )


def _gaps_along(
    points: Array,
    vehicle: Vehicle,
    pair: tuple[AdjustedCamera, AdjustedCamera],
    maps: tuple[GroundMap, GroundMap],
    joint: Array,
) -> tuple[Array, Array]:
    """Gaps (n, 2) and covariances (n, 2, 2) at ground points, NaN where not covered by both."""
    gaps, slope = gaps_with_slopes(points, vehicle, pair, maps)
    covariances = slope @ joint @ np.swapaxes(slope, -1, -2)
    covered = np.asarray(np.isfinite(gaps).all(axis=1))
    return gaps, np.where(covered[:, None, None], covariances, np.nan)


def gaps_with_slopes(
    points: Array,
    vehicle: Vehicle,
    pair: tuple[AdjustedCamera, AdjustedCamera],
    maps: tuple[GroundMap, GroundMap],
) -> tuple[Array, Array]:
    """Gaps (n, 2) at ground points and their derivatives (n, 2, 28) by both cameras' parameters.

    Gaps are NaN where not covered by both; the order is that of `Adjustment.covariance_of`.
    """
    first, second = (
        drawn_at(points, vehicle, camera, plan) for camera, plan in zip(pair, maps, strict=True)
    )
    slopes = [
        plan.d_ground_d_pixel(ground_map(camera.pose, camera.lens).pixel_from_ground(points))
        @ d_pixel_d_camera(camera, points)
        for camera, plan in zip(pair, maps, strict=True)
    ]
    return first - second, np.concatenate([slopes[0], -slopes[1]], axis=-1)


def drawn_at(points: Array, vehicle: Vehicle, camera: AdjustedCamera, plan: GroundMap) -> Array:
    """Where a display with this map draws what a camera sees of ground points (n, 2), in m.

    NaN where the camera does not show a point, or the map has no place for it.
    """
    drawn = plan.ground_from_pixel(ground_map(camera.pose, camera.lens).pixel_from_ground(points))
    covered = sees(vehicle, camera.pose, camera.lens, points) & np.isfinite(drawn).all(axis=1)
    return np.where(covered[:, None], drawn, np.nan)


def _mark_gaps(
    line: SeamLine, fits: tuple[PlanFit, PlanFit], maps: tuple[GroundMap, GroundMap]
) -> tuple[tuple[MarkId, ...], Array, Array, Array]:
    """Ground marks near the seam that both fits use: ids, places (m, 2), gaps and covariances."""
    rows = [
        {
            mark_id: row
            for row, mark_id in enumerate(fit.points.ids)
            if fit.used[row]
            and abs(fit.points.planned_m[row, 2]) <= GROUND_HEIGHT_M
            and line.distance_m(fit.points.planned_m[row, :2]) <= TUNED.near_seam_m
        }
        for fit in fits
    ]
    shared = tuple(mark_id for mark_id in rows[0] if mark_id in rows[1])
    gap, covariance = np.zeros((len(shared), 2)), np.zeros((len(shared), 2, 2))
    for fit, plan, row, sign in zip(fits, maps, rows, (1.0, -1.0), strict=True):
        index = [row[mark_id] for mark_id in shared]
        pixels = fit.points.pixels_px[index].reshape(-1, 2)
        slope = plan.d_ground_d_pixel(pixels)
        gap = gap + sign * plan.ground_from_pixel(pixels)
        noise = fit.points.covariance_px2[index].reshape(-1, 2, 2)
        covariance = covariance + slope @ noise @ np.swapaxes(slope, -1, -2)
    known = np.asarray(np.isfinite(gap).all(axis=1))
    ids = tuple(mark_id for mark_id, good in zip(shared, known, strict=True) if good)
    first = [rows[0][mark_id] for mark_id in ids]
    return ids, fits[0].points.planned_m[first, :2], gap[known], covariance[known]


def _length_of(points: Array, chosen: Flags) -> float:
    """Length of the line through evenly spaced `points` that the chosen ones stand for."""
    share = np.full(len(points), np.linalg.norm(points[1] - points[0]))
    share[[0, -1]] /= 2
    return float(share[chosen].sum())

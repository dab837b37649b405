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
from numpy.typing import NDArray

from vision.adjustment import AdjustedCamera, Adjustment
from vision.body import body_hides
from vision.geometry import Array, frozen_array, wrap_angle
from vision.ground import GroundMap, ground_map
from vision.job import Camera, Job, Vehicle
from vision.plan_fit import PlanFit

POINT_SPACING_M = 0.05
SEAM_FROM_M, SEAM_TO_M = 0.3, 2.5
WIDEST_NEIGHBOURS_RAD = float(np.radians(170))
OVERLAP_FROM_M, OVERLAP_REACH_M, OVERLAP_STEP_M = 1.0, 5.0, 0.02
NEAREST_REACH_M, NEAREST_STEP_M = 10.0, 0.01
GROUND_HEIGHT_M = 1e-6
"""A mark higher than this is no ground point: two cameras see it on two places of the ground."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeamLine:
    """A seam as a line on the ground, `start_m` (2,) near the body and `end_m` (2,)."""

    between: tuple[str, str]
    start_m: Array
    end_m: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "start_m", frozen_array(self.start_m, (2,), "start_m"))
        object.__setattr__(self, "end_m", frozen_array(self.end_m, (2,), "end_m"))

    @property
    def direction(self) -> Array:
        """Unit vector (2,) outward along the seam."""
        along = self.end_m - self.start_m
        return along / np.linalg.norm(along)

    def points_m(self) -> Array:
        """Points (n, 2) every 5 cm or a little closer, both ends included."""
        length = np.linalg.norm(self.end_m - self.start_m)
        count = int(np.ceil(length / POINT_SPACING_M - 1e-9)) + 1
        shares = np.linspace(0.0, 1.0, max(count, 2))[:, None]
        return self.start_m + shares * (self.end_m - self.start_m)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeamGap:
    """What lies between two neighbouring views, the first camera's drawing minus the second's.

    `points_m` (n, 2) along the seam; `gaps_m` (n, 2) and `covariances_m2` (n, 2, 2), NaN where one
    camera does not cover the point. `mark_ids` are the shared points on the ground with
    `mark_gaps_m` (m, 2) and `mark_covariances_m2` (m, 2, 2); a board counts once in
    `shared_marks`. `worst_gap_m` and `worst_gap_sigma_m` (2,) are of the longest gap among points
    and marks, None where there is none; `rms_gap_m` is of the lengths along the seam. `overlap_m`
    is None where no point of the seam is 1 m from the body; its sigma carries the joint
    adjustment's covariance to the edges of the views.
    """

    between: tuple[str, str]
    start_m: Array
    end_m: Array
    shared_marks: int
    points_m: Array
    gaps_m: Array
    covariances_m2: Array
    mark_ids: tuple[str, ...]
    mark_gaps_m: Array
    mark_covariances_m2: Array
    worst_gap_m: Array | None
    worst_gap_sigma_m: Array | None
    rms_gap_m: float | None
    uncovered_m: float
    overlap_m: float | None
    overlap_sigma_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NearestGround:
    """First ground a camera sees straight out from its side of the body.

    `distance_m` from the side, infinite when there is none within 10 m.
    """

    distance_m: float
    sigma_m: float


def neighbours(cameras: tuple[Camera, ...]) -> tuple[tuple[Camera, Camera], ...]:
    """Adjacent pairs by intended pan, counter-clockwise, round the whole circle.

    Cameras of equal pan follow each other round the body. A pair whose pans differ by 170 degrees
    or more has no seam between it.
    """

    def turn(camera: Camera) -> tuple[float, float]:
        pan = float(wrap_angle(camera.aim.pan_rad))
        place = np.arctan2(camera.position_m[1], camera.position_m[0])
        return round(pan, 6), float(wrap_angle(place - pan))

    ring = sorted(cameras, key=turn)
    pairs: list[tuple[Camera, Camera]] = []
    for first, second in zip(ring, ring[1:] + ring[:1], strict=True):
        between = round(second.aim.pan_rad - first.aim.pan_rad, 9) % (2 * np.pi)
        if first is second or between >= WIDEST_NEIGHBOURS_RAD or (second, first) in pairs:
            continue
        pairs.append((first, second))
    return tuple(pairs)


def seam_lines(job: Job) -> tuple[SeamLine, ...]:
    """Every seam of the job: those it states, and the default for each other pair of neighbours.

    A default seam names its cameras in the order of the job file.
    """
    stated = {frozenset(seam.between): seam for seam in job.seams}
    order = {camera.name: index for index, camera in enumerate(job.cameras)}
    lines = []
    for first, second in neighbours(job.cameras):
        seam = stated.pop(frozenset((first.name, second.name)), None)
        if seam is not None:
            line = SeamLine(between=seam.between, start_m=seam.from_m, end_m=seam.to_m)
        else:
            names = sorted((first.name, second.name), key=lambda name: order[name])
            start, end = _default_line(job.vehicle, first, second)
            line = SeamLine(between=(names[0], names[1]), start_m=start, end_m=end)
        lines.append(line)
    lines += [
        SeamLine(between=seam.between, start_m=seam.from_m, end_m=seam.to_m)
        for seam in stated.values()
    ]
    return tuple(lines)


def side_of(camera: Camera) -> int:
    """The side of the body that a camera is meant for: 0 front, 1 left, 2 rear, 3 right."""
    return int(np.round(camera.aim.pan_rad / (np.pi / 2))) % 4


def _outward(side: int) -> Array:
    return np.array([(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][side])


def _on_side(vehicle: Vehicle, side: int, place: Array) -> Array:
    """The point (2,) of the body's side straight beside `place` (2,)."""
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    out = _outward(side)
    return np.where(out != 0, out * half, place)


def _default_line(vehicle: Vehicle, first: Camera, second: Camera) -> tuple[Array, Array]:
    """Ends of the default seam, `second` being next to `first` counter-clockwise.

    The ray at 45 degrees from the body's corner between the two pans; where there are several or
    none, from the corner nearest to the mean pan. Two cameras on one side have no corner between
    them: their seam runs square out of that side, midway.
    """
    if side_of(first) == side_of(second):
        side = side_of(first)
        middle = (first.position_m[:2] + second.position_m[:2]) / 2
        base, out = _on_side(vehicle, side, middle), _outward(side)
        return base + SEAM_FROM_M * out, base + SEAM_TO_M * out
    sweep = (second.aim.pan_rad - first.aim.pan_rad) % (2 * np.pi)
    corners = np.radians([45.0, 135.0, -135.0, -45.0])
    inside = (corners - first.aim.pan_rad) % (2 * np.pi) < sweep
    off = np.abs(wrap_angle(corners - first.aim.pan_rad - sweep / 2))
    if inside.any():
        off = np.where(inside, off, np.inf)
    angle = corners[int(np.argmin(np.round(off, 9)))]
    out = np.array([np.cos(angle), np.sin(angle)])
    corner = np.sign(out) * np.array([vehicle.length_m, vehicle.width_m]) / 2
    return corner + SEAM_FROM_M * out, corner + SEAM_TO_M * out


def sees(vehicle: Vehicle, camera: AdjustedCamera, ground_m: Array) -> NDArray[np.bool_]:
    """Whether a camera as adjusted shows ground points (n, 2): lens, picture and own body."""
    pixels = ground_map(camera.pose, camera.lens).pixel_from_ground(ground_m)
    shown = np.asarray(camera.lens.contains(pixels))
    return shown & ~body_hides(vehicle, camera.pose.camera_in_ground_m, ground_m)


def d_pixel_d_camera(camera: AdjustedCamera, ground_m: Array) -> Array:
    """Derivative of the pixels of ground points (n, 2) by pose steps and lens, (n, 2, 14)."""
    points = np.column_stack([ground_m, np.zeros(len(ground_m))])
    seen = camera.pose.transform(points)
    _, by_point, by_lens = camera.lens.project_with_derivatives(seen)
    return np.concatenate([by_point @ camera.pose.d_point_d_pose(points), by_lens], axis=-1)


def seam_gaps(
    job: Job, plan_fits: Mapping[str, PlanFit], adjustment: Adjustment
) -> tuple[SeamGap, ...]:
    """The gap at every seam whose two cameras have both a plan fit and a joint adjustment."""
    adjusted = {camera.name for camera in adjustment.cameras}
    return tuple(
        measure_seam(line, job.vehicle, plan_fits, adjustment)
        for line in seam_lines(job)
        if all(name in plan_fits and name in adjusted for name in line.between)
    )


def measure_seam(
    line: SeamLine,
    vehicle: Vehicle,
    plan_fits: Mapping[str, PlanFit],
    adjustment: Adjustment,
) -> SeamGap:
    """Measure one seam: gaps along it and at shared marks, what is uncovered, and the overlap."""
    pair = (adjustment.camera(line.between[0]), adjustment.camera(line.between[1]))
    fits = (plan_fits[line.between[0]], plan_fits[line.between[1]])
    maps = (ground_map(fits[0].pose, fits[0].lens), ground_map(fits[1].pose, fits[1].lens))
    points = line.points_m()
    joint = adjustment.covariance_of(*line.between)
    gaps, covariances = _gaps_along(points, vehicle, pair, maps, joint)
    ids, mark_gaps, mark_covariances = _mark_gaps(fits, maps)
    every = np.concatenate([gaps, mark_gaps])
    spread = np.concatenate([covariances, mark_covariances])
    lengths = np.linalg.norm(every, axis=1)
    known = np.isfinite(lengths)
    covered = np.asarray(np.isfinite(gaps).all(axis=1))
    worst = int(np.nanargmax(lengths)) if known.any() else None
    overlap = _overlap(line, vehicle, pair)
    return SeamGap(
        between=line.between,
        start_m=line.start_m,
        end_m=line.end_m,
        shared_marks=len({_mark_of(mark_id) for mark_id in ids}),
        points_m=points,
        gaps_m=gaps,
        covariances_m2=covariances,
        mark_ids=ids,
        mark_gaps_m=mark_gaps,
        mark_covariances_m2=mark_covariances,
        worst_gap_m=None if worst is None else every[worst],
        worst_gap_sigma_m=None if worst is None else np.sqrt(np.diag(spread[worst])),
        rms_gap_m=float(np.sqrt(np.mean(np.sum(gaps[covered] ** 2, axis=1))))
        if covered.any()
        else None,
        uncovered_m=_length_of(points, ~covered),
        overlap_m=None if overlap is None else overlap[0],
        overlap_sigma_m=None if overlap is None else overlap[1],
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
    drawn, slopes, covered = [], [], np.ones(len(points), dtype=bool)
    for camera, plan in zip(pair, maps, strict=True):
        pixels = ground_map(camera.pose, camera.lens).pixel_from_ground(points)
        drawn.append(plan.ground_from_pixel(pixels))
        slopes.append(plan.d_ground_d_pixel(pixels) @ d_pixel_d_camera(camera, points))
        covered &= sees(vehicle, camera, points) & np.isfinite(drawn[-1]).all(axis=1)
    gaps = np.where(covered[:, None], drawn[0] - drawn[1], np.nan)
    return gaps, np.concatenate([slopes[0], -slopes[1]], axis=-1)


def _mark_gaps(
    fits: tuple[PlanFit, PlanFit], maps: tuple[GroundMap, GroundMap]
) -> tuple[tuple[str, ...], Array, Array]:
    """Shared ground marks that both fits use: ids, gaps (m, 2) and covariances (m, 2, 2)."""
    rows = [
        {
            mark_id: row
            for row, mark_id in enumerate(fit.points.ids)
            if fit.used[row] and abs(fit.points.planned_m[row, 2]) <= GROUND_HEIGHT_M
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
    return ids, gap[known], covariance[known]


def _mark_of(mark_id: str) -> str:
    """The mark that a point belongs to: a board's corners are one mark."""
    return "/".join(mark_id.split("/")[:2])


def _length_of(points: Array, chosen: NDArray[np.bool_]) -> float:
    """Length of the line through evenly spaced `points` that the chosen ones stand for."""
    share = np.full(len(points), np.linalg.norm(points[1] - points[0]))
    share[[0, -1]] /= 2
    return float(share[chosen].sum())


def _overlap(
    line: SeamLine, vehicle: Vehicle, pair: tuple[AdjustedCamera, AdjustedCamera]
) -> tuple[float, float] | None:
    """Smallest width of ground that both see, square to the seam, and its sigma, in m.

    Over the seam's points 1 m or more from the body; None where there are none. The width at a
    point is the longest unbroken run of ground that both see, within 5 m to each side.
    """
    points = line.points_m()
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    clear = np.linalg.norm(np.maximum(np.abs(points) - half, 0.0), axis=1)
    points = points[clear >= OVERLAP_FROM_M - 1e-9]
    if not len(points):
        return None
    square = np.array([-line.direction[1], line.direction[0]])
    steps = round(OVERLAP_REACH_M / OVERLAP_STEP_M)
    offsets = np.arange(-steps, steps + 1) * OVERLAP_STEP_M
    across = points[:, None] + offsets[:, None] * square
    seen = [sees(vehicle, one, across.reshape(-1, 2)).reshape(across.shape[:2]) for one in pair]
    runs = [_longest_run(row) for row in seen[0] & seen[1]]
    narrow = int(np.argmin([end - begin for begin, end in runs]))
    begin, end = runs[narrow]
    if begin == end:
        return 0.0, _edge_sigma(pair, [points[narrow]] * 2, square)
    width = min((end - begin) * OVERLAP_STEP_M, 2 * OVERLAP_REACH_M)
    variance = OVERLAP_STEP_M**2 / 6
    for edge, beyond in ((begin, begin - 1), (end - 1, end)):
        if 0 <= beyond < len(offsets):
            stops = [one for one, view in zip(pair, seen, strict=True) if not view[narrow, beyond]]
            at = across[narrow, edge]
            variance += _edge_sigma(stops, [at] * len(stops), square) ** 2
    return width, float(np.sqrt(variance))


def _longest_run(flags: NDArray[np.bool_]) -> tuple[int, int]:
    """First index and the index after the last of the longest run of True; equal for none."""
    changes = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    begins, ends = changes[::2], changes[1::2]
    if not len(begins):
        return 0, 0
    longest = int(np.argmax(ends - begins))
    return int(begins[longest]), int(ends[longest])


def _edge_sigma(
    cameras: list[AdjustedCamera] | tuple[AdjustedCamera, ...], places: list[Array], along: Array
) -> float:
    """Largest sigma along a direction (2,) of where a camera's pixel lies on the ground.

    The edge of a view is a fixed pixel; this is how far pose and lens leave its place open. An
    edge that a camera does not show in its lens has no such figure: one search step stands in.
    """
    largest = OVERLAP_STEP_M
    for camera, place in zip(cameras, places, strict=True):
        ground = place[None]
        forward = ground_map(camera.pose, camera.lens).d_pixel_d_ground(ground)[0]
        slope = d_pixel_d_camera(camera, ground)[0]
        if not np.isfinite(forward).all() or abs(np.linalg.det(forward)) < 1e-9:
            continue
        row: Array = np.linalg.solve(forward, slope).T @ along
        largest = max(largest, float(np.sqrt(np.maximum(row @ camera.covariance @ row, 0.0))))
    return largest


def nearest_ground(vehicle: Vehicle, camera: Camera, adjusted: AdjustedCamera) -> NearestGround:
    """First ground that a camera sees straight out from its place, from its side of the body.

    The side is the one its intended pan faces; the search runs to 10 m in steps of 1 cm.
    """
    side = side_of(camera)
    out = _outward(side)
    base = _on_side(vehicle, side, adjusted.pose.camera_in_ground_m[:2])
    distances = np.arange(0.0, NEAREST_REACH_M + NEAREST_STEP_M / 2, NEAREST_STEP_M)
    places = base + distances[:, None] * out
    seen = sees(vehicle, adjusted, places)
    if not seen.any():
        return NearestGround(distance_m=float("inf"), sigma_m=0.0)
    first = int(np.argmax(seen))
    if first == 0:
        return NearestGround(distance_m=0.0, sigma_m=0.0)
    sigma = _edge_sigma([adjusted], [places[first]], out)
    return NearestGround(distance_m=float(distances[first]), sigma_m=sigma)

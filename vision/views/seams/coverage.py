"""What of the ground cameras see as they stand: where, how much of it together, how near."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera
from vision.job.job import Camera, Vehicle
from vision.job.visibility import sees
from vision.units.arrays import Array, Flags
from vision.views.ground import ground_map
from vision.views.seams.lines import SeamLine, on_side, outward, side_of
from vision.views.settings import SETTINGS

TUNED = SETTINGS.seams


@dataclass(frozen=True, slots=True, kw_only=True)
class NearestGround:
    """First ground a camera sees straight out from its side of the body.

    `distance_m` from the side, infinite when there is none within 10 m.
    """

    distance_m: float
    sigma_m: float


def d_pixel_d_camera(camera: AdjustedCamera, ground_m: Array) -> Array:
    """Derivative of the pixels of ground points (n, 2) by pose steps and lens, (n, 2, 14)."""
    points = np.column_stack([ground_m, np.zeros(len(ground_m))])
    seen = camera.pose.transform(points)
    _, by_point, by_lens = camera.lens.project_with_derivatives(seen)
    return np.concatenate([by_point @ camera.pose.d_point_d_pose(points), by_lens], axis=-1)


def overlap(
    line: SeamLine, vehicle: Vehicle, pair: tuple[AdjustedCamera, AdjustedCamera]
) -> tuple[float, float] | None:
    """Smallest width of ground that both see, square to the seam, and its sigma, in m.

    Over the seam's points 1 m or more from the body; None where there are none. The width at a
    point is the longest unbroken run of ground that both see, within 5 m to each side.
    """
    points = line.points_m()
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    clear = np.linalg.norm(np.maximum(np.abs(points) - half, 0.0), axis=1)
    points = points[clear >= TUNED.overlap_from_m - 1e-9]
    if not len(points):
        return None
    square = np.array([-line.direction[1], line.direction[0]])
    steps = round(TUNED.overlap_reach_m / TUNED.overlap_step_m)
    offsets = np.arange(-steps, steps + 1) * TUNED.overlap_step_m
    across = points[:, None] + offsets[:, None] * square
    ground = across.reshape(-1, 2)
    seen = [sees(vehicle, c.pose, c.lens, ground).reshape(across.shape[:2]) for c in pair]
    runs = [_longest_run(row) for row in seen[0] & seen[1]]
    narrow = int(np.argmin([end - begin for begin, end in runs]))
    begin, end = runs[narrow]
    if begin == end:
        return 0.0, _edge_sigma(pair, points[narrow], square)
    width = min((end - begin) * TUNED.overlap_step_m, 2 * TUNED.overlap_reach_m)
    variance = TUNED.overlap_step_m**2 / 6
    for edge, beyond in ((begin, begin - 1), (end - 1, end)):
        if 0 <= beyond < len(offsets):
            stops = [one for one, view in zip(pair, seen, strict=True) if not view[narrow, beyond]]
            variance += _edge_sigma(stops, across[narrow, edge], square) ** 2
    return width, float(np.sqrt(variance))


def _longest_run(flags: Flags) -> tuple[int, int]:
    """First index and the index after the last of the longest run of True; equal for none."""
    changes = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    begins, ends = changes[::2], changes[1::2]
    if not len(begins):
        return 0, 0
    longest = int(np.argmax(ends - begins))
    return int(begins[longest]), int(ends[longest])


def _edge_sigma(cameras: Sequence[AdjustedCamera], place: Array, along: Array) -> float:
    """Largest sigma along a direction (2,) of where a camera's pixel of a place (2,) lies.

    The edge of a view is a fixed pixel; this is how far pose and lens leave its place open. An
    edge that a camera does not show in its lens has no such figure: one search step stands in.
    """
    largest = TUNED.overlap_step_m
    ground = place[None]
    for camera in cameras:
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
    out = outward(side)
    base = on_side(vehicle, side, adjusted.pose.camera_in_ground_m[:2])
    distances = np.arange(
        0.0, TUNED.nearest_reach_m + TUNED.nearest_step_m / 2, TUNED.nearest_step_m
    )
    places = base + distances[:, None] * out
    seen = sees(vehicle, adjusted.pose, adjusted.lens, places)
    first = int(np.argmax(seen))
    if not seen.any() or first == 0:
        return NearestGround(distance_m=0.0 if seen.any() else np.inf, sigma_m=0.0)
    sigma = _edge_sigma([adjusted], places[first], out)
    return NearestGround(distance_m=float(distances[first]), sigma_m=sigma)

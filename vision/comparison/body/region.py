"""Where in a picture the vehicle's own body can be, and how far away it is there.

The body is known as a box, and a box is some 15 cm wrong. So a ray may meet it anywhere in a shell
round the box, and the depth is a range: from where the ray enters that shell to where it leaves it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.comparison.body.settings import SETTINGS
from vision.job.job import Vehicle
from vision.units.arrays import Array, Flags

FACES = ("front", "rear", "left", "right", "top")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Meeting:
    """Rays (n,) and the body: whether they can meet, how far away with the log's sigma, and where.

    `face` (n,) counts in `FACES`.
    """

    can: Flags
    depth_m: Array
    depth_log_sigma: Array
    face: np.ndarray


def meeting(vehicle: Vehicle, pose: Pose, rays: Array) -> Meeting:
    """Whether and where rays (n, 3) in camera coordinates can meet the body."""
    start = pose.camera_in_ground_m
    ways = rays @ pose.R
    depths = np.geomspace(SETTINGS.near_m, SETTINGS.far_m, SETTINGS.depths)
    low, high = _box(vehicle, start)
    may = np.zeros((len(depths), len(rays)), dtype=bool)
    for row, depth in enumerate(depths):
        places = start + depth * ways
        beyond = np.maximum(low - places, places - high)
        outside = np.linalg.norm(np.maximum(beyond, 0.0), axis=1)
        reach = min(SETTINGS.stands_out_m, depth * np.sin(SETTINGS.stands_out_rad))
        may[row] = (outside <= reach) & (beyond.max(axis=1) >= -SETTINGS.lies_in_m)
        may[row] &= places[:, 2] > SETTINGS.lowest_m
    can, first = may.any(axis=0), may.argmax(axis=0)
    # It ends where the ray has left that shell, by its far side or into the body.
    left = ~may & (np.arange(len(depths))[:, None] > first)
    last = np.where(left.any(axis=0), left.argmax(axis=0) - 1, len(depths) - 1)
    logs = np.log(depths)
    depth = np.exp(0.5 * (logs[first] + logs[last]))
    spread = (logs[last] - logs[first]) / np.sqrt(12)
    return Meeting(
        can=np.asarray(can),
        depth_m=np.asarray(depth),
        depth_log_sigma=np.asarray(np.hypot(spread, SETTINGS.depth_log_sigma)),
        face=_face(start + depth[:, None] * ways, low, high),
    )


def can_show(vehicle: Vehicle, pose: Pose, lens: Lens, every_px: int = 8) -> Flags:
    """The part of a picture (height, width) that the body can fill; asked at every eighth pixel."""
    columns = np.arange(0, lens.width, every_px)
    rows = np.arange(0, lens.height, every_px)
    pixels = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2).astype(float)
    rays = lens.unproject(pixels)
    seen = np.isfinite(rays).all(axis=1)
    can = np.zeros(len(pixels), dtype=bool)
    can[seen] = meeting(vehicle, pose, rays[seen]).can
    small = can.reshape(len(rows), len(columns))
    return np.repeat(np.repeat(small, every_px, axis=0), every_px, axis=1)[
        : lens.height, : lens.width
    ]


def circle_radius(light: np.ndarray, lens: Lens) -> float:
    """Radius in px, about the lens's centre, of the image circle; infinity where there is none.

    The picture outside it is dark. Of each of 180 directions the last place that is lit counts,
    where it lies inside the picture; the circle is their median, since a dark wall may reach in.
    """
    height, width = light.shape
    light = ndimage.gaussian_filter(light, SETTINGS.circle_px / 4)
    least = max(SETTINGS.dark, SETTINGS.dark_share * float(np.median(light)))
    angles = np.linspace(-np.pi, np.pi, 180, endpoint=False)
    ratio = lens.fy / lens.fx
    radii = np.arange(0.0, np.hypot(width, height), 1.0)
    u = np.rint(lens.cx + radii * np.cos(angles)[:, None]).astype(int)
    v = np.rint(lens.cy + ratio * radii * np.sin(angles)[:, None]).astype(int)
    inside = (u >= 0) & (u < width) & (v >= 0) & (v < height)
    lit = inside & (light[np.clip(v, 0, height - 1), np.clip(u, 0, width - 1)] > least)
    last_lit = len(radii) - 1 - lit[:, ::-1].argmax(axis=1)
    last_inside = len(radii) - 1 - inside[:, ::-1].argmax(axis=1)
    ends = lit.any(axis=1) & (last_inside - last_lit > SETTINGS.circle_px)
    if ends.sum() < 8:
        return float("inf")
    return float(np.median(radii[last_lit[ends]]))


def within_circle(lens: Lens, radius_px: float) -> Flags:
    """Pixels (height, width) that are clear of the image circle's edge."""
    v, u = np.mgrid[: lens.height, : lens.width]
    off = np.hypot(u - lens.cx, (v - lens.cy) * lens.fx / lens.fy)
    return np.asarray(off < radius_px - SETTINGS.circle_px)


def _box(vehicle: Vehicle, start: Array) -> tuple[Array, Array]:
    top = max(start[2] + 0.3, 3.0) if vehicle.height_m is None else vehicle.height_m
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    return np.array([-half[0], -half[1], 0.0]), np.array([half[0], half[1], top])


def _face(places: Array, low: Array, high: Array) -> np.ndarray:
    """The face of the box that each place is nearest to, as its row in `FACES`."""
    off = np.stack(
        [
            places[:, 0] - high[0],
            low[0] - places[:, 0],
            places[:, 1] - high[1],
            low[1] - places[:, 1],
            places[:, 2] - high[2],
        ]
    )
    return np.asarray(off.argmax(axis=0))

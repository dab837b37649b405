"""What the vehicle's own body hides: a box on the ground between a camera and what it looks at."""

from __future__ import annotations

import numpy as np

from vision.job.job import Vehicle
from vision.job.settings import SETTINGS
from vision.units.arrays import Array, Flags


def body_hides(
    vehicle: Vehicle,
    camera_in_ground_m: Array,
    ground_points: Array,
    *,
    margin_m: float = SETTINGS.body_margin_m,
) -> Flags:
    """Whether the body stands between a camera (3,) and points (n, 2) on the ground or (n, 3).

    The body is a box of the vehicle's length, width and height centred on the origin, shrunk by
    `margin_m` on every side but its bottom. A camera found inside that box is mounted on the face
    nearest to it, which is moved in to the camera: a mounting measured some centimetres too far
    in must not hide everything. A point below the body is hidden. All in ground coordinates, m.
    """
    camera = np.asarray(camera_in_ground_m, dtype=np.float64)
    given = np.asarray(ground_points, dtype=np.float64).reshape(-1, np.shape(ground_points)[-1])
    points = np.zeros((len(given), 3))
    points[:, : given.shape[1]] = given
    return np.asarray(_share_inside(_box(vehicle, camera, margin_m), camera, points) > 1e-9)


def crossed_m(
    vehicle: Vehicle, start_m: Array, ends_m: Array, *, margin_m: float = SETTINGS.body_margin_m
) -> Array:
    """How far lines from a camera (3,) to points (n, 3) run inside the body as `body_hides` has it.

    In m, (n,).
    """
    share = _share_inside(_box(vehicle, start_m, margin_m), start_m, ends_m)
    return np.asarray(np.maximum(share, 0.0) * np.linalg.norm(ends_m - start_m, axis=1))


def inside_m(vehicle: Vehicle, place_m: Array) -> float:
    """How deep a place (3,) lies inside the body; outside, the distance to it as a negative number.

    A body of unknown height has no roof.
    """
    x, y, z = place_m
    over = z - (np.inf if vehicle.height_m is None else vehicle.height_m)
    beyond = np.array([abs(x) - vehicle.length_m / 2, abs(y) - vehicle.width_m / 2, over])
    if (beyond < 0).all():
        return float(-beyond.max())
    return -float(np.linalg.norm(np.maximum(beyond, 0.0)))


def _share_inside(box: tuple[Array, Array], start: Array, ends: Array) -> Array:
    """Which part of each line from a point (3,) to others (n, 3) lies in a box; at most 0 for none.

    By slabs: the part of the line between each pair of faces, as shares of its length.
    """
    low, high = box
    if (low >= high).any():
        return np.zeros(len(ends))
    along = ends - start
    with np.errstate(divide="ignore", invalid="ignore"):
        first, second = (low - start) / along, (high - start) / along
    level = along == 0
    between = (start > low) & (start < high)
    enters = np.where(level, np.where(between, -np.inf, np.inf), np.minimum(first, second))
    leaves = np.where(level, np.where(between, np.inf, -np.inf), np.maximum(first, second))
    begins = np.maximum(enters.max(axis=1), 0.0)
    return np.asarray(np.minimum(leaves.min(axis=1), 1.0) - begins)


def _box(vehicle: Vehicle, camera: Array, margin_m: float) -> tuple[Array, Array]:
    """Lower and upper corner (3,) of the body's box, with the camera outside it."""
    roof = vehicle.height_m
    top = camera[2] + SETTINGS.above_camera_m if roof is None else roof - margin_m
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2 - margin_m
    low, high = np.array([-half[0], -half[1], 0.0]), np.array([half[0], half[1], top])
    if ((camera > low) & (camera < high)).all():
        faces = [
            (camera[0] - low[0], 0, False),
            (high[0] - camera[0], 0, True),
            (camera[1] - low[1], 1, False),
            (high[1] - camera[1], 1, True),
        ]
        if roof is not None:
            faces.append((high[2] - camera[2], 2, True))
        _, axis, upper = min(faces)
        (high if upper else low)[axis] = camera[axis]
    return low, high

"""Which planned points a camera sees, and how large marks are in its picture.

A point is seen where its ray lies inside the lens, its pixel inside the picture, and the body not
in the way. A mark lies flat and faces up: it has to be seen from above as well, whole, and large
enough to be found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.job.body import body_hides
from vision.job.job import Vehicle
from vision.job.layout import PlannedMark
from vision.job.settings import SETTINGS
from vision.units.arrays import Array, Flags


class View(IntEnum):
    """What becomes of a point in a picture: of several that hold, the first in this order."""

    OUTSIDE_LENS = 0
    OUTSIDE_PICTURE = 1
    FROM_BELOW = 2
    HIDDEN = 3
    SMALL = 4
    SEEN = 5


Views = NDArray[np.int64]
"""Members of `View`, (n,)."""


def views(
    vehicle: Vehicle,
    pose: Pose,
    lens: Lens,
    places_m: Array,
    *,
    half_field_rad: float = np.inf,
    sizes_px: Array | None = None,
    least_px: float = SETTINGS.least_size_px,
) -> Views:
    """What becomes of points in the picture of a camera at `pose` (camera from ground), (n,).

    `places_m` (n, 2) on the ground or (n, 3) in ground coordinates, m; or (n, k, 3), k places of
    each thing, its middle first: it is hidden where the body hides any of them. The lens ends
    where its polynomial turns over, or at `half_field_rad` from its axis where that is less. With
    `sizes_px` (n,) the things are marks, which face up; NaN counts as small.
    """
    places = np.asarray(places_m, dtype=np.float64)
    places = places if places.ndim == 3 else places[:, None]
    if places.shape[-1] == 2:
        places = np.concatenate([places, np.zeros((*places.shape[:2], 1))], axis=-1)
    rays = pose.transform(places[:, 0])
    pixels = lens.project(rays)
    lit: Flags = np.asarray(np.isfinite(pixels).all(axis=1))
    if np.isfinite(half_field_rad):
        off_axis = np.arctan2(np.hypot(rays[:, 0], rays[:, 1]), rays[:, 2])
        lit[off_axis > half_field_rad] = False
    found = np.where(lit, View.OUTSIDE_PICTURE, View.OUTSIDE_LENS).astype(np.int64)
    camera_m = pose.camera_in_ground_m
    inside = np.flatnonzero(lit & lens.contains(pixels))
    hides = body_hides(vehicle, camera_m, places[inside].reshape(-1, 3))
    anywhere = hides.reshape(len(inside), places.shape[1]).any(axis=1)
    found[inside] = np.where(anywhere, View.HIDDEN, View.SEEN)
    if sizes_px is not None:
        found[(found == View.SEEN) & ~(sizes_px >= least_px)] = View.SMALL
        found[inside[places[inside, 0, 2] >= camera_m[2]]] = View.FROM_BELOW
    return found


def sees(vehicle: Vehicle, pose: Pose, lens: Lens, places_m: Array) -> Flags:
    """Whether a camera shows points (n, 2) on the ground, or (n, 3); see `views`."""
    return np.asarray(views(vehicle, pose, lens, places_m) == View.SEEN)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarksInPicture:
    """Marks as one camera shows them: pixels (n, 2), sizes (n,) and what becomes of them (n,).

    Pixels and sizes are NaN outside the lens. A size is the shorter of a mark's extents along and
    across its strip; of a mark that is narrower than `narrow_px` between them, that width.
    """

    pixels_px: Array
    sizes_px: Array
    views: Views


def marks_in_picture(
    vehicle: Vehicle,
    pose: Pose,
    lens: Lens,
    marks: Sequence[PlannedMark],
    *,
    half_field_rad: float = np.inf,
    least_px: float = SETTINGS.least_size_px,
) -> MarksInPicture:
    """Look at whole marks: hidden is one of which the body hides the middle or an end."""
    pixels, slopes = d_pixel_d_mark(pose, lens, marks)
    reach_px = slopes * np.array([each.shape.half_extent_m for each in marks]).reshape(-1, 1, 2)
    sizes = 2 * np.linalg.norm(reach_px, axis=1).min(axis=1)
    narrowest = narrowest_px(reach_px)
    whole = np.array([not each.is_corner for each in marks], dtype=bool)
    sizes = np.where(whole & (narrowest < SETTINGS.narrow_px), narrowest, sizes)
    found = views(
        vehicle,
        pose,
        lens,
        ends_m(marks),
        half_field_rad=half_field_rad,
        sizes_px=sizes,
        least_px=least_px,
    )
    return MarksInPicture(pixels_px=pixels, sizes_px=sizes, views=found)


def narrowest_px(reach_px: Array) -> Array:
    """Narrowest width (n,) of marks that reach so far to either side in the picture (n, 2, 2).

    Less than the shorter of the two lines: a flat view of a cross from its corner shows two long
    lines that lie nearly on each other. NaN outside the lens.
    """
    narrowest = np.full(len(reach_px), np.nan)
    seen = np.isfinite(reach_px).all(axis=(1, 2))
    narrowest[seen] = 2 * np.linalg.svd(reach_px[seen], compute_uv=False)[:, -1]
    return narrowest


def axes_of(marks: Sequence[PlannedMark]) -> Array:
    """Columns (n, 3, 2): the ground directions along marks and to their left."""
    headings = np.array([mark.heading_rad for mark in marks])
    cos, sin, zero = np.cos(headings), np.sin(headings), np.zeros_like(headings)
    return np.stack([np.stack([cos, sin, zero], -1), np.stack([-sin, cos, zero], -1)], axis=-1)


def ends_m(marks: Sequence[PlannedMark]) -> Array:
    """Middle and the four ends of marks in ground coordinates, m (n, 5, 3)."""
    half = np.array([mark.shape.half_extent_m for mark in marks]).reshape(-1, 1, 2)
    local = np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1)]) * half
    centres = np.array([mark.centre_m for mark in marks]).reshape(-1, 1, 3)
    return np.asarray(centres + local @ np.swapaxes(axes_of(marks), 1, 2))


def d_pixel_d_mark(pose: Pose, lens: Lens, marks: Sequence[PlannedMark]) -> tuple[Array, Array]:
    """Where marks fall, (n, 2), and the derivative of that by (s, q), (n, 2, 2), px per m."""
    centres = np.array([mark.centre_m for mark in marks]).reshape(-1, 3)
    pixels, d_point, _ = lens.project_with_derivatives(pose.transform(centres))
    return pixels, d_point @ (pose.R @ axes_of(marks))

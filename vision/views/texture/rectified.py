"""The ground along a seam as each view draws it: what takes part, equally sharp, shading out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.adjustment.adjusted import AdjustedStrip
from vision.adjustment.plan_fit import PlanFit
from vision.job.body import body_hides
from vision.job.job import Job
from vision.units.arrays import Array, Flags
from vision.views.ground import GroundMap
from vision.views.seams.gaps import SeamGap
from vision.views.settings import SETTINGS

TUNED = SETTINGS.texture


Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band:
    """Ground along a seam: `points_m` (rows, columns, 2), rows to its left and columns outward."""

    points_m: Array
    out_m: Array
    basis: Array
    along: Array
    left: Array
    middle_m: Array


def rectified(pixels: NDArray[np.uint8], view: GroundMap, points_m: Array) -> tuple[
    NDArray[np.uint8], Flags
]:  # fmt: skip
    """What a picture shows at ground points (rows, columns, 2), and where it shows anything.

    Bilinear; (rows, columns, channels) as `pixels`. Pixels outside the picture repeat its edge.
    """
    places = view.pixel_from_ground(points_m)
    shown = np.asarray(view.lens.contains(places))
    maps = np.where(shown[..., None], places, 0.0).astype(np.float32)
    taken = cv2.remap(
        np.ascontiguousarray(pixels),
        maps[..., 0],
        maps[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(taken, dtype=np.uint8), shown


def band_of(gap: SeamGap) -> Band:
    """The ground along a seam, or along as much of it from its near end as matters."""
    whole = float(np.linalg.norm(gap.end_m - gap.start_m))
    along = (gap.end_m - gap.start_m) / whole
    left = np.array([-along[1], along[0]])
    used = min(whole, TUNED.longest_m)
    steps = round(max(used, TUNED.shortest_m) / TUNED.step_m)
    out: Array = np.linspace(-steps / 2, steps / 2, steps + 1) * TUNED.step_m
    half = round(TUNED.half_width_m / TUNED.step_m)
    aside = np.arange(half, -half - 1, -1) * TUNED.step_m
    middle = gap.start_m + along * used / 2
    points = middle + out[None, :, None] * along + aside[:, None, None] * left
    t, q = np.broadcast_arrays(out[None, :], -aside[:, None])
    basis = np.stack([np.ones_like(t), t, q, t * t / 2, t * q, q * q / 2], axis=-1)
    return Band(points_m=points, out_m=out, basis=basis, along=along, left=left, middle_m=middle)


def grey_of(bgr: NDArray[np.uint8]) -> Floats:
    """Luma (rows, columns) of a drawing in blue, green, red."""
    return np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), dtype=np.float32)


def unfit(job: Job, laid: Sequence[AdjustedStrip], fit: PlanFit, band: Band) -> Flags:
    """Ground that must not take part: under tape and marks, hidden, or behind what stands up.

    Tape lies where it is planned, and where it was found: a view draws it near the one or the
    other, by how far its fit follows a strip that lies wrong.
    """
    shape = band.points_m.shape[:2]
    points = band.points_m.reshape(-1, 2)
    place = fit.pose.camera_in_ground_m
    hidden = body_hides(job.vehicle, place, points, margin_m=TUNED.body_margin_m)
    found = {strip.name: strip.ends_m for strip in laid if strip.seen}
    for strip in job.strips:
        planned = np.stack([strip.from_m, strip.to_m])
        for ends in (planned, found.get(strip.name, planned)):
            hidden |= _under_tape(points, ends, strip.tape_width_m / 2 + TUNED.tape_margin_m)
    for mark in job.marks:
        hidden |= _shadowed(points, place, mark.at_m)
    return hidden.reshape(shape)


def _under_tape(points: Array, ends_m: Array, half_m: float) -> Flags:
    """Points (n, 2) within `half_m` of the line through a strip's first and last mark (2, 2)."""
    length = float(np.linalg.norm(ends_m[1] - ends_m[0]))
    heading = (ends_m[1] - ends_m[0]) / length
    along = (points - ends_m[0]) @ heading
    aside = (points - ends_m[0]) @ np.array([-heading[1], heading[0]])
    inside = (along > -TUNED.tape_beyond_m) & (along < length + TUNED.tape_beyond_m)
    return np.asarray(inside & (np.abs(aside) < half_m))


def _shadowed(points: Array, camera_m: Array, mark_m: Array) -> Flags:
    """Ground that a column under a raised mark hides from a camera, with the column's own foot."""
    foot = mark_m[:2]
    top = foot
    if 0 < mark_m[2] < camera_m[2]:
        away = (foot - camera_m[:2]) * camera_m[2] / (camera_m[2] - mark_m[2])
        top = camera_m[:2] + away
    line = top - foot
    length2 = float(line @ line)
    share = (
        np.clip((points - foot) @ line / length2, 0, 1) if length2 > 0 else np.zeros(len(points))
    )
    nearest = foot + share[:, None] * line
    return np.asarray(np.linalg.norm(points - nearest, axis=1) < TUNED.raised_half_m)


def blur_m2(view: GroundMap, band: Band) -> Array:
    """Covariance (2, 2) of a view's blur on the ground at the band's middle, in grid axes, m^2.

    NaN where the view does not reach that ground.
    """
    pixel = view.pixel_from_ground(band.middle_m)
    slope = view.d_ground_d_pixel(pixel)
    axes = np.stack([band.along, -band.left])
    return np.asarray(axes @ slope @ slope.T @ axes.T * TUNED.blur_px**2)


def high_passed(field: Floats, mask: Flags, blur_m2: Array) -> Floats:
    """Blur a drawing as much as the other view is, take out its shading; 0 where masked.

    Blurred by each other's blur both drawings end equally sharp; masked ground takes no part.
    """
    weight = mask.astype(np.float32)
    fine = _smoothed(field, weight, _kernel(blur_m2))
    side = round(TUNED.high_pass_m / TUNED.step_m)
    broad = _smoothed(field, weight, _kernel(blur_m2 + np.eye(2) * (side * TUNED.step_m) ** 2))
    return np.asarray(np.where(mask, fine - broad, 0.0), dtype=np.float32)


def inside(mask: Flags) -> Flags:
    """Ground far enough from what is masked that the blur there is the same in every direction."""
    side = 2 * round(TUNED.edge_m / TUNED.step_m) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    return np.asarray(cv2.erode(mask.astype(np.uint8), kernel, borderValue=0), dtype=bool)


def _smoothed(field: Floats, weight: Floats, kernel: Floats) -> Floats:
    above = cv2.filter2D(field * weight, cv2.CV_32F, kernel, borderType=cv2.BORDER_CONSTANT)
    below = cv2.filter2D(weight, cv2.CV_32F, kernel, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(above / np.maximum(below, 1e-6), dtype=np.float32)


def _kernel(covariance_m2: Array) -> Floats:
    """Gaussian of a covariance (2, 2) on the grid, three sigmas each way."""
    covariance = covariance_m2 / TUNED.step_m**2 + np.eye(2) * 1e-3
    reach = int(np.ceil(3 * np.sqrt(np.linalg.eigvalsh(covariance)[-1])))
    u, v = np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1))
    places = np.stack([u, v], axis=-1)
    exponent = np.einsum("...i,ij,...j->...", places, np.linalg.inv(covariance), places)
    kernel = np.exp(-0.5 * exponent)
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)

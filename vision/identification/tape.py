"""Whether tape lies where a pose puts it, half-way between the marks of each strip."""

from __future__ import annotations

import cv2
import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.identification.inputs import IdentificationInput
from vision.identification.settings import SETTINGS
from vision.job.layout import PlannedMark
from vision.units.arrays import Array

TUNED = SETTINGS.odds

_ALONG = np.array([-0.12, 0.0, 0.12])
"""Places looked at, in shares of the way between two marks."""
_ACROSS = np.array([-2.0, -1.6, -0.4, 0.0, 0.4, 1.6, 2.0])
"""And in half widths of the tape: ground, tape, ground."""


def tape_steps(given: IdentificationInput, pose: Pose, lens: Lens) -> tuple[Array, Array]:
    """Step of the logarithm of grey from the ground to the tape, and how surely it is seen (m,).

    One for each two neighbouring marks of a strip; the lesser step of both sides, turned round
    where the tape is darker than its marks' ink. NaN where there is no tape to see.
    """
    pairs = [
        (a, b, free)
        for a, b, free in zip(
            given.marks[:-1], given.marks[1:], given.clear[:-1] & given.clear[1:], strict=True
        )
        if a.strip is not None and a.strip == b.strip and b.index == a.index + 1 and free
    ]
    pairs = [pair for pair in pairs if pair[0].tape_width_m and _gap_m(*pair[:2]) > 0]
    if not pairs:
        return np.zeros(0), np.zeros(0)
    points = np.array([_points(a, b) for a, b, _ in pairs])
    pixels = lens.project(pose.transform(points))
    with np.errstate(invalid="ignore"):
        width_px = np.linalg.norm(pixels[:, 1, 4] - pixels[:, 1, 2], axis=-1) / 0.4
        inside = lens.contains(pixels).all(axis=(1, 2))
    low, high = TUNED.tape_seen_px
    weight = np.where(inside, np.clip((width_px - low) / (high - low), 0.0, 1.0), 0.0)
    u, v = np.moveaxis(np.nan_to_num(pixels, nan=-9.0).astype(np.float32), -1, 0)
    u, v = (each.reshape(len(pairs), -1) for each in (u, v))
    seen = cv2.remap(given.picture.edges.logarithm, u, v, cv2.INTER_LINEAR)
    levels = seen.reshape(pixels.shape[:3]).astype(np.float64)
    sides, tape = levels[..., [0, 1, 5, 6]], levels[..., 2:5]
    sign = np.array([1.0 if a.ink == "dark" else -1.0 for a, _, _ in pairs])
    step = sign[:, None] * np.stack(
        [
            np.median(tape, axis=(1, 2)) - np.median(each, axis=(1, 2))
            for each in (sides[..., :2], sides[..., 2:])
        ],
        axis=1,
    )
    return step.min(axis=1), weight


def _gap_m(a: PlannedMark, b: PlannedMark) -> float:
    """Bare tape between two marks."""
    reach = a.shape.half_extent_m[0] + b.shape.half_extent_m[0]
    return float(np.linalg.norm(b.centre_m - a.centre_m)) - 1.3 * reach


def _points(a: PlannedMark, b: PlannedMark) -> Array:
    """Where to look between two marks, (3, 7, 3) in ground metres."""
    way = b.centre_m - a.centre_m
    along = way / np.linalg.norm(way)
    across = np.array([-along[1], along[0], 0.0]) * 0.5 * float(a.tape_width_m or 0.0)
    middle = 0.5 * (a.centre_m + b.centre_m)
    return np.asarray(middle + _ALONG[:, None, None] * way + _ACROSS[None, :, None] * across)

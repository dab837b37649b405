"""The pictures of the page: as JPEG in the page itself, whole or only the ground by the layout."""

from __future__ import annotations

import base64
from typing import Literal

import cv2
import numpy as np

from vision.inspection.inspected import InspectedCamera
from vision.job.job import Job
from vision.job.layout import planned_layout
from vision.marks.picture import Pixels, encoded
from vision.units.arrays import Array, Flags
from vision.views.ground import GroundMap

Shown = Literal["whole", "cropped", "none"]
"""How much of the pictures a page shows; cropped leaves the ground round the layout only."""

WIDEST_PX, SMALL_PX = 1280, 560
JPEG_QUALITY, SMALL_QUALITY = 80, 74
CROP_MARGIN_M = 1.0
CROP_STEP_PX = 8
CROPPED_GREY = 128


def uri(data: bytes, kind: str) -> str:
    """A data address, which a page can show without a network."""
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


def jpeg_uri(bgr: Pixels, widest_px: int = WIDEST_PX, quality: int = JPEG_QUALITY) -> str:
    """A picture as JPEG, at most `widest_px` wide."""
    height, width = bgr.shape[:2]
    if width > widest_px:
        size = (widest_px, max(1, round(height * widest_px / width)))
        bgr = np.asarray(cv2.resize(bgr, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return uri(encoded(bgr, ".jpg", quality), "image/jpeg")


def delivered(job: Job, found: InspectedCamera, shown: Shown) -> Pixels | None:
    """A camera's picture as delivered; None where the page must not show it.

    Cropped, everything but the ground within `CROP_MARGIN_M` of the layout is grey; where the
    ground is not known, for lack of a fit, nothing may be shown.
    """
    picture = found.picture
    bgr = picture.bgr
    if shown == "none":
        return None
    if shown == "cropped":
        if found.plan_fit is None or found.ray_from_ground is None:
            return None
        view = GroundMap(ray_from_ground=found.ray_from_ground, lens=found.plan_fit.lens)
        bgr = np.where(_ground_shown(job, view)[..., None], bgr, np.uint8(CROPPED_GREY))
    return turned(bgr, picture.mirrored)


def turned(bgr: Pixels, mirrored: bool) -> Pixels:
    """Pixels of a picture turned back as they were delivered."""
    return np.ascontiguousarray(bgr[:, ::-1] if mirrored else bgr)


def near_layout(job: Job, points_m: Array) -> Flags:
    """Which ground points (..., 2) a cropped page may show."""
    places = planned_layout(job).centres_m[:, :2]
    low, high = places.min(axis=0) - CROP_MARGIN_M, places.max(axis=0) + CROP_MARGIN_M
    with np.errstate(invalid="ignore"):
        return np.asarray(((points_m >= low) & (points_m <= high)).all(axis=-1))


def _ground_shown(job: Job, view: GroundMap) -> Flags:
    """Which pixels show ground near the layout, decided block by block."""
    height, width = view.lens.height, view.lens.width
    u, v = np.meshgrid(
        np.arange(CROP_STEP_PX / 2, width + CROP_STEP_PX / 2, CROP_STEP_PX) - 0.5,
        np.arange(CROP_STEP_PX / 2, height + CROP_STEP_PX / 2, CROP_STEP_PX) - 0.5,
    )
    inside = near_layout(job, view.ground_from_pixel(np.stack([u, v], axis=-1)))
    blocks = np.repeat(np.repeat(inside, CROP_STEP_PX, axis=0), CROP_STEP_PX, axis=1)
    return np.asarray(blocks[:height, :width])

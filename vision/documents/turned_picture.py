"""The picture that a turned camera would take: what it shows now, seen through the turned pose.

A turn about the lens moves every ray with it, so the picture follows exactly from the present one,
whatever stands where; only what lies outside the present picture is unknown, and hatched.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.adjustment.adjusted import AdjustedCamera
from vision.camera.geometry import Pose
from vision.marks.picture import Picture

QUALITY = 88
HATCH, HATCH_LINE = (150, 150, 150), (118, 118, 118)


def turned_picture(picture: Picture, camera: AdjustedCamera, after: Pose) -> NDArray[np.uint8]:
    """What the camera would show at the pose `after`, as delivered: (height, width, 3), BGR.

    The place of `after` is taken to be the present one.
    """
    lens = camera.lens
    v, u = np.mgrid[: picture.height, : picture.width].astype(np.float64)
    rays = lens.unproject(np.stack([u, v], axis=-1))
    pixels = lens.project(rays @ (camera.pose.R @ after.R.T).T)
    shown = lens.contains(pixels)
    maps = np.where(shown[..., None], pixels, 0.0).astype(np.float32)
    bgr = np.ascontiguousarray(picture.bgr)
    taken = cv2.remap(bgr, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR)
    diagonal = np.add.outer(np.arange(picture.height), np.arange(picture.width)) % 24 < 4
    hatch = np.where(diagonal[..., None], HATCH_LINE, HATCH)
    drawn = np.where(shown[..., None], taken, hatch).astype(np.uint8)
    return drawn[:, ::-1] if picture.mirrored else drawn


def as_jpeg(bgr: NDArray[np.uint8]) -> bytes:
    """The picture as a JPEG file's bytes."""
    done, encoded = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    if not done:
        raise RuntimeError("OpenCV could not encode a picture")
    return encoded.tobytes()

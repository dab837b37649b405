"""The picture that a turned camera would take: what it shows now, seen through the turned pose.

A turn about the lens moves every ray with it, so the picture follows exactly from the present one,
whatever stands where; only what lies outside the present picture is unknown, and hatched.
"""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.adjustment.adjusted import AdjustedCamera
from vision.camera.geometry import Pose
from vision.inspection.inspected import Inspection
from vision.inspection.whatif.change import Change
from vision.marks.picture import Picture, encoded

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


def turned_pictures(inspection: Inspection, changes: Iterable[Change]) -> dict[str, bytes]:
    """The picture of each camera that a change turns, as JPEG, by its file's name."""
    found: dict[str, bytes] = {}
    for change in changes:
        for number, each in enumerate(inspection.cameras, start=1):
            name = each.camera.name
            if name in change.turns_rad and each.adjusted is not None:
                after = change.pose(name, each.adjusted.pose)
                drawn = turned_picture(each.picture, each.adjusted, after)
                # Two names may become one file's: the number keeps them apart.
                plain = "".join(c if c.isalnum() or c in "-_" else "_" for c in name)
                found[f"{number}-{plain}-turned.jpg"] = encoded(drawn, ".jpg", QUALITY)
    return found

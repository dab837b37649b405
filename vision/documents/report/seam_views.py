"""Each seam as either camera draws it, and both drawings over one another in two colours.

The colours, a blue and its orange complement, are told apart by everybody: what both views show in
the same place is grey, what they show apart has an orange rim on one side and a blue one on the
other. A pixel is half a centimetre, so that two of them show.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.documents.ground_picture import drawn_on
from vision.documents.report.pictures import Shown, jpeg_uri, near_layout
from vision.documents.top_view import Grid
from vision.inspection.inspected import InspectedCamera, InspectedSeam, Inspection
from vision.marks.picture import Pixels
from vision.units.arrays import Array
from vision.views.ground import GroundMap
from vision.views.seams.gaps import SeamGap

SCALE_M, MARGIN_M, LARGEST_M = 0.005, 0.4, 3.6
QUALITY = 74
MIDDLE = 128
"""Grey of what a view does not show."""
AROUND_M = 0.4
"""Twice as wide as any tape: shadows and slopes of light go, tape and ink stay."""
FEWER = 8
LEAST_LEVELS, CONTRAST = 4.0, 55.0
"""Even ground is not stretched to a pattern; one standard deviation is drawn in so many levels."""


def seam_views(inspection: Inspection, seam: InspectedSeam, shown: Shown) -> list[dict[str, Any]]:
    """The pictures of one seam with their names; none where a view lacks a fit or is not shown."""
    cameras = {each.camera.name: each for each in inspection.cameras}
    pair = [cameras[name] for name in seam.between]
    if shown == "none" or seam.gap is None:
        return []
    grid = _grid(seam.gap)
    drawn = [_drawn(camera, grid) for camera in pair]
    if any(each is None for each in drawn):
        return []
    first, second = (each for each in drawn if each is not None)
    if shown == "cropped":
        outside = ~near_layout(inspection.job, grid.points_m())
        first[outside] = second[outside] = MIDDLE
    names = (*(f"as {name} draws it" for name in seam.between), "both over one another")
    pictures = (first, second, _two_colours(first, second))
    return [
        {
            "short": short,
            "name": name,
            "uri": jpeg_uri(_with_line(picture, seam.gap, grid), quality=QUALITY),
        }
        for short, name, picture in zip((*seam.between, "both"), names, pictures, strict=True)
    ]


def _grid(gap: SeamGap) -> Grid:
    """Ground round a seam, front up, as in the top view."""
    ends = np.stack([gap.start_m, gap.end_m])
    low, high = ends.min(axis=0) - MARGIN_M, ends.max(axis=0) + MARGIN_M
    scale = max(SCALE_M, float((high - low).max()) / (LARGEST_M / SCALE_M))
    rows, columns = (max(1, round(float(each) / scale)) for each in high - low)
    return Grid(
        top_x_m=float(high[0]),
        left_y_m=float(high[1]),
        scale_m=scale,
        rows=rows,
        columns=columns,
    )


def _drawn(camera: InspectedCamera, grid: Grid) -> Pixels | None:
    if camera.plan_fit is None or camera.ray_from_ground is None:
        return None
    view = GroundMap(ray_from_ground=camera.ray_from_ground, lens=camera.plan_fit.lens)
    taken, inside = drawn_on(camera.picture.bgr, view, grid.points_m(), grid.scale_m)
    return np.where(inside[..., None], taken, np.uint8(MIDDLE))


def _two_colours(first: Pixels, second: Pixels) -> Pixels:
    """The first view's light in orange and the second's in blue; grey where both are the same."""
    a, b = (_evened(cv2.cvtColor(each, cv2.COLOR_BGR2GRAY)) for each in (first, second))
    # Blue, green, red: the first lights red and half of green, the second blue and the other half.
    return np.stack([b, (a + b) / 2, a], axis=-1).astype(np.uint8)


def _evened(grey: NDArray[Any]) -> NDArray[np.float32]:
    """Levels against those around, to one contrast: light and exposure are not to colour a view."""
    levels = grey.astype(np.float32)
    apart = levels - _around(levels)
    spread = max(float(np.std(apart)), LEAST_LEVELS)
    return np.asarray(np.clip(MIDDLE + CONTRAST / spread * apart, 0, 255))


def _around(levels: NDArray[np.float32]) -> NDArray[np.float32]:
    """Smoothed over `AROUND_M`: on fewer pixels, which so wide a kernel does not miss."""
    height, width = levels.shape
    size = (max(1, width // FEWER), max(1, height // FEWER))
    few = cv2.resize(levels, size, interpolation=cv2.INTER_AREA)
    smooth = cv2.GaussianBlur(few, (0, 0), AROUND_M / SCALE_M / FEWER)
    return np.asarray(cv2.resize(smooth, (width, height)), dtype=np.float32)


def _with_line(picture: Pixels, gap: SeamGap, grid: Grid) -> Pixels:
    """A dashed line where the seam runs."""
    marked = np.ascontiguousarray(picture.copy())
    begin, end = grid.pixel_px(gap.start_m), grid.pixel_px(gap.end_m)
    for share in np.arange(0, 1, 0.1):
        first, second = begin + share * (end - begin), begin + (share + 0.05) * (end - begin)
        for colour, width in (((0, 0, 0), 3), ((255, 255, 255), 1)):
            cv2.line(marked, _whole(first), _whole(second), colour, width, cv2.LINE_AA)
    return marked


def _whole(pixel: Array) -> tuple[int, int]:
    return round(float(pixel[0])), round(float(pixel[1]))

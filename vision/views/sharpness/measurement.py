"""From a picture, and the marks in it where they are known, to the figures of its sharpness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.identification.identified import Identified
from vision.job.layout import Layout
from vision.marks.picture import Picture
from vision.units.arrays import Array
from vision.views.settings import SETTINGS
from vision.views.sharpness.blur import WAYS, Blur, MarksBlur, Sharpness, Side
from vision.views.sharpness.blur_map import fit_blur_map
from vision.views.sharpness.drops import find_soft_patches
from vision.views.sharpness.edges import measure_edges
from vision.views.sharpness.light import measure_light
from vision.views.sharpness.mark_blurs import MarkBlur, mark_blurs

TUNED = SETTINGS.sharpness


def measure_sharpness(
    picture: Picture, layout: Layout, seen: Identified | None = None, pixel_aspect: float = 1.0
) -> Sharpness:
    """Sharpness of a picture: from its edges alone, and from its marks where they are known.

    Blurs of edges are in columns, as if each pixel were square; `pixel_aspect` is its width over
    its height. Where odd rows were drawn from even ones, only the even ones are looked at.
    """
    row_px = 2 if picture.rows == "even" else 1
    light = measure_light(picture.grey)
    edges = measure_edges(picture.grey[::row_px], light if row_px == 1 else None)
    edges = edges.in_square_px(pixel_aspect / row_px, row_px)
    fitted = fit_blur_map(edges, picture.width, picture.height)
    bare = Sharpness(width=picture.width, light=light, edges=len(edges))
    if fitted is None:
        return bare
    least, mean, most = (fitted.blur(edges.pixels_px, way) for way in (-1.0, 0.0, 1.0))
    marks, patches = None, None
    if seen is not None:
        own = mark_blurs(picture.grey, layout, seen, mean.blur_px)
        marks = _marks_blur([mark for mark in own if mark.found], picture)
        patches = find_soft_patches(own, fitted)
    if patches is not None:
        places = [picture.as_delivered(each.pixel_px) for each in patches]
        patches = tuple(replace(p, pixel_px=at) for p, at in zip(patches, places, strict=True))
    middle, motion = _middle(picture), fitted.motion
    turned = np.array([-1.0 if picture.mirrored else 1.0, 1.0])
    return replace(
        bare,
        blur=mean,
        least=least,
        most=most,
        sides={
            side: fitted.blur(middle + TUNED.sides_at * turned * way * middle)
            for side, way in WAYS.items()
        },
        motion=replace(motion, direction_rad=turned[0] * motion.direction_rad),
        marks=marks,
        patches=patches,
    )


def _middle(picture: Picture) -> Array:
    return np.array([picture.width - 1, picture.height - 1]) / 2


def _marks_blur(found: Sequence[MarkBlur], picture: Picture) -> MarksBlur | None:
    if not found:
        return None
    blur = np.array([mark.blur_px for mark in found])
    middle = _middle(picture)
    away = picture.as_delivered(np.array([mark.pixel_px for mark in found])) / middle - 1
    sides: dict[Side, float | None] = {}
    for side, way in WAYS.items():
        there = away @ np.array(way) > TUNED.side_from
        enough = there.sum() >= TUNED.least_side_marks
        sides[side] = float(np.median(blur[there])) if enough else None
    return MarksBlur(median=_median(blur), sides=sides)


def _median(values: Array) -> Blur:
    """Median with the standard error that its robust spread gives; a lone one's is a tenth."""
    median = float(np.median(values))
    spread = 1.4826 * float(np.median(np.abs(values - median)))
    sigma = 1.2533 * spread / np.sqrt(len(values)) if len(values) > 2 else 0.1 * median
    return Blur(blur_px=median, sigma_px=float(max(sigma, 0.02 * median)))

"""From a picture, and the marks in it where they are known, to the figures of its sharpness."""

from __future__ import annotations

import dataclasses

import numpy as np

from vision.identification.identified import Identified
from vision.job.layout import Layout
from vision.marks.picture import Picture
from vision.units.arrays import Array
from vision.views.settings import SETTINGS
from vision.views.sharpness.blur import SIDES, Blur, MarksBlur, Motion, Sharpness, Side
from vision.views.sharpness.blur_map import BlurMap, fit_blur_map
from vision.views.sharpness.drops import SoftPatch, find_soft_patches
from vision.views.sharpness.edges import measure_edges
from vision.views.sharpness.light import measure_light
from vision.views.sharpness.mark_blurs import MarkBlurs, mark_blurs

TUNED = SETTINGS.sharpness


WAYS: dict[Side, tuple[float, float]] = {
    "left": (-1.0, 0.0),
    "right": (1.0, 0.0),
    "upper": (0.0, -1.0),
    "lower": (0.0, 1.0),
}


def measure_sharpness(
    picture: Picture, layout: Layout, seen: Identified | None = None
) -> Sharpness:
    """Sharpness of a picture: from its edges alone, and from its marks where they are known."""
    edges = measure_edges(picture.grey)
    fitted = fit_blur_map(edges, picture.width, picture.height)
    bare = Sharpness(width=picture.width, light=measure_light(picture.grey), edges=len(edges))
    if fitted is None:
        return bare
    places = edges.pixels_px
    mean, least, most = (
        Blur(blur_px=blur, sigma_px=sigma)
        for blur, sigma in (
            fitted.blur_px(places),
            fitted.least_blur_px(places),
            fitted.most_blur_px(places),
        )
    )
    marks, patches = None, None
    if seen is not None:
        own = mark_blurs(picture.grey, layout, seen, mean.blur_px)
        marks = _marks_blur(own, picture)
        patches = _delivered(find_soft_patches(own, fitted), picture)
    return dataclasses.replace(
        bare,
        blur=mean,
        least=least,
        most=most,
        sides=_sides(fitted, picture.mirrored),
        motion=_motion(fitted, picture.mirrored),
        marks=marks,
        patches=patches,
    )


def _sides(fitted: BlurMap, mirrored: bool) -> dict[Side, Blur]:
    middle = np.array([fitted.width - 1, fitted.height - 1]) / 2
    sides: dict[Side, Blur] = {}
    for side, way in WAYS.items():
        turned = np.array([-way[0] if mirrored else way[0], way[1]])
        blur, sigma = fitted.blur_px(middle + TUNED.sides_at * turned * middle)
        sides[side] = Blur(blur_px=blur, sigma_px=sigma)
    return sides


def _motion(fitted: BlurMap, mirrored: bool) -> Motion:
    length, sigma = fitted.motion_px
    direction, direction_sigma = fitted.motion_direction_rad
    return Motion(
        length_px=length,
        sigma_px=sigma,
        direction_rad=-direction if mirrored else direction,
        direction_sigma_rad=direction_sigma,
    )


def _marks_blur(marks: MarkBlurs, picture: Picture) -> MarksBlur | None:
    found = np.asarray(marks.found)
    if not found.any():
        return None
    blur = marks.blur_px[found]
    middle = np.array([picture.width - 1, picture.height - 1]) / 2
    away = (picture.as_delivered(marks.pixels_px[found]) - middle) / middle
    sides: dict[Side, float | None] = {}
    for side in SIDES:
        there = away @ np.array(WAYS[side]) > TUNED.side_from
        enough = there.sum() >= TUNED.least_side_marks
        sides[side] = float(np.median(blur[there])) if enough else None
    return MarksBlur(median=_median(blur), sides=sides)


def _median(values: Array) -> Blur:
    """Median with the standard error that its robust spread gives; a lone one's is a tenth."""
    median = float(np.median(values))
    spread = 1.4826 * float(np.median(np.abs(values - median)))
    sigma = 1.2533 * spread / np.sqrt(len(values)) if len(values) > 2 else 0.1 * median
    return Blur(blur_px=median, sigma_px=float(max(sigma, 0.02 * median)))


def _delivered(
    patches: tuple[SoftPatch, ...] | None, picture: Picture
) -> tuple[SoftPatch, ...] | None:
    if patches is None:
        return None
    return tuple(
        dataclasses.replace(patch, pixel_px=picture.as_delivered(patch.pixel_px))
        for patch in patches
    )

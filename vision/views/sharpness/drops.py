"""Soft patches with clear surroundings: drops of water, dirt, a scratch on the cover glass.

A printed mark is sharp by its making, in both directions; one that is soft where the picture in
general is not has something before it on the glass. A penumbra or a far-off hedge cannot be taken
for it, and ground without a mark says nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.views.settings import SETTINGS
from vision.views.sharpness.blur import SoftPatch
from vision.views.sharpness.blur_map import BLUR_WIDTH_PX, BlurMap
from vision.views.sharpness.mark_blurs import MarkBlur

TUNED = SETTINGS.sharpness


def find_soft_patches(marks: Sequence[MarkBlur], blur_map: BlurMap) -> tuple[SoftPatch, ...] | None:
    """Soft patches, softest first; None where too few marks are clear to tell.

    A sharp edge across a mark, of the body or of somebody's shoe, speaks against a drop.
    """
    more = TUNED.soft_more_px * blur_map.width / BLUR_WIDTH_PX
    soft: list[MarkBlur] = []
    clear = 0
    for mark in marks:
        around = blur_map.blur(mark.pixel_px, 1.0)
        surely_around = around.blur_px + 2 * around.sigma_px
        if (
            mark.extent_px >= TUNED.least_extent_px
            and mark.surely_px > around.blur_px + more
            and mark.blur_px > TUNED.soft_ratio * surely_around
            and mark.sharpest_px > TUNED.crossed * mark.blur_px
        ):
            soft.append(mark)
        clear += mark.found and mark.blur_px < TUNED.clear_ratio * around.blur_px + 0.5
    if clear < TUNED.least_clear_marks or len(soft) > clear:
        return None
    if not soft:
        return ()
    places = np.array([mark.pixel_px for mark in soft])
    apart = np.linalg.norm(places[:, None] - places, axis=-1)
    patch = _connected(apart < TUNED.patch_reach * blur_map.width)
    groups = [[soft[i] for i in np.flatnonzero(patch == n)] for n in np.unique(patch)]
    return tuple(sorted(map(_patch, groups), key=lambda each: -each.blur_px))


def _connected(near: NDArray[np.bool_]) -> NDArray[np.intp]:
    """The least index (n,) that a chain of neighbours leads to; near (n, n), each to itself."""
    least = np.arange(len(near))
    while True:
        lower = np.where(near, least, len(near)).min(axis=1)
        if np.array_equal(lower, least):
            return least
        least = lower


def _patch(group: Sequence[MarkBlur]) -> SoftPatch:
    middle = np.mean([mark.pixel_px for mark in group], axis=0)
    reach = [float(np.hypot(*(mark.pixel_px - middle))) + mark.extent_px / 2 for mark in group]
    softest = max(group, key=lambda mark: mark.surely_px)
    return SoftPatch(
        pixel_px=middle,
        radius_px=max(reach),
        blur_px=softest.blur_px,
        sigma_px=softest.sigma_px,
        marks=tuple(mark.id for mark in group),
    )

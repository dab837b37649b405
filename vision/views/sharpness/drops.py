"""Soft patches with clear surroundings: drops of water, dirt, a scratch on the cover glass.

A printed mark is sharp by its making, in both directions; one that is soft where the picture in
general is not has something before it on the glass. A penumbra or a far-off hedge cannot be taken
for it, and ground without a mark says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.job.mark_id import MarkId
from vision.units.arrays import Array, freeze
from vision.units.plain import written
from vision.views.settings import SETTINGS
from vision.views.sharpness.blur_map import BLUR_WIDTH_PX, BlurMap
from vision.views.sharpness.mark_blurs import MarkBlurs

TUNED = SETTINGS.sharpness


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SoftPatch:
    """A soft patch: its middle (2,) and radius in px, its blur with sigma, and the marks in it."""

    pixel_px: Array = written(1, key="pixel")
    radius_px: float = written(1)
    blur_px: float = written(2)
    sigma_px: float = written(2)
    marks: tuple[MarkId, ...] = written()

    def __post_init__(self) -> None:
        freeze(self, pixel_px=(2,))


def find_soft_patches(marks: MarkBlurs, blur_map: BlurMap) -> tuple[SoftPatch, ...] | None:
    """Soft patches, softest first; None where too few marks are clear to tell.

    A sharp edge across a mark, of the body or of somebody's shoe, speaks against a drop.
    """
    if len(marks.ids) == 0:
        return None
    around = np.array([blur_map.most_blur_px(place) for place in marks.pixels_px])
    large = marks.extent_px >= TUNED.least_extent_px
    sure = marks.blur_px - 2 * marks.sigma_px
    more = TUNED.soft_more_px * blur_map.width / BLUR_WIDTH_PX
    surely_around = around[:, 0] + 2 * around[:, 1]
    soft = large & (sure > around[:, 0] + more) & (marks.blur_px > TUNED.soft_ratio * surely_around)
    soft &= marks.sharpest_px > TUNED.crossed * marks.blur_px
    clear = marks.found & (marks.blur_px < TUNED.clear_ratio * around[:, 0] + 0.5)
    if clear.sum() < TUNED.least_clear_marks or soft.sum() > clear.sum():
        return None
    left = [int(index) for index in np.flatnonzero(soft)]
    patches = []
    while left:
        group = [left.pop(0)]
        for member in group:
            gaps = [np.hypot(*(marks.pixels_px[i] - marks.pixels_px[member])) for i in left]
            near = [
                i
                for i, gap in zip(left, gaps, strict=True)
                if gap < TUNED.patch_reach * blur_map.width
            ]
            group += near
            left = [i for i in left if i not in near]
        patches.append(_patch(marks, group))
    return tuple(sorted(patches, key=lambda patch: -patch.blur_px))


def _patch(marks: MarkBlurs, group: list[int]) -> SoftPatch:
    places = marks.pixels_px[group]
    middle = places.mean(axis=0)
    reach = np.linalg.norm(places - middle, axis=1) + marks.extent_px[group] / 2
    softest = group[int(np.argmax(marks.blur_px[group] - 2 * marks.sigma_px[group]))]
    return SoftPatch(
        pixel_px=middle,
        radius_px=float(reach.max()),
        blur_px=float(marks.blur_px[softest]),
        sigma_px=float(marks.sigma_px[softest]),
        marks=tuple(marks.ids[i] for i in group),
    )

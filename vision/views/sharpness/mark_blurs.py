"""How blurred each mark is, the ones that were not found included.

A mark behind a drop is often not found at all: its lines are wiped out. Where the plan fit puts
it, it is drawn here with one blur after the other, and the blur that fits is a figure of the
picture at that place, if the soft drawing explains what is there and the sharp one does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import cv2
import numpy as np

from vision.identification.identified import Identified, Sighting
from vision.job.coverage import Blurred
from vision.job.layout import Layout, PlannedMark, points_of
from vision.job.mark_id import MarkId
from vision.job.visibility import d_pixel_d_mark
from vision.marks.measure.mark_fit import Measured
from vision.marks.measure.patches import Patches, cut_patches
from vision.units.arrays import Array, freeze
from vision.views.settings import SETTINGS

TUNED = SETTINGS.sharpness


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkBlur:
    """A mark at `pixel_px` (2,), its blur with sigma, and its shorter extent in the picture.

    `sharpest_px`: blur of the steepest edge on or beside it, at most; `found`: whether it was
    measured; else it was drawn where it should be.
    """

    id: MarkId
    pixel_px: Array
    blur_px: float
    sigma_px: float
    extent_px: float
    sharpest_px: float
    found: bool

    def __post_init__(self) -> None:
        freeze(self, pixel_px=(2,))

    @property
    def surely_px(self) -> float:
        """The blur that it surely has, by two sigma."""
        return self.blur_px - 2 * self.sigma_px


def mark_blurs(
    grey: np.ndarray, layout: Layout, seen: Identified, sharp_px: float
) -> tuple[MarkBlur, ...]:
    """Blurs of the marks of one picture (height, width), turned back.

    `sharp_px` is the blur of the picture in general, which a soft mark is compared with.
    """
    sightings = {sighting.id: sighting for sighting in seen.sightings}
    marks = [mark for mark in layout.marks if mark.shape.drawn]
    pixels, jacobians = d_pixel_d_mark(seen.fit.pose, seen.fit.lens, marks)
    extents = [_extent_px(mark, each) for mark, each in zip(marks, jacobians, strict=True)]
    # A carton's corner has no figure of its own here.
    used = [s.measured.noise for s in seen.sightings if s.status == "used" and s.measured]
    known = [each for each in used if np.isfinite(each)]
    noise = float(np.median(known)) if known else np.inf
    blurs: list[MarkBlur] = []

    def add(index: int, place: Array, blur: float, sigma: float, found: bool) -> None:
        blurs.append(
            MarkBlur(
                id=marks[index].id,
                pixel_px=place,
                blur_px=blur,
                sigma_px=sigma,
                extent_px=extents[index],
                sharpest_px=_sharpest_px(grey, place, extents[index]),
                found=found,
            )
        )

    missing: list[int] = []
    for index, mark in enumerate(marks):
        measured = _measured(mark, sightings, noise)
        if mark.shape.points and _softened(measured, sharp_px):
            measured = []
        if measured:
            place = np.median([m.pixel_px for m in measured], axis=0)
            blur, sigma = np.median([(m.blur_px, m.blur_sigma_px) for m in measured], axis=0)
            add(index, place, float(blur), max(float(sigma), 0.05 * float(blur)), True)
        elif extents[index] >= TUNED.least_extent_px and _due(mark, sightings):
            missing.append(index)
    patches = cut_patches(
        grey, seen.fit.pose, seen.fit.lens, [marks[i] for i in missing], pixels[missing]
    )
    for at, which in enumerate(patches.which):
        soft_px = _soft_px(patches.take(np.arange(len(patches.marks)) == at), sharp_px)
        if soft_px is not None:
            index = missing[which]
            add(index, pixels[index], soft_px, TUNED.step_share * soft_px, False)
    return tuple(blurs)


def _sharpest_px(grey: np.ndarray, place_px: Array, extent_px: float) -> float:
    """Blur that the steepest slope round a mark allows.

    A step s blurred by b is no steeper than s / (b sqrt(2 pi)).
    """
    half = int(np.ceil(0.6 * extent_px)) + 3
    u, v = (int(value) for value in np.round(place_px))
    box = grey[max(v - half, 0) : v + half + 1, max(u - half, 0) : u + half + 1]
    if min(box.shape) < 7:
        return 0.0
    smooth = cv2.GaussianBlur(np.asarray(box, dtype=np.float32), (0, 0), TUNED.smoothing_px)
    slope = np.hypot(*np.gradient(smooth))[1:-1, 1:-1]
    step = float(np.ptp(np.percentile(smooth, [2, 98])))
    apparent = step / (np.sqrt(2 * np.pi) * max(float(np.percentile(slope, 98)), 1e-6))
    return float(np.sqrt(max(apparent**2 - TUNED.smoothing_px**2, 0.0)))


def _extent_px(mark: PlannedMark, jacobian: Array) -> float:
    """Shorter extent of a mark in the picture; 0 where it cannot be had."""
    half = np.array(mark.shape.half_extent_m)
    sizes = 2 * np.linalg.norm(jacobian * half, axis=0)
    return float(sizes.min()) if np.isfinite(sizes).all() else 0.0


def _measured(
    mark: PlannedMark, sightings: Mapping[MarkId, Sighting], noise: float
) -> list[Measured]:
    """What was measured of a mark's points and looks like the mark.

    `noise` is what the drawings of used marks leave over. A mark behind a drop is drawn as well as
    they are; half a mark beside the body's edge is drawn soft, and leaves much more.
    """
    own = [sightings[point.id] for point in points_of(mark)]
    good = [s.measured for s in own if s.measured is not None]
    return [
        m
        for m in good
        if m.explained > TUNED.mark_explained
        and m.contrast > 3
        and m.noise < TUNED.most_noise * noise
    ]


def _softened(corners: list[Measured], sharp_px: float) -> bool:
    """Whether a board's corners look soft.

    They then run into one another, and only as a whole can the board be drawn.
    """
    return bool(corners) and float(np.median([m.blur_px for m in corners])) > 1.5 * sharp_px + 0.3


def _due(mark: PlannedMark, sightings: Mapping[MarkId, Sighting]) -> bool:
    """Whether a mark ought to be in the picture, with all of its points."""
    return all(sightings[p.id].status not in {"hidden", "outside"} for p in points_of(mark))


def _soft_px(patch: Patches, sharp_px: float) -> float | None:
    """The blur that explains one mark's patch, where a sharp drawing does not; else None."""
    every = max(1, len(patch.levels) // TUNED.most_pixels)
    levels = patch.levels[::every]
    spread = float(((levels - levels.mean()) ** 2).sum())
    inverse = np.linalg.inv(patch.d_pixel_d_mark[0])
    misfit: dict[float, float] = {}
    shifts_m = [inverse @ np.array(each) for each in product(TUNED.offsets_px, repeat=2)]
    for blur in (sharp_px, *(each for each in TUNED.tried_px if each > sharp_px)):
        misfit[blur] = min(_misfit(patch, every, shift_m, blur) for shift_m in shifts_m)
    best = min(misfit, key=lambda blur: misfit[blur])
    explained = 1 - misfit[best] / max(spread, 1e-9)
    if best == sharp_px or explained < TUNED.mark_explained:
        return None
    return best if misfit[sharp_px] > TUNED.softer_better * misfit[best] else None


def _misfit(patch: Patches, every: int, shift_m: Sequence[float] | Array, blur_px: float) -> float:
    """Sum of squares that ground, tape and ink at their best levels leave; inf where inverted."""
    mark = patch.marks[0]
    s, q = patch.s[::every] - shift_m[0], patch.q[::every] - shift_m[1]
    at = Blurred.under(s, q, patch.metric[0], blur_px, slopes=False)
    ink = mark.shape.ink(at).value
    tape = mark.shape.tape(mark.tape_width_m, at).value
    basis = np.stack([1 - tape, tape - ink, ink], axis=1)
    levels = patch.levels[::every]
    normal = basis.T @ basis + 1e-3 * np.eye(3)
    found = np.linalg.solve(normal, basis.T @ levels)
    contrast = found[1] - found[2] if mark.ink == "dark" else found[2] - found[1]
    if contrast <= 0:
        return float("inf")
    return float(((levels - basis @ found) ** 2).sum())

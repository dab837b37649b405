"""Pieces of a picture round each mark, every pixel with its place on the mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.job.layout import PlannedMark
from vision.job.visibility import d_pixel_d_mark
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array

TUNED = SETTINGS.measure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patches:
    """Pieces of one picture round m marks, their n pixels one mark after the other.

    `of` (n,) says whose a pixel is, `which` (m,) where each mark stands in the list that was asked
    for. `pixels` (n, 2) are whole numbers, `levels` (n,) what the picture has there and `middle`
    (m,) their mean, `s`, `q` (n,) the mark coordinates in metres. `d_pixel_d_mark` (m, 2, 2)
    holds at the marks' centres, `centre_px` (m, 2) is where s = q = 0.
    """

    marks: tuple[PlannedMark, ...]
    which: NDArray[np.intp]
    of: NDArray[np.intp]
    pixels: NDArray[np.intp]
    levels: Array
    middle: Array
    s: Array
    q: Array
    d_pixel_d_mark: Array
    centre_px: Array

    @property
    def metric(self) -> Array:
        """Scalar products (m, 2, 2) of the gradients of s and q in the picture, m^2 per px^2."""
        inverse = np.linalg.inv(self.d_pixel_d_mark)
        return np.asarray(inverse @ np.swapaxes(inverse, 1, 2))

    @property
    def spans(self) -> list[slice]:
        """Which pixels are each mark's."""
        return spans_of(self.of, len(self.marks))

    def at_pixels(self, values: Array) -> Array:
        """The marks' values (m, k) at each pixel, one row (n,) for each, as exact as the pixels."""
        counts = np.bincount(self.of, minlength=len(self.marks))
        return np.repeat(values.T.astype(self.s.dtype), counts, axis=1)

    def light(self) -> Patches:
        """The same with 24-bit numbers for pixels: far finer than their noise, and faster."""
        s, q, levels = (each.astype("float32") for each in (self.s, self.q, self.levels))
        return replace(self, s=s, q=q, levels=levels)

    def thinned(self, most: int) -> Patches:
        """Every other, or every third pixel ..., so that no mark has many more than `most`."""
        count = np.bincount(self.of, minlength=len(self.marks))
        stride = np.maximum(np.sqrt(count / most).astype(int), 1)
        on_grid = (self.pixels % stride[self.of, None] == 0).all(axis=1)
        return self.part(np.ones(len(self.marks), dtype=bool), on_grid)

    def take(self, keep: NDArray[np.bool_]) -> Patches:
        """The marks where `keep` (m,), in the same order."""
        return self.part(keep, keep[self.of])

    def part(self, keep: NDArray[np.bool_], rows: NDArray[np.bool_]) -> Patches:
        """The marks where `keep` (m,), with their pixels where `rows` (n,), which has no others."""
        return Patches(
            marks=tuple(mark for mark, kept in zip(self.marks, keep, strict=True) if kept),
            of=(np.cumsum(keep) - 1)[self.of[rows]],
            **{name: getattr(self, name)[keep] for name in _OF_MARKS},
            **{name: getattr(self, name)[rows] for name in _OF_PIXELS},
        )

    def alike(self) -> list[Patches]:
        """The same patches in lots whose marks are drawn alike: of one shape, on one tape."""
        kinds = [(mark.shape, mark.tape_width_m) for mark in self.marks]
        return [
            self.take(np.array([kind == other for other in kinds])) for kind in dict.fromkeys(kinds)
        ]


_OF_MARKS = ("which", "middle", "d_pixel_d_mark", "centre_px")
_OF_PIXELS = ("pixels", "levels", "s", "q")


def spans_of(of: NDArray[np.intp], count: int) -> list[slice]:
    """Slices of a sorted list of owners (n,), one for each of `count`."""
    counts = np.bincount(of, minlength=count)
    return [slice(end - n, end) for n, end in zip(counts, np.cumsum(counts), strict=True)]


def per_mark(patches: Patches, values: Array) -> Array:
    """Sums (m,) of the pixels' values (n,)."""
    return np.bincount(patches.of, values, len(patches.marks)).astype(np.float64)


def window_of(mark: PlannedMark) -> tuple[float, float]:
    """Half size along and across of the ground that is drawn round a mark."""
    along, across = mark.shape.half_extent_m
    if not mark.shape.drawn:
        raise ValueError(f"{mark.id}: expected a mark that can be drawn, found a box corner")
    if mark.is_corner:
        return along, across
    tape = 0.5 * (mark.tape_width_m or 0.0)
    return along * (1 + TUNED.margin), max(across * (1 + TUNED.margin), tape * (1 + TUNED.margin))


def cut_patches(
    grey: np.ndarray, pose: Pose, lens: Lens, marks: Sequence[PlannedMark], centres_px: Array
) -> Patches:
    """Pieces of a picture round `centres_px` (n, 2), with exact mark coordinates for each pixel.

    Marks whose piece leaves the picture or the lens are left out. Mark coordinates are counted
    from the predicted centre shifted to `centres_px`, so that a fit starts at zero.
    """
    predicted, jacobians = d_pixel_d_mark(pose, lens, marks)
    windows = np.array([window_of(mark) for mark in marks]).reshape(-1, 2)
    halves = np.einsum("nij,nj->ni", np.abs(jacobians), windows)
    boxes = [_box(*where, grey.shape) for where in zip(centres_px, halves, strict=True)]
    counts = np.array([len(box) for box in boxes], dtype=np.intp)
    of = np.repeat(np.arange(len(marks)), counts)
    pixels = np.concatenate(boxes) if boxes else np.zeros((0, 2), dtype=np.intp)
    unmoved = np.repeat(predicted - centres_px, counts, axis=0) + pixels
    s, q = _mark_coordinates(pose, lens, marks, counts, unmoved)
    along, across = np.repeat(windows.T, counts, axis=1)
    keep = (np.abs(s) < along) & (np.abs(q) < across)
    enough = np.bincount(of[keep], minlength=len(marks)) >= TUNED.least_pixels
    keep &= np.repeat(enough, counts)
    pixels, of = pixels[keep], (np.cumsum(enough) - 1)[of[keep]]
    levels = grey[pixels[:, 1], pixels[:, 0]].astype(np.float64)
    count = int(enough.sum())
    return Patches(
        marks=tuple(mark for mark, kept in zip(marks, enough, strict=True) if kept),
        which=np.flatnonzero(enough),
        of=of,
        pixels=pixels,
        levels=levels,
        middle=np.bincount(of, levels, count) / np.bincount(of, minlength=count),
        s=s[keep],
        q=q[keep],
        d_pixel_d_mark=jacobians[enough],
        centre_px=np.asarray(centres_px)[enough],
    )


def _box(centre: Array, half: Array, shape: tuple[int, ...]) -> NDArray[np.intp]:
    """Pixels (n, 2) of the box round a centre, row by row; none where it leaves the picture."""
    none = np.zeros((0, 2), dtype=np.intp)
    if not (np.isfinite(centre).all() and np.isfinite(half).all()):
        return none
    low, high = np.floor(centre - half).astype(int), np.ceil(centre + half).astype(int)
    if (low < 0).any() or high[0] >= shape[1] or high[1] >= shape[0]:
        return none
    if (high - low).max() > TUNED.longest_px:
        return none
    u, v = np.meshgrid(np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1))
    return np.stack([u.ravel(), v.ravel()], axis=1)


def _mark_coordinates(
    pose: Pose,
    lens: Lens,
    marks: Sequence[PlannedMark],
    counts: NDArray[np.intp],
    pixels: Array,
) -> tuple[Array, Array]:
    """Mark coordinates s, q (n,) of pixels (n, 2) on the mark's plane; NaN above the horizon."""
    x, y, z = pose.R.T @ lens.unproject(pixels).T
    place = pose.camera_in_ground_m
    away = np.array([mark.centre_m for mark in marks]).reshape(-1, 3) - place
    heading = np.array([mark.heading_rad for mark in marks])
    numbers = np.column_stack([away, np.cos(heading), np.sin(heading)])
    across, ahead, down, cos, sin = np.repeat(numbers.T, counts, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        reach = np.where(z < 0, down / z, np.nan)
    right, forward = reach * x - across, reach * y - ahead
    return cos * right + sin * forward, cos * forward - sin * right

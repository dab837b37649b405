"""Template matching: where a drawn mark's edges agree best near its prediction.

A start for the measurement, no more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.job.coverage import Blurred
from vision.job.layout import PlannedMark
from vision.job.visibility import d_pixel_d_mark
from vision.marks.measure.patches import window_of
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array, Flags

TUNED = SETTINGS.measure
MOST_COVERED = SETTINGS.overlays.most_share
WINDOW_STEPS = 11
"""Places along and across a mark at which it is looked whether it is covered."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Matches:
    """What template matching saw of n marks, NaN where a mark cannot be tried.

    `found_px` (n, 2) is where each drawing's edges agree best, `correlation` (n,) how well ink and
    tape agree there. The rest is of the predicted place itself, in logarithms of grey: `ground`
    (n,) where the ground beside the tape should be, `step` (n,) from there to the tape's own
    colour, `level` (n,) and `spread` (n,) mean and standard deviation of all.
    """

    found_px: Array
    correlation: Array
    ground: Array
    step: Array
    level: Array
    spread: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """A grey picture (height, width) as templates are matched in it, worked out once for all poses.

    `directions` (height, width, 2) are unit vectors of its gradient, `logarithm` its levels.
    """

    grey: np.ndarray
    logarithm: np.ndarray
    directions: np.ndarray

    @classmethod
    def of(cls, grey: np.ndarray) -> Edges:
        """Give the edges of a picture."""
        logarithm = np.log(np.asarray(grey, np.float32) + np.float32(TUNED.log_offset))
        directions = _directions(logarithm * np.float32(TUNED.log_gain))
        return cls(grey=grey, logarithm=logarithm, directions=directions)


def match(
    picture: Edges,
    pose: Pose,
    lens: Lens,
    marks: Sequence[PlannedMark],
    reach_px: float,
    *,
    covered: Flags | None = None,
    around: bool = True,
) -> Matches:
    """Where each drawn mark's edges agree best within `reach_px` of its prediction.

    Without `around` the predicted places themselves are not looked at.

    The correlation is over the tape alone: with the ground in it the tape's own edges would pass
    for a mark. The drawing is affine and on whole pixels: a start for `measure`, no more. What is
    `covered` (height, width) for the most part is not tried.
    """
    predicted, jacobians = d_pixel_d_mark(pose, lens, marks)
    found = np.full((len(marks), 2), np.nan)
    correlation, beside = np.full(len(marks), np.nan), np.full((4, len(marks)), np.nan)
    windows = np.array([window_of(mark) for mark in marks]).reshape(-1, 2)
    half = np.einsum("nij,nj->ni", np.abs(jacobians), windows)
    reach = int(np.ceil(reach_px))
    with np.errstate(invalid="ignore"):
        tried = (half.max(axis=1) <= TUNED.most_half_px) & (half.min(axis=1) >= TUNED.least_half_px)
        half_px = np.maximum(np.ceil(half), 2)
        low, high = np.round(predicted) - half_px - reach, np.round(predicted) + half_px + reach + 1
        tried &= (low >= 0).all(axis=1) & (high <= picture.grey.shape[1::-1]).all(axis=1)
    if covered is not None:
        tried &= covered_share(covered, pose, lens, marks) <= MOST_COVERED
    which = np.flatnonzero(tried).tolist()
    drawings = _drawings([marks[i] for i in which], jacobians[which], half_px[which].astype(int))
    for index, (template, tape) in zip(which, drawings, strict=True):
        (left, top), (right, bottom) = low[index].astype(int), high[index].astype(int)
        score = _agreement(picture.directions[top:bottom, left:right], template)
        _, _, _, (u, v) = cv2.minMaxLoc(score)
        found[index] = np.round(predicted[index]) - reach + _subpixel(score, u, v)
        height, width = template.shape
        piece = picture.grey[top + v : top + v + height, left + u : left + u + width]
        correlation[index] = _correlation(piece[tape].astype(np.float32), template[tape])
        if around:
            top, left = top + reach, left + reach
            there = picture.logarithm[top : top + height, left : left + width]
            beside[:, index] = _surroundings(there, template, marks[index].ink)
    ground, step, level, spread = beside
    return Matches(
        found_px=found,
        correlation=correlation,
        ground=ground,
        step=step,
        level=level,
        spread=spread,
    )


def covered_share(covered: Flags, pose: Pose, lens: Lens, marks: Sequence[PlannedMark]) -> Array:
    """What share of each mark's window (n,) is covered where a pose puts it; 0 outside."""
    centres, jacobians = d_pixel_d_mark(pose, lens, marks)
    along, across = np.array([window_of(mark) for mark in marks]).reshape(-1, 2).T
    steps = np.linspace(-1, 1, WINDOW_STEPS)
    s, q = (each.ravel() for each in np.meshgrid(steps, steps))
    local = np.stack([along[:, None] * s, across[:, None] * q], axis=-1)
    pixels = centres[:, None] + np.einsum("nij,nkj->nki", jacobians, local)
    height, width = covered.shape
    with np.errstate(invalid="ignore"):
        inside = (pixels > -0.5).all(axis=2) & (pixels < [width - 0.5, height - 0.5]).all(axis=2)
    u, v = np.moveaxis(np.where(inside[..., None], pixels, 0).round().astype(int), -1, 0)
    return np.asarray((covered[v, u] & inside).mean(axis=1))


def _surroundings(
    levels: np.ndarray, template: np.ndarray, ink: str
) -> tuple[float, float, float, float]:
    """Level of the ground, step to bare tape, mean and spread of all, in a piece's logarithm."""
    # The drawing's levels: ground 0.4, bare tape 1, ink 0.2; turned round where the ink is light.
    drawn = template if ink == "dark" else 1.0 - template
    bare, beside = levels[drawn > 0.8], levels[np.abs(drawn - 0.4) < 0.1]
    ground = float(beside.mean()) if beside.size else np.nan
    step = float(bare.mean()) - ground if bare.size else np.nan
    return ground, step, float(levels.mean()), float(levels.std())


def _agreement(directions: np.ndarray, template: np.ndarray) -> np.ndarray:
    """How well edges run alike where the template is laid on a window's directions, at every place.

    Directions of gradients, each edge counting as much as any other: a shadow's edge, many times as
    strong as the ink's, then adds no more than one line that is not the mark's.
    """
    drawn = _directions(template * TUNED.drawn_gain)
    # At the rim the drawing just ends.
    drawn[[0, -1]] = 0.0
    drawn[:, [0, -1]] = 0.0
    return cv2.matchTemplate(directions, drawn, cv2.TM_CCORR)


def _directions(levels: np.ndarray) -> np.ndarray:
    """Unit vectors of the gradient (height, width, 2), shorter where there is hardly one."""
    smooth = cv2.GaussianBlur(levels, (0, 0), TUNED.smooth_px)
    u, v = (cv2.Sobel(smooth, cv2.CV_32F, *way, ksize=3) for way in ((1, 0), (0, 1)))
    length = cv2.magnitude(u, v) + TUNED.no_gradient
    return cv2.merge((u / length, v / length))


def _correlation(a: np.ndarray, b: np.ndarray) -> float:
    if a.size < TUNED.least_template_px:
        return float("nan")
    a, b = a - a.mean(), b - b.mean()
    return float(a @ b / max(np.sqrt(float(a @ a) * float(b @ b)), 1e-9))


def _subpixel(score: np.ndarray, u: int, v: int) -> Array:
    """Place of the peak by a parabola each way; whole pixels at the rim."""

    def offset(before: float, here: float, after: float) -> float:
        bend = before - 2 * here + after
        return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0

    place = np.array([float(u), float(v)])
    if 0 < u < score.shape[1] - 1:
        place[0] += offset(score[v, u - 1], score[v, u], score[v, u + 1])
    if 0 < v < score.shape[0] - 1:
        place[1] += offset(score[v - 1, u], score[v, u], score[v + 1, u])
    return place


def _drawings(
    marks: Sequence[PlannedMark], jacobians: Array, half_px: NDArray[np.int_]
) -> list[tuple[np.ndarray, np.ndarray]]:
    """A small picture of each mark, levels 0 to 1, and which of its pixels are tape.

    Marks that are drawn alike are drawn in one go, their pixels one after the other.
    """
    drawings: list[tuple[np.ndarray, np.ndarray]] = [(np.zeros(0), np.zeros(0))] * len(marks)
    inverses = np.linalg.inv(jacobians)
    kinds = [(mark.shape, mark.tape_width_m, mark.ink) for mark in marks]
    for kind in dict.fromkeys(kinds):
        lot = [index for index, other in enumerate(kinds) if other == kind]
        sizes = [(2 * half_px[i, 1] + 1, 2 * half_px[i, 0] + 1) for i in lot]
        grids = [
            np.indices(size).reshape(2, -1)[::-1] - half_px[i, :, None]
            for i, size in zip(lot, sizes, strict=True)
        ]
        counts = [grid.shape[1] for grid in grids]
        s, q = np.concatenate(
            [inverses[i] @ grid for i, grid in zip(lot, grids, strict=True)], axis=1
        )
        metric = inverses[lot] @ np.swapaxes(inverses[lot], 1, 2)
        level, on_tape = _drawn(marks[lot[0]], s, q, np.repeat(metric, counts, axis=0))
        ends = np.cumsum(counts)[:-1]
        parts = zip(lot, sizes, np.split(level, ends), np.split(on_tape, ends), strict=True)
        for index, size, part, tape in parts:
            drawings[index] = part.reshape(size), tape.reshape(size)
    return drawings


def _drawn(mark: PlannedMark, s: Array, q: Array, metric: Array) -> tuple[np.ndarray, np.ndarray]:
    """Levels (n,) of a mark at mark coordinates (n,), and where they are on its tape."""
    # 24 bits do for levels that are only to look alike, and are much faster.
    s, q, metric = (each.astype("float32") for each in (s, q, metric))
    at = Blurred.under(s, q, metric, TUNED.focus_blur_px, slopes=False)
    ink = mark.shape.ink(at).value
    tape = mark.shape.tape(mark.tape_width_m, at).value
    level = 0.4 + 0.6 * tape - 0.8 * ink
    if mark.ink == "light":
        level = 1.0 - level
    along, across = window_of(mark)
    # A mark on a sheet of its own has no tape's edge to end it: beyond the window is anything.
    return level.astype(np.float32), (tape > 0.7) & (np.abs(s) < along) & (np.abs(q) < across)

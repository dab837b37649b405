"""Where a drawn mark correlates best near its prediction: a start for the measurement."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from vision.geometry import Array, Pose
from vision.layout import PlannedMark
from vision.lens import Lens
from vision.measure.patches import d_pixel_d_mark, shape_of, window_of
from vision.pattern import Blurred, ink_coverage, tape_coverage

LEAST_PIXELS = 9
"""A mark with less tape than this in the picture would correlate with anything."""
SHARPNESS_PX = 0.9
"""Blur of the drawing: that of a picture in focus. A softer one correlates almost as well."""


def match(
    grey: np.ndarray, pose: Pose, lens: Lens, marks: Sequence[PlannedMark], reach_px: float
) -> tuple[Array, Array]:
    """Where each drawn mark correlates best within `reach_px` of its prediction.

    Returns pixels (n, 2) and how well ink and tape agree there (n,), a correlation over the tape
    alone: with the ground in it the tape's own edges would pass for a mark. NaN where a mark
    cannot be tried. The drawing is affine and on whole pixels: a start for `measure`, no more.
    """
    predicted, jacobians = d_pixel_d_mark(pose, lens, marks)
    found, correlation = np.full((len(marks), 2), np.nan), np.full(len(marks), np.nan)
    reach = int(np.ceil(reach_px))
    for index, mark in enumerate(marks):
        half = np.abs(jacobians[index]) @ np.array(window_of(mark))
        if not np.isfinite(half).all() or half.max() > 150 or half.min() < 1.5:
            continue
        half_px = np.maximum(np.ceil(half), 2).astype(int)
        middle = np.round(predicted[index]).astype(int)
        low, high = middle - half_px - reach, middle + half_px + reach + 1
        if (low < 0).any() or high[0] > grey.shape[1] or high[1] > grey.shape[0]:
            continue
        template, tape = _affine_drawing(mark, jacobians[index], half_px)
        window = grey[low[1] : high[1], low[0] : high[0]].astype(np.float32)
        score = cv2.matchTemplate(window, template, cv2.TM_CCOEFF_NORMED)
        _, _, _, (u, v) = cv2.minMaxLoc(score)
        found[index] = middle - reach + _subpixel(score, u, v)
        piece = window[v : v + template.shape[0], u : u + template.shape[1]]
        correlation[index] = _correlation(piece[tape], template[tape])
    return found, correlation


def _correlation(a: np.ndarray, b: np.ndarray) -> float:
    if a.size < LEAST_PIXELS:
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


def _affine_drawing(
    mark: PlannedMark, jacobian: Array, half_px: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """A small picture of the mark, levels 0 to 1, and which of its pixels are tape."""
    u, v = np.meshgrid(
        np.arange(-half_px[0], half_px[0] + 1), np.arange(-half_px[1], half_px[1] + 1)
    )
    inverse = np.linalg.inv(jacobian)
    s, q = inverse @ np.stack([u.ravel(), v.ravel()])
    at = Blurred(
        s=s,
        q=q,
        m_per_px_s=np.full(s.shape, np.hypot(*inverse[0])),
        m_per_px_q=np.full(s.shape, np.hypot(*inverse[1])),
        blur_px=SHARPNESS_PX,
    )
    ink = ink_coverage(shape_of(mark), at).value
    tape = tape_coverage(shape_of(mark), mark.tape_width_m, at).value
    level = 0.4 + tape * (0.6 - 0.8 * ink)
    if mark.ink == "light":
        level = 1.0 - level
    along, across = window_of(mark)
    # A mark on a sheet of its own has no tape's edge to end it: beyond the window is anything.
    on_tape = (tape > 0.7) & (np.abs(s) < along) & (np.abs(q) < across)
    return np.asarray(level.reshape(u.shape), dtype=np.float32), on_tape.reshape(u.shape)

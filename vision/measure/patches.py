"""Pieces of a picture round each mark, every pixel with its place on the mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.geometry import Array, Pose
from vision.job import BoxCorner
from vision.layout import BoardCorner, PlannedMark
from vision.lens import Lens
from vision.pattern import Drawable, half_extent

MARGIN = 0.2
"""Ground drawn beyond the mark's end and the tape's edge, in half extents of each."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """A mark's piece of picture: pixels (n, 2) whole numbers, levels (n,), mark coordinates.

    `s`, `q` (n,) metres; `m_per_px_s`, `m_per_px_q` (n,); `d_pixel_d_mark` (2, 2) at the centre;
    `centre_px` (2,) where pose and lens put the mark.
    """

    mark: PlannedMark
    pixels: np.ndarray
    levels: Array
    s: Array
    q: Array
    m_per_px_s: Array
    m_per_px_q: Array
    d_pixel_d_mark: Array
    centre_px: Array


def d_pixel_d_mark(pose: Pose, lens: Lens, marks: Sequence[PlannedMark]) -> tuple[Array, Array]:
    """Where marks fall, (n, 2), and the derivative of that by (s, q), (n, 2, 2)."""
    centres = np.array([mark.centre_m for mark in marks]).reshape(-1, 3)
    headings = np.array([mark.heading_rad for mark in marks])
    pixels, d_point, _ = lens.project_with_derivatives(pose.transform(centres))
    cos, sin, zero = np.cos(headings), np.sin(headings), np.zeros_like(headings)
    axes = np.stack([np.stack([cos, sin, zero], -1), np.stack([-sin, cos, zero], -1)], axis=-1)
    return pixels, d_point @ (pose.R @ axes)


def shape_of(mark: PlannedMark) -> Drawable:
    """What to draw for a mark; ValueError for a box corner."""
    if isinstance(mark.shape, BoxCorner):
        raise ValueError(f"{mark.id}: expected a mark that can be drawn, found a box corner")
    return mark.shape


def window_of(mark: PlannedMark) -> tuple[float, float]:
    """Half size along and across of the ground that is drawn round a mark."""
    along, across = half_extent(shape_of(mark))
    if isinstance(mark.shape, BoardCorner):
        return along, across
    tape = 0.5 * (mark.tape_width_m or 0.0)
    return along * (1 + MARGIN), max(across * (1 + MARGIN), tape * (1 + MARGIN))


def cut_patches(
    grey: np.ndarray, pose: Pose, lens: Lens, marks: Sequence[PlannedMark], centres_px: Array
) -> list[Patch | None]:
    """Pieces of a picture round `centres_px` (n, 2), with exact mark coordinates for each pixel.

    None where the piece leaves the picture or the lens. Mark coordinates are counted from the
    predicted centre shifted to `centres_px`, so that a fit starts at zero.
    """
    predicted, jacobians = d_pixel_d_mark(pose, lens, marks)
    boxes: list[np.ndarray | None] = []
    for mark, centre, jacobian in zip(marks, centres_px, jacobians, strict=True):
        boxes.append(_box(centre, np.abs(jacobian) @ np.array(window_of(mark)), grey.shape))
    cut = [index for index, box in enumerate(boxes) if box is not None]
    if not cut:
        return [None] * len(marks)
    counts = [len(boxes[index]) for index in cut]  # type: ignore[arg-type]
    pixels = np.concatenate([boxes[index] for index in cut])  # type: ignore[list-item]
    shift = np.repeat(predicted[cut] - centres_px[cut], counts, axis=0)
    s, q = _mark_coordinates(pose, lens, [marks[i] for i in cut], counts, pixels + shift)
    patches: list[Patch | None] = [None] * len(marks)
    for index, part in zip(
        cut, np.split(np.arange(len(pixels)), np.cumsum(counts)[:-1]), strict=True
    ):
        inverse = np.linalg.inv(jacobians[index])
        along, across = window_of(marks[index])
        inside = (np.abs(s[part]) < along) & (np.abs(q[part]) < across)
        keep = part[inside]
        if len(keep) < 24:
            continue
        u, v = pixels[keep].T
        patches[index] = Patch(
            mark=marks[index],
            pixels=pixels[keep],
            levels=grey[v, u].astype(np.float64),
            s=s[keep],
            q=q[keep],
            m_per_px_s=np.full(len(keep), np.hypot(*inverse[0])),
            m_per_px_q=np.full(len(keep), np.hypot(*inverse[1])),
            d_pixel_d_mark=jacobians[index],
            centre_px=centres_px[index],
        )
    return patches


def _box(centre: Array, half: Array, shape: tuple[int, ...]) -> np.ndarray | None:
    if not (np.isfinite(centre).all() and np.isfinite(half).all()):
        return None
    low = np.floor(centre - half).astype(int)
    high = np.ceil(centre + half).astype(int)
    if (low < 0).any() or high[0] >= shape[1] or high[1] >= shape[0] or (high - low).max() > 400:
        return None
    u, v = np.meshgrid(np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1))
    return np.stack([u.ravel(), v.ravel()], axis=1)


def _mark_coordinates(
    pose: Pose, lens: Lens, marks: Sequence[PlannedMark], counts: Sequence[int], pixels: Array
) -> tuple[Array, Array]:
    """Mark coordinates s, q (n,) of pixels (n, 2) on the mark's plane; NaN above the horizon."""
    rays = lens.unproject(pixels) @ pose.R
    place = pose.camera_in_ground_m
    centre = np.repeat(np.array([mark.centre_m for mark in marks]), counts, axis=0)
    heading = np.repeat(np.array([mark.heading_rad for mark in marks]), counts)
    with np.errstate(invalid="ignore", divide="ignore"):
        reach = np.where(rays[:, 2] < 0, (centre[:, 2] - place[2]) / rays[:, 2], np.nan)
    away = place[:2] + reach[:, None] * rays[:, :2] - centre[:, :2]
    cos, sin = np.cos(heading), np.sin(heading)
    return cos * away[:, 0] + sin * away[:, 1], -sin * away[:, 0] + cos * away[:, 1]

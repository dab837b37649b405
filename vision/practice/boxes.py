"""Upright boxes and cards: body, trestles, cartons, people, covers; what rays and sunlight meet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.practice.deviations import Floats
from vision.practice.placed import to_local
from vision.units.arrays import Array, Flags, frozen_array

CARD_M = 1e-3
"""A card counts as this thick: more than the least way through a box that throws a shadow."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Box:
    """An upright box: the middle of its foot (2,), direction, half size (2,), height of its top.

    Its foot stands `foot_m` above the ground. `colour` (blue, green, red) is that of plain things;
    None for the vehicle's body and what carries a mark. `bands` light bands lie round it, and
    `mottled` is how strongly its colour varies.

    With an `outline` (n, 2) it is a card: the polygon, in half sizes of the box's two longer axes
    from its middle, in the plane across the third. What the outline encloses twice is a hole.
    """

    name: str
    middle_m: Array
    heading_rad: float
    half_m: tuple[float, float]
    height_m: float
    foot_m: float = 0.0
    colour: tuple[float, float, float] | None = None
    bands: int = 0
    mottled: float = 0.0
    outline: Array | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "middle_m", frozen_array(self.middle_m, (2,), "middle_m"))
        if self.outline is not None:
            object.__setattr__(self, "outline", frozen_array(self.outline, (None, 2), "outline"))

    @property
    def across(self) -> int:
        """The axis along which it is thinnest: that across the plane of its outline."""
        return int(np.argmin([*self.half_m, (self.height_m - self.foot_m) / 2]))

    def local(self, points: Floats, *, direction: bool = False) -> Floats:
        """Points (..., 3), or directions, along the box's own axes, its foot's middle being 0."""
        turned: Floats = np.empty_like(points)
        away = np.zeros(2) if direction else self.middle_m
        turned[..., 0], turned[..., 1] = to_local(points, away, self.heading_rad)
        turned[..., 2] = points[..., 2]
        return turned


def near_box(box: Box, origin: Floats, rays: Floats) -> NDArray[np.intp]:
    """Rays from one origin (3,) that can meet a box at all: the cone round its bounding ball."""
    centre = np.array([*box.middle_m, (box.foot_m + box.height_m) / 2]) - origin
    away = float(np.linalg.norm(centre))
    radius = float(np.linalg.norm([*box.half_m, (box.height_m - box.foot_m) / 2]))
    if away <= radius:
        return np.flatnonzero(np.isfinite(rays[:, 2]))
    least = np.sqrt(away**2 - radius**2) / away
    x, y, z = (centre / away).astype(np.float32)
    return np.flatnonzero(rays[:, 0] * x + rays[:, 1] * y + rays[:, 2] * z > np.float32(least))


def box_entry(box: Box, origin: Floats, rays: Floats) -> tuple[Floats, NDArray[np.int8]]:
    """How far along each ray (n, 3) it enters a box (inf: never), and by which face.

    `origin` (3,) of all rays or (n, 3). Faces: 0 and 1 ahead and behind along the box's own x, 2
    and 3 left and right, 4 the top (and the bottom of a box above the ground).
    """
    enters, leaves, face = _through(box, origin, rays)
    met = (enters < leaves) & (enters > 0)
    return np.where(met, enters, np.float32(np.inf)), face


def shaded_by(box: Box, to_sun: Array, places: Floats) -> Flags:
    """Whether a box stands between places (n, 3) and the sun."""
    enters, leaves, _ = _through(box, places, to_sun.astype(np.float32)[None])
    return np.asarray(leaves - np.maximum(enters, 0) > 1e-5)


def _through(box: Box, origin: Floats, rays: Floats) -> tuple[Floats, Floats, NDArray[np.int8]]:
    """How far along rays they enter a box and leave it, (n,), and by which face they enter.

    The slabs between opposite faces, one axis after another (Kay and Kajiya, "Ray tracing complex
    scenes", SIGGRAPH 1986); a reduction over three columns would be slower. Rays that miss leave
    before they enter.
    """
    start, local = box.local(origin), box.local(rays, direction=True)
    if box.outline is not None:
        return _through_card(box, box.outline, start, local)
    low, high = (-box.half_m[0], -box.half_m[1], box.foot_m), (*box.half_m, box.height_m)
    enters: Floats = np.array(-np.inf, dtype=np.float32)
    leaves: Floats = np.array(np.inf, dtype=np.float32)
    face: NDArray[np.int8] = np.array(0, dtype=np.int8)
    for axis in range(3):
        step = local[..., axis]
        with np.errstate(divide="ignore", invalid="ignore"):
            first = (low[axis] - start[..., axis]).astype(np.float32) / step
            second = (high[axis] - start[..., axis]).astype(np.float32) / step
        here = np.minimum(first, second)
        leaves = np.minimum(leaves, np.maximum(first, second))
        by = np.int8(4) if axis == 2 else (2 * axis + (step > 0)).astype(np.int8)
        face = np.where(here > enters, by, face)
        enters = np.maximum(enters, here)
    return enters, leaves, face


def _through_card(
    box: Box, outline: Array, start: Floats, local: Floats
) -> tuple[Floats, Floats, NDArray[np.int8]]:
    """As `_through`, for a card: it is met where a ray passes its plane within the outline."""
    axis = box.across
    middle = np.array([0, 0, (box.foot_m + box.height_m) / 2], dtype=np.float32)
    half = np.array([*box.half_m, (box.height_m - box.foot_m) / 2], dtype=np.float32)
    step = local[..., axis]
    with np.errstate(divide="ignore", invalid="ignore"):
        enters = ((middle[axis] - start[..., axis]) / step).astype(np.float32)
        there = start + enters[..., None] * local
    first, second = (((there - middle) / half)[..., each] for each in range(3) if each != axis)
    inside = np.zeros(enters.shape, dtype=bool)
    # By counting the sides that lie beyond a place along one axis (Shimrat, "Algorithm 112",
    # Communications of the ACM 5(8), 1962).
    for (ax, ay), (bx, by) in zip(outline, np.roll(outline, 1, axis=0), strict=True):
        if ay != by:
            beyond = first < np.float32(ax) + (second - np.float32(ay)) * np.float32(
                (bx - ax) / (by - ay)
            )
            inside ^= ((second < ay) != (second < by)) & beyond
    enters = np.where(inside, enters, np.float32(np.inf))
    leaves = np.where(inside, enters + np.float32(CARD_M), -np.float32(np.inf))
    face = np.where(step > 0, 2 * axis + 1, 2 * axis) if axis < 2 else np.full(step.shape, 4)
    return enters, leaves, face.astype(np.int8)

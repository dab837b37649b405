"""Where three edges of a carton are seen at once, near where its corner should be."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.job.kinds.box_corner import BoxCorner
from vision.marks.box_corner.carton import (
    Stand,
    carton_edges,
    upright_edge_seen,
    ways_to_stand,
)
from vision.marks.picture import GREY_WEIGHTS
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array
from vision.units.reason import Reason

TUNED = SETTINGS.box_corner


TURNS_RAD = np.radians(np.arange(-6.0, 6.1, 3.0))
ALL_TURNS_RAD = np.radians(np.arange(0.0, 90.0, 4.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ray:
    """One edge in the picture: places (n, 2) from the corner outward, directions across (n, 2).

    `distance_px` (n,) from the corner along the edge.
    """

    places: Array
    across: Array
    distance_px: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """What it takes to look for one corner: the picture, the camera and the carton."""

    planes: tuple[np.ndarray, ...]
    pose: Pose
    lens: Lens
    corner_m: Array
    shape: BoxCorner
    beside_m: Array
    expected_px: Array
    reach_px: float
    noises: tuple[float, ...]

    @property
    def d_pixel_d_ground(self) -> Array:
        """Derivative (2, 3) in px per m of the corner's pixel by its place."""
        _, d_point, _ = self.lens.project_with_derivatives(self.pose.transform(self.corner_m))
        return np.asarray(d_point @ self.pose.R)

    def rays(self, turn_rad: float, ways: tuple[float, float]) -> list[Ray] | None:
        """Its three edges with the carton standing so; None where they cannot be looked at."""
        edges = carton_edges(self.corner_m, turn_rad, self.shape, ways)
        rays = [_ray(self.pose, self.lens, self.corner_m, edge) for edge in edges]
        if any(ray is None for ray in rays):
            return None
        return [ray for ray in rays if ray is not None]


def planes_of(bgr: np.ndarray) -> tuple[np.ndarray, ...]:
    """What edges are looked for in: brightness, and colour from blue to red, (height, width) each.

    Cardboard on asphalt may be as bright as the ground and still of another colour.
    """
    parts = bgr.astype(np.float32)
    return parts @ np.array(GREY_WEIGHTS, dtype=np.float32), parts[..., 2] - parts[..., 0]


def starts_of(look: Look) -> list[tuple[Stand, Array]] | Reason:
    """Stands and shifts (2,) in px at which all three edges are seen, or why there are none."""
    stated = look.shape.turn_rad
    turns = ALL_TURNS_RAD if stated is None else stated + TURNS_RAD
    camera = look.pose.camera_in_ground_m
    steps = np.arange(-look.reach_px, look.reach_px + TUNED.lattice_px / 2, TUNED.lattice_px)
    shifts = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    shifts = shifts[np.hypot(*shifts.T) <= look.reach_px]
    seen: list[tuple[Stand, Array]] = []
    for stand in [
        (float(turn), ways)
        for turn in turns
        for ways in ways_to_stand(look.corner_m, turn, look.shape, look.beside_m)
    ]:
        if not upright_edge_seen(look.corner_m, *stand, camera):
            continue
        rays = look.rays(*stand)
        if rays is not None and _within(look, rays):
            strength = np.min([strength_along(look, ray, shifts)[0] for ray in rays], axis=0)
            seen.append((stand, strength))
    if not seen:
        return Reason("edges-hidden")
    every = np.stack([strength for _, strength in seen])
    top = float(every.max())
    if top < TUNED.least_strength:
        return Reason("no-edges")
    starts: list[tuple[Stand, Array]] = []
    while len(starts) < TUNED.most_starts and every.max() >= max(
        TUNED.least_strength, TUNED.rival_share * top
    ):
        turn_index, shift_index = np.unravel_index(int(np.argmax(every)), every.shape)
        place = shifts[shift_index]
        starts.append((seen[turn_index][0], place))
        # The same place once more only with the carton lying another way.
        alike = [stand[1] == seen[turn_index][0][1] for stand, _ in seen]
        near = np.hypot(*(shifts - place).T) <= TUNED.rival_px
        every[np.outer(alike, near)] = 0.0
    return starts


def noise_round(plane: np.ndarray, place_px: Array) -> float:
    """Noise of a plane round a place, from neighbours' differences (their median)."""
    u, v = (int(value) for value in np.rint(place_px))
    box = plane[max(v - 40, 0) : v + 41, max(u - 40, 0) : u + 41]
    return float(1.4826 * np.median(np.abs(np.diff(box, axis=1))) / np.sqrt(2))


def _ray(pose: Pose, lens: Lens, corner_m: Array, edge_m: Array) -> Ray | None:
    """An edge's run through the picture, every pixel; None where it is too short or leaves it."""
    share = np.linspace(0, 1, 200)
    pixels = lens.project(pose.transform(corner_m + share[:, None] * edge_m))
    if not np.isfinite(pixels).all():
        return None
    steps = np.linalg.norm(np.diff(pixels, axis=0), axis=1)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    if length[-1] < TUNED.shortest_edge_px:
        return None
    distance = np.arange(TUNED.edge_from_px, min(length[-1], TUNED.longest_edge_px), 1.0)
    places = np.stack([np.interp(distance, length, pixels[:, i]) for i in (0, 1)], axis=1)
    tangent = np.gradient(places, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    across = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    return Ray(places=places, across=across, distance_px=distance)


def _within(look: Look, rays: list[Ray]) -> bool:
    """Whether everything that is looked at lies in the picture."""
    margin = look.reach_px + TUNED.margin_px
    every = np.concatenate([ray.places for ray in rays])
    size = np.array(look.planes[0].shape[::-1])
    return bool((every > margin).all() and (every < size - 1 - margin).all())


def strength_along(look: Look, ray: Ray, shifts: Array) -> tuple[Array, int]:
    """How surely an edge runs along a ray moved by each of `shifts` (m, 2), in sigmas, (m,).

    And the plane in which it is seen best.
    """
    reach = look.reach_px + 1.0
    offsets = np.arange(-reach, reach + TUNED.lattice_px / 2, TUNED.lattice_px)
    where = (ray.places[:, None] + offsets[None, :, None] * ray.across[:, None]).astype(np.float32)
    moved = shifts @ ray.across.mean(axis=0)
    best, which = np.zeros(len(shifts)), 0
    for index, plane in enumerate(look.planes):
        levels = cv2.remap(plane, where[..., 0], where[..., 1], cv2.INTER_LINEAR)
        strength = np.interp(moved, offsets, _profile_strength(np.asarray(levels)))
        if strength.max() > best.max():
            which = index
        best = np.maximum(best, strength)
    return best, which


def _profile_strength(levels: np.ndarray) -> Array:
    """Mean slope over its sigma, (t,), of levels (s, t) along and across; 0 where it is broken."""
    smooth = cv2.GaussianBlur(levels, (0, 0), TUNED.profile_blur_px / TUNED.lattice_px, sigmaY=0.01)
    slope = np.gradient(np.asarray(smooth, dtype=np.float64), TUNED.lattice_px, axis=1)
    mean = slope.mean(axis=0)
    # Neighbouring rows share pixels: their count is not that of independent slopes.
    sigma = slope.std(axis=0) * np.sqrt(2) + 0.02 * np.ptp(levels) + TUNED.least_step / 10
    parts = np.stack([part.mean(axis=0) for part in np.array_split(slope, TUNED.sections)])
    whole = (parts * np.sign(mean) > TUNED.least_section * np.abs(mean)).all(axis=0)
    return np.where(whole, np.abs(mean) * np.sqrt(len(slope)) / np.maximum(sigma, 1e-6), 0.0)

"""Pictures of a carton on tape and ground, for tests: rays cast at a box and at the ground.

Written out anew from the definitions, with nothing from the rooms it is to test; the camera is the
one of `tests.scenes`. Many samples per pixel; faces have a level each in three colours, the ground
blotches, a line of tape and, where asked for, the box's own hard shadow.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tests.scenes import THETAS, Eye

Array = np.ndarray
SAMPLES = 4


@dataclass(frozen=True, kw_only=True)
class Carton:
    """A box on the ground: one top corner, which way its sides run from there, and colours (BGR).

    `along_m` and `left_m` are signed lengths along the turned axes from the corner.
    """

    corner_m: tuple[float, float, float]
    turn_deg: float
    along_m: float
    left_m: float
    top: tuple[float, float, float] = (120, 165, 190)
    side_along: tuple[float, float, float] = (60, 95, 115)
    side_left: tuple[float, float, float] = (85, 125, 150)

    def inside(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Share of the way along each side from the corner, 0 to 1 within the box."""
        c, s = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        dx, dy = x - self.corner_m[0], y - self.corner_m[1]
        return (c * dx + s * dy) / self.along_m, (-s * dx + c * dy) / self.left_m


def rays_of(eye: Eye, u: Array, v: Array) -> Array:
    """Directions in ground coordinates of pixels, (..., 3)."""
    du, dv = u - eye.centre_px[0], v - eye.centre_px[1]
    theta = np.interp(np.hypot(du, dv), eye.radii_px(THETAS), THETAS)
    phi, sin = np.arctan2(dv, du), np.sin(theta)
    return np.stack([sin * np.cos(phi), sin * np.sin(phi), np.cos(theta)], -1) @ eye.axes()


def draw(
    eye: Eye,
    carton: Carton | None,
    rng: np.random.Generator,
    box: tuple[int, int, int, int],
    *,
    blur_px: float = 0.7,
    noise: float = 2.0,
    ground: tuple[float, float, float] = (95, 95, 95),
    sun: tuple[float, float] | None = None,
    tape_y: float | None = None,
) -> Array:
    """The part of a picture in `box` (left, top, width, height), black around it; (H, W, 3) uint8.

    `sun`: the way the shadow of a point 1 m high falls on the ground, (x, y) in metres.
    """
    left, top, width, height = box
    step = (np.arange(SAMPLES) + 0.5) / SAMPLES - 0.5
    u = (left + np.arange(width)[:, None] + step).ravel()
    v = (top + np.arange(height)[:, None] + step).ravel()
    rays = rays_of(eye, *np.meshgrid(u, v))
    colours = _colours(np.array(eye.place_m), rays, carton, np.array(ground), sun, tape_y)
    fine = colours.reshape(height, SAMPLES, width, SAMPLES, 3).mean(axis=(1, 3))
    fine = cv2.GaussianBlur(fine, (0, 0), blur_px)
    fine = fine + rng.normal(0, noise, fine.shape)
    whole = np.zeros((eye.size[1], eye.size[0], 3), dtype=np.uint8)
    part = np.clip(np.round(fine), 0, 255).astype(np.uint8)
    whole[top : top + height, left : left + width] = part
    return whole


def _colours(
    place: Array,
    rays: Array,
    carton: Carton | None,
    ground: Array,
    sun: tuple[float, float] | None,
    tape_y: float | None,
) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = np.where(rays[..., 2] < -0.02, -place[2] / rays[..., 2], np.inf)
        x, y = (place[i] + reach * rays[..., i] for i in (0, 1))
    with np.errstate(invalid="ignore"):
        blotches = np.sin(9.1 * x + 2 * np.sin(3.7 * y)) * np.sin(7.3 * y + 2 * np.sin(4.1 * x))
    colours = ground * np.nan_to_num(1 + 0.05 * blotches, nan=1.9)[..., None]
    if tape_y is not None:
        colours[np.abs(y - tape_y) < 0.09] = (200, 205, 205)
    if carton is None:
        return colours
    if sun is not None:
        shaded = np.zeros(x.shape, dtype=bool)
        for share in np.linspace(0, 1, 24):
            z = share * carton.corner_m[2]
            a, b = carton.inside(x - sun[0] * z, y - sun[1] * z)
            shaded |= (a > 0) & (a < 1) & (b > 0) & (b < 1)
        colours[shaded] *= 0.45
    nearest = np.full(x.shape, np.inf)
    for far, level, face in _faces(place, rays, carton):
        hit = face & (far < nearest)
        colours[hit], nearest[hit] = level, far[hit]
    return colours


def _faces(place: Array, rays: Array, carton: Carton) -> list[tuple[Array, Array, Array]]:
    """For each face: distance along the rays, its colour, and where it is hit."""
    c, s = np.cos(np.radians(carton.turn_deg)), np.sin(np.radians(carton.turn_deg))
    corner = np.array(carton.corner_m)
    faces = []
    with np.errstate(divide="ignore", invalid="ignore"):
        far = (corner[2] - place[2]) / rays[..., 2]
        a, b = carton.inside(place[0] + far * rays[..., 0], place[1] + far * rays[..., 1])
        on = (far > 0) & (a > 0) & (a < 1) & (b > 0) & (b < 1)
        faces.append((far, np.array(carton.top, dtype=float), on))
        for normal, length, level, other in (
            (np.array([c, s]), carton.along_m, carton.side_along, 1),
            (np.array([-s, c]), carton.left_m, carton.side_left, 0),
        ):
            for end in (0.0, 1.0):
                point = corner[:2] + end * length * normal
                far = ((point - place[:2]) @ normal) / (rays[..., :2] @ normal)
                hit = place + far[..., None] * rays
                share = carton.inside(hit[..., 0], hit[..., 1])[other]
                on = (far > 0) & (share > 0) & (share < 1)
                on &= (hit[..., 2] > 0) & (hit[..., 2] < corner[2])
                faces.append((far, np.array(level, dtype=float), on))
    return faces

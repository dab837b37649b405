"""A small renderer for tests: tape with marks on level ground, seen through a wide lens.

Written out anew from the definitions, with nothing from the rooms it is to test: many samples per
pixel are cast to the ground and looked up in the layout. No body, no sky worth the name, no light
but one hard shadow edge; what covers the ground is flat. Levels are grey, 0 to 255.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

Array = np.ndarray
SAMPLES = 6
"""Samples per pixel each way where there is tape; elsewhere the ground is smooth and one does."""
THETAS = np.linspace(0, 2.0, 200_001)


@dataclass(frozen=True, kw_only=True)
class Eye:
    """A camera: place in metres, pan, tilt and roll in degrees, focal length, centre and k."""

    place_m: tuple[float, float, float]
    aim_deg: tuple[float, float, float]
    f_px: float = 427.0
    centre_px: tuple[float, float] = (642.5, 361.0)
    k: tuple[float, ...] = (-0.04, 0.0056, -0.001, 0.0001)
    size: tuple[int, int] = (1280, 720)

    def axes(self) -> Array:
        """Rows: right, down and forward in ground coordinates."""
        p, t, r = np.radians(self.aim_deg)
        forward = [np.cos(t) * np.cos(p), np.cos(t) * np.sin(p), -np.sin(t)]
        level = [np.sin(p), -np.cos(p), 0.0]
        below = np.cross(forward, level)
        right = np.cos(r) * np.array(level) + np.sin(r) * below
        return np.stack([right, np.cross(forward, right), forward])

    def radii_px(self, theta: Array) -> Array:
        """Distance from the centre in the picture at an angle from the axis."""
        return self.f_px * sum(k * theta ** (2 * i + 1) for i, k in enumerate((1.0, *self.k)))

    def pixel(self, points_m: Array) -> Array:
        """Where ground points (..., 3) fall, (..., 2)."""
        x, y, z = np.moveaxis((np.asarray(points_m) - self.place_m) @ self.axes().T, -1, 0)
        phi, radius = np.arctan2(y, x), self.radii_px(np.arctan2(np.hypot(x, y), z))
        return np.stack([radius * np.cos(phi), radius * np.sin(phi)], axis=-1) + self.centre_px

    def ground(self, u: Array, v: Array) -> tuple[Array, Array]:
        """Where the rays of pixels meet the ground (x, y); NaN above the horizon."""
        du, dv = u - self.centre_px[0], v - self.centre_px[1]
        theta = np.interp(np.hypot(du, dv), self.radii_px(THETAS), THETAS)
        phi = np.arctan2(dv, du)
        sin = np.sin(theta)
        ray = np.stack([sin * np.cos(phi), sin * np.sin(phi), np.cos(theta)], -1) @ self.axes()
        with np.errstate(divide="ignore"):
            reach = np.where(ray[..., 2] < -0.02, -self.place_m[2] / ray[..., 2], np.nan)
        return self.place_m[0] + reach * ray[..., 0], self.place_m[1] + reach * ray[..., 1]


@dataclass(frozen=True, kw_only=True)
class Tape:
    """A straight tape with a mark at each distance from its start; `level`, `ink` are levels.

    Crosses, or quadrants where they have a radius.
    """

    start_m: tuple[float, float]
    heading_deg: float
    at_m: tuple[float, ...]
    arms_m: tuple[float, float] = (0.12, 0.082)
    line_m: float = 0.025
    width_m: float = 0.18
    level: float = 195.0
    ink: float = 40.0
    radius_m: float | None = None

    def centres(self) -> Array:
        """The crosses' centres on the ground, (n, 3)."""
        heading = np.radians(self.heading_deg)
        away = np.outer(self.at_m, [np.cos(heading), np.sin(heading), 0.0])
        return away + np.array([*self.start_m, 0.0])

    def along(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Distance along the tape from its start and to its left."""
        c, s = np.cos(np.radians(self.heading_deg)), np.sin(np.radians(self.heading_deg))
        dx, dy = x - self.start_m[0], y - self.start_m[1]
        return c * dx + s * dy, -s * dx + c * dy

    def paint(self, levels: Array, x: Array, y: Array) -> None:
        """Lay the tape over the levels at ground points."""
        s, q = self.along(x, y)
        end = max(self.at_m, default=3.0) + 0.4
        on = (np.abs(q) < self.width_m / 2) & (s > -0.4) & (s < end)
        levels[on] = self.level
        for at in self.at_m:
            across, off = np.abs(s - at), np.abs(q)
            if self.radius_m is not None:
                sectors = (s > at) == (q > 0)
                levels[on & sectors & (np.hypot(across, off) < self.radius_m)] = self.ink
                continue
            inked = (across < self.arms_m[0]) & (off < self.line_m / 2)
            inked |= (across < self.line_m / 2) & (off < self.arms_m[1])
            levels[inked & on] = self.ink


@dataclass(frozen=True, kw_only=True)
class Light:
    """What happens on the way: blur (sigma), noise (sigma), JPEG quality, the shadow's edge.

    The shadow covers the ground where x cos(angle) + y sin(angle) > offset: (angle, offset, share
    of light left). Each cover hides the ground beyond its edge, the later over the earlier: (angle,
    offset, level).
    """

    blur_px: float = 0.7
    noise: float = 1.5
    jpeg: int | None = None
    shadow: tuple[float, float, float] | None = None
    covers: tuple[tuple[float, float, float], ...] = ()


def draw(
    eye: Eye,
    tapes: tuple[Tape, ...],
    rng: np.random.Generator,
    light: Light = Light(),
    ground: float = 92.0,
    box: tuple[int, int, int, int] | None = None,
) -> Array:
    """The picture, (height, width) uint8, or the part of it in a box: left, top, width, height."""
    left, top, width, height = box or (0, 0, *eye.size)
    u, v = (grid.ravel() for grid in np.meshgrid(np.arange(width), np.arange(height)))
    u, v = u + left, v + top
    x, y = eye.ground(u.astype(float), v.astype(float))
    picture = _levels(x, y, tapes, light, ground)
    with np.errstate(invalid="ignore"):
        near = np.zeros(x.shape, dtype=bool)
        for tape in tapes:
            s, q = tape.along(x, y)
            reach = tape.width_m / 2 + 0.012 * np.hypot(x - eye.place_m[0], y - eye.place_m[1])
            near |= (np.abs(q) < reach) & (s > -0.6) & (s < max(tape.at_m, default=3.0) + 0.6)
    step = (np.arange(SAMPLES) + 0.5) / SAMPLES - 0.5
    du, dv = (grid.ravel() for grid in np.meshgrid(step, step))
    chosen = np.flatnonzero(near)
    for part in np.array_split(chosen, max(1, len(chosen) // 8000)):
        fine = eye.ground(u[part, None] + du, v[part, None] + dv)
        picture[part] = _levels(*fine, tapes, light, ground).mean(axis=1)
    picture = cv2.GaussianBlur(picture.reshape(height, width), (0, 0), light.blur_px)
    noisy = picture + rng.normal(0, light.noise, picture.shape)
    out = np.clip(np.round(noisy), 0, 255).astype(np.uint8)
    if light.jpeg is not None:
        _, data = cv2.imencode(".jpg", out, [cv2.IMWRITE_JPEG_QUALITY, light.jpeg])
        out = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)
    return out


def _levels(x: Array, y: Array, tapes: tuple[Tape, ...], light: Light, ground: float) -> Array:
    blotches = np.sin(9.1 * x + 2 * np.sin(3.7 * y)) * np.sin(7.3 * y + 2 * np.sin(4.1 * x))
    levels = ground * np.nan_to_num(1 + 0.05 * blotches, nan=1.9)
    for tape in tapes:
        tape.paint(levels, x, y)
    if light.shadow is not None:
        angle, offset, left = light.shadow
        levels[x * np.cos(angle) + y * np.sin(angle) > offset] *= left
    for angle, offset, level in light.covers:
        levels[x * np.cos(angle) + y * np.sin(angle) > offset] = level
    return levels

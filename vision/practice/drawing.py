"""From a camera in the world to its picture: rays through the lens, many per pixel where it counts.

The picture of rays is then darkened towards its corners, blurred, given noise and rounded.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.marks.picture import Pixels
from vision.practice.as_laid import Scenery
from vision.practice.boxes import Box
from vision.practice.deviations import Deviations, Floats, Light
from vision.practice.ground_texture import Yard
from vision.practice.settings import SETTINGS
from vision.practice.shading import shade
from vision.practice.world import Eye, World, body_before
from vision.units.arrays import Array, Flags


def draw(world: World, eye: Eye, yard: Yard, asked: Deviations, rng: np.random.Generator) -> Pixels:
    """The picture (height, width, 3) uint8, blue green red, as the camera delivers it."""
    body = body_before(eye, world.body)
    picture = _light(world, eye, body, yard, asked)
    if eye.odd_rows is not None:
        on_m = eye.odd_rows.pose.camera_in_ground_m - eye.pose.camera_in_ground_m
        later = replace(body, middle_m=body.middle_m + on_m[:2])
        picture[1::2] = _light(world, eye.odd_rows, later, yard, asked)[1::2]
    return _developed(picture, eye, asked.light, rng)


def _light(world: World, eye: Eye, body: Box, yard: Yard, asked: Deviations) -> Floats:
    """Light (height, width, 3) that falls on the pixels, in levels, blurred."""
    light = asked.light
    scenery = Scenery(
        world=world,
        body=body,
        yard=yard,
        spots=world.spots.off([mark.id for mark in world.marks if mark.centre_m[2] > 0]),
        ground=asked.ground,
        to_sun=light.to_sun,
        px_rad=1.0 / float(np.sqrt(eye.lens.fx * eye.lens.fy)),
    )
    width, height = eye.lens.width, eye.lens.height
    v, u = np.indices((height, width)).reshape(2, -1).astype(np.float64)
    origin = eye.pose.camera_in_ground_m
    rays, theta = rays_of(eye, u, v)
    once = shade(scenery, origin, rays)
    picture, fine = once.colours, once.fine.reshape(height, width)
    chosen = np.flatnonzero(fine_pixels(picture.reshape(height, width, 3), fine))
    du, dv = lattice()
    for part in np.array_split(chosen, max(1, len(chosen) // SETTINGS.pixels_at_once)):
        many, _ = rays_of(eye, (u[part, None] + du).ravel(), (v[part, None] + dv).ravel())
        colours = shade(scenery, origin, many).colours
        picture[part] = colours.reshape(len(part), SETTINGS.rays, 3).mean(axis=1)
    picture *= _gain(eye, light, u, v, theta)[:, None]
    picture = picture.reshape(height, width, 3)
    if light.blur_px > 0:
        picture = cv2.GaussianBlur(picture, (0, 0), light.blur_px)  # type: ignore[assignment]
    return picture


def rays_of(eye: Eye, u: Array, v: Array) -> tuple[Floats, Floats]:
    """Unit directions (n, 3) in ground coordinates of pixels, and their angles from the axis.

    NaN where the lens is dark. The lens's own curve is read from a table of it, right to 1e-6 px.
    """
    lens = eye.lens
    x, y = (u - lens.cx) / lens.fx, (v - lens.cy) / lens.fy
    radius = np.hypot(x, y)
    thetas = np.linspace(0, eye.dark_beyond_rad, SETTINGS.curve_points)
    theta = np.interp(radius, lens.radius(thetas), thetas, right=np.nan)
    # From here on 24 bits do: 6e-8 rad is 3e-5 px, and it is twice as fast.
    angle = theta.astype(np.float32)
    ratio = np.sin(angle) / np.maximum(radius, 1e-12).astype(np.float32)
    camera = (ratio * x.astype(np.float32), ratio * y.astype(np.float32), np.cos(angle))
    rays = np.empty((len(angle), 3), dtype=np.float32)
    R = eye.pose.R.astype(np.float32)
    # Written out: a matrix product of so few columns keeps every core busy and is slower.
    for axis in range(3):
        rays[:, axis] = R[0, axis] * camera[0] + R[1, axis] * camera[1] + R[2, axis] * camera[2]
    return rays, angle


def lattice() -> tuple[Array, Array]:
    """Places of the rays within a pixel, from -0.5 to 0.5; the set is even about the centre."""
    share = (np.arange(SETTINGS.rays) + 0.5) / SETTINGS.rays
    return share - 0.5, np.mod(share * SETTINGS.lattice_step, 1.0) - 0.5


def fine_pixels(picture: Floats, near_marks: Flags) -> Flags:
    """Pixels (height, width) that want many rays: near marks, and wherever there is an edge."""
    grey = picture @ np.array([0.114, 0.587, 0.299], dtype=np.float32)
    square = np.ones((3, 3), dtype=np.uint8)
    edges = cv2.morphologyEx(grey, cv2.MORPH_GRADIENT, square) > 2 * SETTINGS.contrast
    grown = cv2.dilate(near_marks.astype(np.uint8), square) > 0
    return np.asarray(edges | grown)


def _gain(eye: Eye, light: Light, u: Array, v: Array, theta: Floats) -> Floats:
    """Share of light (n,) that the lens passes."""
    width, height = eye.lens.width, eye.lens.height
    x, y = 2 * (u + 0.5) / width - 1, 2 * (v + 0.5) / height - 1
    # Corners count as distance 1, and the loss grows with the square of the distance.
    squared = ((x * width) ** 2 + (y * height) ** 2) / (width**2 + height**2)
    fade = np.clip((eye.dark_beyond_rad - theta) / SETTINGS.fade_rad, 0, 1)
    gain: Floats = np.nan_to_num((1 - light.vignetting * squared) * fade * light.level).astype(
        np.float32
    )
    return gain


def _developed(picture: Floats, eye: Eye, light: Light, rng: np.random.Generator) -> Pixels:
    if light.curved:
        picture = _curved(picture)
    if light.bands > 0:
        turn = 2 * np.pi * SETTINGS.bands * np.arange(len(picture)) / len(picture)
        picture = picture + np.float32(light.bands) * np.sin(turn, dtype=np.float32)[:, None, None]
    picture = picture + np.float32(light.noise) * rng.standard_normal(
        picture.shape, dtype=np.float32
    )
    pixels = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    return np.ascontiguousarray(pixels[:, ::-1] if eye.camera.mirrored else pixels)


def _curved(picture: Floats) -> Floats:
    """Levels of a light in levels (IEC 61966-2-1, section 5.2)."""
    light = np.clip(picture / np.float32(255), 0, 1)
    low, high = 12.92 * light, 1.055 * light ** np.float32(1 / 2.4) - np.float32(0.055)
    return np.asarray(255 * np.where(light < 0.0031308, low, high), dtype=np.float32)

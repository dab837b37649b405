"""What a ray sees: ground, tape, marks, boxes, the vehicle's body, wall and sky, lit or shaded.

Rays come in as directions in ground coordinates, all from one camera; colours go out as levels
of 255, blue green red, with a straight-line response: no gamma. Wet ground and a glossy body mirror
what else there is, once: what is seen in them mirrors nothing itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.practice.as_laid import Scenery, ground_colours
from vision.practice.boxes import Box, box_entry, near_box, shaded_by
from vision.practice.deviations import Floats
from vision.practice.placed import to_ground
from vision.practice.spots import CARTON, paper_and_ink
from vision.units.arrays import Array, Flags

WALL_M, WALL_HEIGHT_M = 22.0, 4.5
"""The yard ends at a round wall: something stands behind every picture."""

BAND = (214.0, 218.0, 220.0)
MOTTLES = 5.0
"""How much more a mottled thing's colour varies than the ground's blotches."""
WOOD = (100.0, 150.0, 180.0)
PAINTWORK, STRIPE, GLASS, RUBBER = (
    (176.0, 172.0, 160.0),
    (120.0, 110.0, 30.0),
    (62.0, 52.0, 44.0),
    (38.0, 38.0, 38.0),
)
SUNLIGHT, SKYLIGHT = (0.62, 0.74, 0.84), (0.44, 0.38, 0.34)
"""Share of a colour that the sun and the blue sky light on level ground; an overcast sky gives 1
of each."""
GLASS_AT_RIGHT_ANGLES, WATER_AT_RIGHT_ANGLES = 0.08, 0.02
"""Share that a pane's two faces and a film of water mirror at right angles, by Fresnel's formula
for indices 1.5 and 1.33; towards grazing it rises as Schlick has it (Computer Graphics Forum 13(3),
1994, equation 15)."""
PAINT_SHARE = 0.6
"""How well polished paint mirrors, beside glass."""
PUDDLES = (0.35, 5.0)
"""Wet asphalt is rough: this share of a mirror, and more where the ground's blotches lie low."""
GLINT = (120.0, 60.0)
"""The sun in wet ground: levels at its middle, and the power of the cosine round it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shaded:
    """Colours (n, 3) in levels, and `fine` (n,): where one ray per pixel will not do."""

    colours: Floats
    fine: Flags


def shade(scenery: Scenery, origin: Array, rays: Floats) -> Shaded:
    """Follow rays (n, 3) from `origin` (3,); a ray that is NaN stays black."""
    colours = np.zeros((len(rays), 3), dtype=np.float32)
    fine = np.zeros(len(rays), dtype=bool)
    down = rays[:, 2] < -1e-4
    reach = np.full(len(rays), np.inf, dtype=np.float32)
    np.divide(np.float32(-origin[2]), rays[:, 2], out=reach, where=down)
    what, faces = _meet(scenery, origin, rays, reach)
    flat = np.hypot(rays[:, 0], rays[:, 1]) * reach
    within_wall = down & (flat < WALL_M)
    seen = np.flatnonzero((what == 0) & within_wall)
    points = origin[:2].astype(np.float32) + reach[seen, None] * rays[seen, :2]
    colours[seen], fine[seen] = _ground(scenery, points, reach[seen], -rays[seen, 2])
    if scenery.ground.wet > 0:
        colours[seen] = _wetted(scenery, points, rays[seen], colours[seen])
    beyond = np.flatnonzero(np.isfinite(rays[:, 2]) & (what == 0) & ~within_wall)
    colours[beyond] = _surroundings(scenery, origin, rays[beyond])
    for index, box in enumerate(scenery.boxes, start=1):
        hit = np.flatnonzero(what == index)
        if hit.size:
            places = origin.astype(np.float32) + reach[hit, None] * rays[hit]
            colours[hit] = _on_box(scenery, box, places, faces[hit])
            if box is scenery.body and scenery.ground.gloss > 0:
                colours[hit] = _polished(scenery, places, rays[hit], faces[hit], colours[hit])
            # Edges of plain things stand out by themselves.
            fine[hit] = box is not scenery.body and box.colour is None
    return Shaded(colours=colours, fine=fine)


def _meet(
    scenery: Scenery, origin: Floats, rays: Floats, reach: Floats
) -> tuple[NDArray[np.int16], NDArray[np.int8]]:
    """Which box each ray (n, 3) meets first, counted from 1, or 0 for none; and by which face.

    Only what is nearer than `reach` (n,) counts, which is cut to there.
    """
    what = np.zeros(len(rays), dtype=np.int16)
    faces = np.zeros(len(rays), dtype=np.int8)
    one_eye = origin.ndim == 1
    for index, box in enumerate(scenery.boxes, start=1):
        chosen = near_box(box, origin, rays) if one_eye else np.arange(len(rays))
        away, face = box_entry(box, origin, rays[chosen])
        # From a face of a box a ray does not meet that box again.
        nearer = (away < reach[chosen]) & (one_eye | (away > 1e-3))
        hit = chosen[nearer]
        reach[hit], what[hit], faces[hit] = away[nearer], index, face[nearer]
    return what, faces


def _schlick(at_right_angles: float, cosine: Floats) -> Floats:
    low = np.float32(at_right_angles)
    return np.asarray(low + (1 - low) * np.clip(1 - cosine, 0, 1) ** 5)


def _wetted(scenery: Scenery, points: Floats, rays: Floats, colours: Floats) -> Floats:
    """Ground (n, 2) under a film of water: it mirrors what is above, flat rays most."""
    up = rays * np.array([1, 1, -1], dtype=np.float32)
    places = np.column_stack([points, np.zeros(len(points), dtype=np.float32)])
    rough, depth = PUDDLES
    low = scenery.yard.blotches.at(points[:, 0], points[:, 1], np.zeros_like(points[:, 0]))
    smooth = np.clip(np.float32(rough) - np.float32(depth) * low, 0, 1)
    share = np.float32(scenery.ground.wet) * smooth * _schlick(WATER_AT_RIGHT_ANGLES, up[:, 2])
    above = _elsewhere(scenery, places, up)
    if scenery.to_sun is not None:
        level, power = GLINT
        towards = np.clip(up @ scenery.to_sun.astype(np.float32), 0, 1)
        lit = ~shaded_by(scenery.world.body, scenery.to_sun, places)
        above += (np.float32(level) * towards ** np.float32(power) * lit / 0.3)[:, None]
    return np.asarray(colours + share[:, None] * (above - colours), dtype=np.float32)


def _polished(
    scenery: Scenery, places: Floats, rays: Floats, faces: NDArray[np.int8], colours: Floats
) -> Floats:
    """The body's upright faces with what panes and paint mirror of the yard."""
    out = colours.copy()
    glass = np.array(GLASS, dtype=np.float32)
    for axis in (0, 1):
        on = np.flatnonzero(faces // 2 == axis)
        flip = np.ones(3, dtype=np.float32)
        flip[axis] = -1
        away = rays[on] * flip
        pane = (
            _body_colours(scenery.body, scenery.body.local(places[on]), faces[on]) == glass
        ).all(axis=1)
        share = np.where(pane, 1.0, PAINT_SHARE).astype(np.float32)
        share *= _schlick(GLASS_AT_RIGHT_ANGLES, np.abs(rays[on, axis]))
        share *= np.float32(scenery.ground.gloss)
        mirrored = _elsewhere(scenery, places[on], away)
        out[on] += share[:, None] * (mirrored - out[on])
    return out


def _elsewhere(scenery: Scenery, places: Floats, rays: Floats) -> Floats:
    """Colours (n, 3) of what rays from places (n, 3) on ground or body meet, unmirrored."""
    colours = _surroundings(scenery, np.zeros(3), rays)
    down = rays[:, 2] < -1e-3
    reach = np.full(len(rays), np.inf, dtype=np.float32)
    np.divide(-places[:, 2], rays[:, 2], out=reach, where=down)
    flat = places[:, :2] + np.where(down, reach, 0)[:, None] * rays[:, :2]
    seen = np.flatnonzero(down & (np.hypot(flat[:, 0], flat[:, 1]) < WALL_M))
    if seen.size:
        colours[seen], _ = _ground(scenery, flat[seen], reach[seen], -rays[seen, 2])
    what, faces = _meet(scenery, places, rays, reach)
    for index, box in enumerate(scenery.boxes, start=1):
        hit = np.flatnonzero(what == index)
        if hit.size:
            there = places[hit] + reach[hit, None] * rays[hit]
            colours[hit] = _on_box(scenery, box, there, faces[hit])
    return colours


# ------------------------------------------------------------------------------------------ boxes


def _on_box(scenery: Scenery, box: Box, places: Floats, faces: NDArray[np.int8]) -> Floats:
    is_body = box is scenery.body
    local = box.local(places).astype(np.float32)
    normals = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1]], np.float32)
    overcast = np.array([0.72, 0.72, 0.78, 0.78, 1.0], dtype=np.float32)
    colours = (
        _body_colours(box, local, faces) if is_body else _top_colours(scenery, box, local, faces)
    )
    if scenery.to_sun is None:
        return np.asarray(colours * overcast[faces, None])
    towards = box.local(scenery.to_sun, direction=True).astype(np.float32)
    facing = np.maximum(normals @ towards, 0) / np.float32(max(scenery.to_sun[2], 0.3))
    sun = np.minimum(facing, 1.3)[faces]
    if not is_body:
        sun = sun * ~shaded_by(scenery.world.body, scenery.to_sun, places)
    light = np.outer(sun, SUNLIGHT) + np.outer(overcast[faces], SKYLIGHT)
    return np.asarray(colours * light, dtype=np.float32)


def _body_colours(box: Box, local: Floats, faces: NDArray[np.int8]) -> Floats:
    """A plain coach body: skirt, stripe, windows, wheels."""
    side = faces >= 2
    along, height = np.where(side, local[:, 0], local[:, 1]), local[:, 2]
    top = box.height_m
    colours = np.tile(np.array(PAINTWORK, dtype=np.float32), (len(local), 1))
    upright = faces < 4
    colours[upright & (np.abs(height - 0.36 * top) < 0.02 * top)] = STRIPE
    pane = (np.abs(np.mod(along, 1.5) - 0.75) < 0.62) & (np.abs(height - 0.58 * top) < 0.13 * top)
    edge = np.where(side, box.half_m[0], box.half_m[1]) - 0.15
    colours[upright & pane & (np.abs(along) < edge)] = GLASS
    colours[upright & (height < 0.1 * top)] = np.array(PAINTWORK, dtype=np.float32) * 0.45
    for axle in (-0.31, 0.33):
        away = np.hypot(along - 2 * axle * box.half_m[0], height - 0.48)
        colours[upright & side & (away < 0.58)] = RUBBER
        colours[upright & side & (away < 0.24)] = np.array(PAINTWORK, dtype=np.float32) * 0.6
    return colours


def _top_colours(scenery: Scenery, box: Box, local: Floats, faces: NDArray[np.int8]) -> Floats:
    """Something plain, a carton, or a trestle whose top carries a mark."""
    if box.colour is not None:
        return _plain_colours(scenery, box, local, faces)
    mark = next(each for each in scenery.world.marks if str(each.id) == box.name)
    carton = not mark.shape.drawn
    colours = np.tile(np.array(CARTON if carton else WOOD, dtype=np.float32), (len(local), 1))
    on_top = faces == 4
    if carton:
        colours[on_top & (np.abs(local[:, 1]) < 0.03)] *= 1.15
        colours[~on_top & (np.mod(local[:, 2], 0.25) < 0.01)] *= 0.6
        return colours
    top = np.flatnonzero(on_top)
    paper, ink = paper_and_ink(mark.ink)
    colours[top] = paper
    colours[top[mark.shape.inked(local[top, 0], local[top, 1])]] = ink
    spots = scenery.world.spots.on(mark.id)
    if spots.each:
        places = to_ground(local[top, 0], local[top, 1], box.middle_m, box.heading_rad)
        painted = colours[top]
        spots.lay(places, painted, np.tile(np.array(WOOD, dtype=np.float32), (len(top), 1)))
        colours[top] = painted
    return colours


def _plain_colours(scenery: Scenery, box: Box, local: Floats, faces: NDArray[np.int8]) -> Floats:
    """One colour, mottled, with light bands round it, or across where it lies flat."""
    colours = np.tile(np.array(box.colour, dtype=np.float32), (len(local), 1))
    if box.bands:
        half = box.half_m[0]
        flat = box.across == 2
        low, high = (-half, half) if flat else (box.foot_m, box.height_m)
        # A little less than 1 at the end, so that a top is all of one colour.
        share = np.clip((local[:, 0 if flat else 2] - low) / (high - low), 0, 0.999)
        colours[np.mod(share * (2 * box.bands + 1), 2) >= 1] = BAND
    if box.mottled:
        x = np.where(faces >= 2, local[:, 0], local[:, 1])
        y = np.where(faces == 4, local[:, 1], local[:, 2])
        blotches = scenery.yard.blotches.at(x, y, np.zeros_like(x))
        colours *= (1 + np.float32(MOTTLES * box.mottled) * blotches)[:, None]
    return np.asarray(colours)


def _ground(
    scenery: Scenery, points: Floats, reach: Floats, steepness: Floats
) -> tuple[Floats, Flags]:
    """Colours of ground points (n, 2) in the light there, and where tape or a sheet is near."""
    colours, fine = ground_colours(scenery, points, reach, steepness)
    colours *= _light_on_ground(scenery, points)
    return colours, fine


# ------------------------------------------------------------------------------------------ light


def _light_on_ground(scenery: Scenery, points: Floats) -> Floats:
    """Share of light (n, 3) on the ground: a hard shadow under the sun, a soft one at the foot."""
    half = scenery.world.body.half_m
    across = np.maximum(np.abs(points[:, 0]) - np.float32(half[0]), 0)
    away = np.hypot(across, np.maximum(np.abs(points[:, 1]) - np.float32(half[1]), 0))
    open_sky = 1 - np.float32(0.45) * np.exp(-away / np.float32(0.45))
    if scenery.to_sun is None:
        return np.repeat(open_sky[:, None], 3, axis=1)
    places = np.column_stack([points, np.zeros(len(points), dtype=np.float32)])
    lit = ~shaded_by(scenery.world.body, scenery.to_sun, places)
    for box in scenery.boxes[1:]:
        longest = np.hypot(*box.half_m) + box.height_m / max(
            np.tan(np.arcsin(scenery.to_sun[2])), 1e-3
        )
        near = np.hypot(*(points - box.middle_m.astype(np.float32)).T) < longest
        chosen = np.flatnonzero(near & lit)
        lit[chosen] = ~shaded_by(box, scenery.to_sun, places[chosen])
    sun, sky = np.array(SUNLIGHT, dtype=np.float32), np.array(SKYLIGHT, dtype=np.float32)
    light: Floats = lit[:, None] * sun + open_sky[:, None] * sky
    return light


def _surroundings(scenery: Scenery, origin: Array, rays: Floats) -> Floats:
    """A wall of brick and plaster round the yard, and the sky above it."""
    slope = rays[:, 2] / np.maximum(np.hypot(rays[:, 0], rays[:, 1]), 1e-6)
    height = origin[2] + WALL_M * slope
    turn = np.arctan2(rays[:, 1], rays[:, 0]) + np.float32(scenery.ground.turn_rad)
    part = np.floor(turn * 6 / np.pi).astype(np.int64)
    walls = np.array([[84, 98, 122], [128, 136, 142], [96, 120, 164], [120, 122, 120]], np.float32)
    colours = walls[np.mod(part * 7 + 2, 4)]
    pane = (np.abs(np.mod(turn * 24 / np.pi, 1) - 0.5) < 0.28) & (np.abs(height - 2.6) < 0.55)
    colours[pane] = GLASS
    top = WALL_HEIGHT_M - 1.2 * (np.mod(part, 3) == 1)
    up = np.clip(slope, 0, 3)[:, None]
    clear = scenery.to_sun is not None
    zenith = np.array((200, 150, 110) if clear else (205, 203, 198), dtype=np.float32)
    horizon = np.array((215, 200, 185) if clear else (188, 188, 186), dtype=np.float32)
    sky = horizon + (zenith - horizon) * up / (up + 0.6)
    return np.where((height > top)[:, None], sky, colours).astype(np.float32)

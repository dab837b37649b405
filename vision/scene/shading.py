"""What a ray sees: ground, tape, marks, boxes, the vehicle's body, wall and sky, lit or shaded.

Rays come in as directions in ground coordinates, all from one camera; colours go out as levels
of 255, blue green red, with a straight-line response: no gamma. A mark's edges are sharp here and
softened by many rays per pixel, so that nothing is shared with the drawing the checker measures by.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from vision.job import Board, BoxCorner, Cross, Quadrant
from vision.scene.world import Box, World, sheet_half_m

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vision.geometry import Array
    from vision.job import Ink, MarkShape, SingleShape
    from vision.layout import PlannedMark
    from vision.scene.ground_texture import Yard
    from vision.scene.world import Tape

    Floats = NDArray[np.floating[Any]]
    Mask = NDArray[np.bool_]

WALL_M, WALL_HEIGHT_M = 22.0, 4.5
"""The yard ends at a round wall: something stands behind every picture."""

ASPHALT = (88.0, 91.0, 92.0)
LIGHT_TAPE, DARK_TAPE = (202.0, 208.0, 208.0), (40.0, 40.0, 42.0)
DARK_INK, LIGHT_INK = (34.0, 33.0, 33.0), (205.0, 210.0, 212.0)
CARTON, WOOD = (96.0, 138.0, 172.0), (100.0, 150.0, 180.0)
PAINTWORK, STRIPE, GLASS, RUBBER = (
    (176.0, 172.0, 160.0),
    (120.0, 110.0, 30.0),
    (62.0, 52.0, 44.0),
    (38.0, 38.0, 38.0),
)
SUNLIGHT, SKYLIGHT = (0.62, 0.74, 0.84), (0.44, 0.38, 0.34)
"""Share of a colour that the sun and the blue sky light on level ground; an overcast sky gives 1
of each."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scenery:
    """All that a shading needs: the world as one camera meets it, textures, the sun.

    `px_rad` is the angle of a pixel, for how much ground one covers; `to_sun` (3,) or None.
    """

    world: World
    body: Box
    yard: Yard
    to_sun: Array | None
    px_rad: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shaded:
    """Colours (n, 3) in levels, and `fine` (n,): where one ray per pixel will not do."""

    colours: Floats
    fine: Mask


def shade(scenery: Scenery, origin: Array, rays: Floats) -> Shaded:
    """Follow rays (n, 3) from `origin` (3,); a ray that is NaN stays black."""
    colours = np.zeros((len(rays), 3), dtype=np.float32)
    fine = np.zeros(len(rays), dtype=bool)
    down = rays[:, 2] < -1e-4
    reach = np.full(len(rays), np.inf, dtype=np.float32)
    np.divide(np.float32(-origin[2]), rays[:, 2], out=reach, where=down)
    what = np.where(down, 0, -1).astype(np.int16)
    faces = np.zeros(len(rays), dtype=np.int8)
    for index, box in enumerate((scenery.body, *scenery.world.boxes), start=1):
        chosen = _near_box(box, origin, rays)
        away, face = box_entry(box, origin, rays[chosen])
        nearer = away < reach[chosen]
        hit = chosen[nearer]
        reach[hit], what[hit], faces[hit] = away[nearer], index, face[nearer]
    flat = np.hypot(rays[:, 0], rays[:, 1]) * reach
    seen = np.flatnonzero((what == 0) & (flat < WALL_M))
    points = origin[:2].astype(np.float32) + reach[seen, None] * rays[seen, :2]
    colours[seen], fine[seen] = _ground(scenery, points, reach[seen], -rays[seen, 2])
    beyond = np.flatnonzero(
        np.isfinite(rays[:, 2]) & ((what == -1) | ((what == 0) & (flat >= WALL_M)))
    )
    colours[beyond] = _surroundings(scenery, origin, rays[beyond])
    for index, box in enumerate((scenery.body, *scenery.world.boxes), start=1):
        hit = np.flatnonzero(what == index)
        if hit.size:
            places = origin.astype(np.float32) + reach[hit, None] * rays[hit]
            colours[hit] = _on_box(scenery, box, places, faces[hit], index == 1)
            fine[hit] = index > 1
    return Shaded(colours=colours, fine=fine)


# ------------------------------------------------------------------------------------------ boxes


def _near_box(box: Box, origin: Array, rays: Floats) -> NDArray[np.intp]:
    """Rays that can meet a box at all: those inside the cone round its bounding ball."""
    centre = np.array([*box.middle_m, box.height_m / 2]) - origin
    away = float(np.linalg.norm(centre))
    radius = float(np.linalg.norm([*box.half_m, box.height_m / 2]))
    if away <= radius:
        return np.flatnonzero(np.isfinite(rays[:, 2]))
    least = np.sqrt(away**2 - radius**2) / away
    x, y, z = (centre / away).astype(np.float32)
    return np.flatnonzero(rays[:, 0] * x + rays[:, 1] * y + rays[:, 2] * z > np.float32(least))


def box_entry(box: Box, origin: Array, rays: Floats) -> tuple[Floats, NDArray[np.int8]]:
    """How far along each ray it enters a box (inf: never), and by which face.

    Faces: 0 and 1 ahead and behind along the box's own x, 2 and 3 left and right, 4 the top.
    """
    start, local = box.local(origin), box.local(rays, direction=True)
    low, high = (-box.half_m[0], -box.half_m[1], 0.0), (*box.half_m, box.height_m)
    away = np.full(len(rays), -np.inf, dtype=np.float32)
    leaves = np.full(len(rays), np.inf, dtype=np.float32)
    face = np.zeros(len(rays), dtype=np.int8)
    # Axis by axis: a reduction over three columns is slower than the three of them apart.
    for axis in range(3):
        step = local[:, axis]
        with np.errstate(divide="ignore", invalid="ignore"):
            first = np.float32(low[axis] - start[axis]) / step
            second = np.float32(high[axis] - start[axis]) / step
        enters = np.minimum(first, second)
        leaves = np.minimum(leaves, np.maximum(first, second))
        later = enters > away
        away = np.where(later, enters, away)
        face = np.where(later, np.int8(4) if axis == 2 else (2 * axis + (step > 0)), face)
    met = (away < leaves) & (away > 0)
    return np.where(met, away, np.float32(np.inf)), face.astype(np.int8)


def _on_box(
    scenery: Scenery, box: Box, places: Floats, faces: NDArray[np.int8], is_body: bool
) -> Floats:
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
        sun = sun * ~_shaded_by(scenery.world.body, scenery.to_sun, places)
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
    """A carton, or a trestle whose top carries a mark."""
    mark = next(each for each in scenery.world.marks if each.id == box.name)
    carton = isinstance(mark.shape, BoxCorner)
    colours = np.tile(np.array(CARTON if carton else WOOD, dtype=np.float32), (len(local), 1))
    on_top = faces == 4
    if carton:
        colours[on_top & (np.abs(local[:, 1]) < 0.03)] *= 1.15
        colours[~on_top & (np.mod(local[:, 2], 0.25) < 0.01)] *= 0.6
        return colours
    top = np.flatnonzero(on_top)
    paper, ink = _paper_and_ink(mark.ink)
    colours[top] = paper
    colours[top[_inked(mark.shape, local[top, 0], local[top, 1])]] = ink
    return colours


# ----------------------------------------------------------------------------------------- ground


def _ground(
    scenery: Scenery, points: Floats, reach: Floats, steepness: Floats
) -> tuple[Floats, Mask]:
    """Colours of ground points (n, 2), and where tape or a sheet is near."""
    x, y = points[:, 0], points[:, 1]
    footprint = reach * np.float32(scenery.px_rad)
    mean, longest = footprint / np.sqrt(steepness), footprint / steepness
    yard = scenery.yard
    grain = yard.grain.at(x, y, mean)
    factor = (1 + grain + yard.blotches.at(x, y, mean)) * yard.painted.at(x, y, mean)
    colours = factor[:, None] * np.array(ASPHALT, dtype=np.float32)
    fine = np.zeros(len(points), dtype=bool)
    world = scenery.world
    for tape in world.tapes:
        marks = [mark for mark in world.marks if mark.strip == tape.name]
        _lay_tape(tape, marks, points, longest, (colours, fine, 1 + 0.25 * grain))
    for mark in world.marks:
        if mark.strip is None and mark.centre_m[2] == 0:
            _lay_sheet(mark, points, longest, (colours, fine))
    colours *= _light_on_ground(scenery, points)
    return colours, fine


def _local(points: Floats, middle: Array, heading: float) -> tuple[Floats, Floats]:
    c, s = np.float32(np.cos(heading)), np.float32(np.sin(heading))
    dx, dy = points[:, 0] - np.float32(middle[0]), points[:, 1] - np.float32(middle[1])
    return c * dx + s * dy, c * dy - s * dx


def _lay_tape(
    tape: Tape,
    marks: list[PlannedMark],
    points: Floats,
    longest: Floats,
    onto: tuple[Floats, Mask, Floats],
) -> None:
    colours, fine, relief = onto
    s, q = _local(points, tape.middle_m, tape.heading_rad)
    sheet = sheet_half_m(marks[0]) or (0.0, 0.0)
    width = max(tape.half_m[1], sheet[1])
    margin = 1.5 * longest
    close = np.flatnonzero((np.abs(q) < width + margin) & (np.abs(s) < tape.half_m[0] + margin))
    fine[close] = True
    s, q = s[close], q[close]
    centres = np.array([mark.centre_m for mark in marks], dtype=np.float32)
    at, off = _local(centres, tape.middle_m, tape.heading_rad)
    order = np.argsort(at)
    at, off = at[order], off[order]
    nearest = np.searchsorted((at[1:] + at[:-1]) / 2, s)
    ds, dq = s - at[nearest], q - off[nearest]
    taped = (np.abs(q) < tape.half_m[1]) & (np.abs(s) < tape.half_m[0])
    taped |= (np.abs(ds) < sheet[0]) & (np.abs(dq) < sheet[1])
    inked = _inked(marks[0].shape, ds, dq)
    paper, ink = _paper_and_ink(marks[0].ink)
    colours[close[taped]] = relief[close[taped], None] * paper
    colours[close[inked]] = ink


def _lay_sheet(
    mark: PlannedMark, points: Floats, longest: Floats, onto: tuple[Floats, Mask]
) -> None:
    colours, fine = onto
    half = sheet_half_m(mark)
    if half is None:
        return
    s, q = _local(points, mark.centre_m[:2], mark.heading_rad)
    margin = 1.5 * longest
    fine |= (np.abs(s) < half[0] + margin) & (np.abs(q) < half[1] + margin)
    paper, ink = _paper_and_ink(mark.ink)
    colours[(np.abs(s) < half[0]) & (np.abs(q) < half[1])] = paper
    colours[_inked(mark.shape, s, q)] = ink


def _paper_and_ink(ink: Ink) -> tuple[Floats, Floats]:
    pair = (LIGHT_TAPE, DARK_INK) if ink == "dark" else (DARK_TAPE, LIGHT_INK)
    return np.array(pair[0], dtype=np.float32), np.array(pair[1], dtype=np.float32)


def _inked(shape: MarkShape | SingleShape | object, s: Floats, q: Floats) -> Mask:
    """Whether places in mark coordinates (n,) lie on ink."""
    match shape:
        case Cross():
            along = (np.abs(s) < shape.arm_along_m) & (np.abs(q) < shape.line_m / 2)
            across = (np.abs(q) < shape.arm_across_m) & (np.abs(s) < shape.line_m / 2)
            return np.asarray(along | across)
        case Quadrant():
            return np.asarray((s * s + q * q < shape.radius_m**2) & (s * q > 0))
        case Board():
            column = np.floor(s / shape.square_m + (shape.corners_along + 1) / 2)
            row = np.floor(q / shape.square_m + (shape.corners_across + 1) / 2)
            inside = (column >= 0) & (column <= shape.corners_along)
            inside &= (row >= 0) & (row <= shape.corners_across)
            return np.asarray(inside & (np.mod(row + column, 2) == 0))
        case _:
            return np.zeros(len(s), dtype=bool)


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
    lit = ~_shaded_by(scenery.world.body, scenery.to_sun, places)
    for box in scenery.world.boxes:
        longest = np.hypot(*box.half_m) + box.height_m / max(
            np.tan(np.arcsin(scenery.to_sun[2])), 1e-3
        )
        near = np.hypot(*(points - box.middle_m.astype(np.float32)).T) < longest
        chosen = np.flatnonzero(near & lit)
        lit[chosen] = ~_shaded_by(box, scenery.to_sun, places[chosen])
    sun, sky = np.array(SUNLIGHT, dtype=np.float32), np.array(SKYLIGHT, dtype=np.float32)
    light: Floats = lit[:, None] * sun + open_sky[:, None] * sky
    return light


def _shaded_by(box: Box, to_sun: Array, places: Floats) -> Mask:
    """Whether a box stands between places (n, 3) and the sun."""
    local = box.local(places).astype(np.float32)
    towards = box.local(to_sun, direction=True)
    begins = np.zeros(len(places), dtype=np.float32)
    ends = (np.float32(box.height_m) - local[:, 2]) / np.float32(towards[2])
    for axis in (0, 1):
        half, step = np.float32(box.half_m[axis]), towards[axis]
        if abs(step) < 1e-9:
            ends = np.where(np.abs(local[:, axis]) < half, ends, -1.0)
            continue
        swing = half / np.float32(abs(step))
        middle = -local[:, axis] / np.float32(step)
        begins = np.maximum(begins, middle - swing)
        ends = np.minimum(ends, middle + swing)
    return np.asarray(ends - begins > 1e-5)


def _surroundings(scenery: Scenery, origin: Array, rays: Floats) -> Floats:
    """A wall of brick and plaster round the yard, and the sky above it."""
    slope = rays[:, 2] / np.maximum(np.hypot(rays[:, 0], rays[:, 1]), 1e-6)
    height = origin[2] + WALL_M * slope
    turn = np.arctan2(rays[:, 1], rays[:, 0])
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

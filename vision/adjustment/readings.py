"""Statements of what people measured: taped lengths, gauge angles and levels.

A taped length is d (1 + s): d the straight distance between two places, or the distance of one from
the body's centre line, and s the scale error of the tape where it is named. A gauge angle is that
of the camera against the ground's plane or against gravity; the ground then has two unknown slopes,
and down is (slope_x, slope_y, -1) brought to unit length, in ground coordinates. A level shows how
much the ground, or the body's floor, rises ahead or to the left: -slope_x and -slope_y, and for the
floor what the body's turn against the ground adds, -w_y and w_x.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from vision.adjustment.groups import FaultKind, Group
from vision.adjustment.settings import SETTINGS
from vision.adjustment.state import Columns, Indices, State
from vision.adjustment.statements import Statement
from vision.adjustment.world import TURNED_ABOUT, World
from vision.camera.geometry import cross_matrix, wrap_angle
from vision.job.job import AngleReading, Job, LengthReading, LevelReading, Reading
from vision.job.mark_id import MarkId, PlaceId
from vision.units.arrays import Array

SHORTEST_M = 1e-9
"""A length below this has no direction, nor has an axis that is this near to plumb."""


class Place(NamedTuple):
    """A place among the unknowns: `constant_m` (3,) plus `slope` (3, c) times those at `columns`.

    `block` is that of the mark's own deviation, where it is eliminated, and `by_own` its slope.
    """

    constant_m: Array
    columns: Indices
    slope: Array
    block: int = -1
    by_own: Array | None = None

    def at_m(self, state: State) -> Array:
        """Where it lies in a state, (3,), its mark's own deviation aside."""
        return np.asarray(self.constant_m + self.slope @ state.x[self.columns])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """What lengths and angles are read of: the marks, and `cameras` by their poses."""

    job: Job
    world: World
    columns: Columns
    cameras: Mapping[str, int]


def place_of(name: PlaceId, known: Known) -> Place | None:
    """The place of a mark or camera; None where the network does not know it."""
    world, columns, cameras = known.world, known.columns, known.cameras
    if not isinstance(name, MarkId):
        if name in cameras:
            return Place(np.zeros(3), columns.pose[cameras[name], :3], np.eye(3))
        if name not in world.cameras:
            return None
        own = world.cameras[name]
        planned = known.job.camera(name).position_m
        own_and_stance = [*range(own.start, own.stop), *world.stance.values()]
        touched = columns.base + np.array(own_and_stance, dtype=np.intp)
        return Place(planned, touched, np.hstack([np.eye(3), world.d_turned_m(planned)]))
    if name not in world.marks:
        return None
    centre = world.planned[name].centre_m
    (by_kept,), (by_own,), (block,) = world.d_places([name], centre[None])
    touched = np.flatnonzero(by_kept.any(axis=0))
    return Place(centre, columns.base + touched, by_kept[:, touched], int(block), by_own)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Length(Statement):
    """A taped length between places, or of one from the centre line; `side` is 1 to its left.

    `slopes` (e, 3, c) are those of the places by all columns, and `tape` is which column is the
    tape's scale, None for a tape without a name.
    """

    reading: LengthReading
    constants_m: Array
    slopes: Array
    side: float
    tape: int | None
    degrees: int = 1
    freed_sigma: float = SETTINGS.freed.length_m

    def rows(self, state: State) -> tuple[Array, Array]:
        """Predicted minus read, m."""
        x = state.x[self.columns]
        places = self.constants_m + self.slopes @ x
        if self.reading.kind == "offset":
            length, by_x = self.side * float(places[0, 1]), self.side * self.slopes[0, 1]
        else:
            apart = places[0] - places[1]
            length = max(float(np.linalg.norm(apart)), SHORTEST_M)
            by_x = (apart / length) @ (self.slopes[0] - self.slopes[1])
        if self.tape is not None:
            scale = 1 + float(x[self.tape])
            by_x = scale * by_x
            by_x[self.tape] = length
            length *= scale
        return np.array([length - self.reading.value_m]), by_x[None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Angle(Statement):
    """Tilt and roll of a camera, or one of them; `columns` are its turn's, then the two slopes."""

    reading: AngleReading
    pose: int
    freed_sigma: float = SETTINGS.freed.angle_rad

    def rows(self, state: State) -> tuple[Array, Array]:
        """Predicted minus read, rad, the tilt first."""
        slopes = state.x[self.columns[3:]]
        sloping = len(slopes) > 0
        raw = np.array([*slopes, -1.0]) if sloping else np.array([0.0, 0.0, -1.0])
        norm = float(np.linalg.norm(raw))
        unit, R = raw / norm, state.R[self.pose]
        down = R @ unit
        by_x = -cross_matrix(down)
        if sloping:
            by_slope = R @ (np.eye(3) - np.outer(unit, unit))[:, :2] / norm
            by_x = np.concatenate([by_x, by_slope], axis=1)
        x, y, z = down
        level = float(max(np.hypot(x, y), SHORTEST_M))
        r, by_down = [], []
        if self.reading.tilt_rad is not None:
            r.append(np.arctan2(z, level) - self.reading.tilt_rad)
            by_down.append([-z * x / level, -z * y / level, level])
        if self.reading.roll_rad is not None:
            r.append(float(wrap_angle(np.arctan2(x, y) - self.reading.roll_rad)))
            by_down.append([y / level**2, -x / level**2, 0.0])
        return np.array(r), np.array(by_down) @ by_x

    def ways(self, state: State) -> dict[FaultKind, Array]:
        """Each angle is off by itself."""
        del state
        return {"turn": np.eye(self.degrees)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level(Statement):
    """A rise of the ground or of the floor; `signs` (c,) say how it goes with its columns.

    Rises add up: the product of two is left out, 0.003 degrees at 3 degrees each.
    """

    reading: LevelReading
    signs: Array
    degrees: int = 1
    freed_sigma: float = SETTINGS.freed.angle_rad

    def rows(self, state: State) -> tuple[Array, Array]:
        """Predicted minus read, as a tangent."""
        off = float(self.signs @ state.x[self.columns]) - self.reading.rise
        return np.array([off]), self.signs[None]

    def ways(self, state: State) -> dict[FaultKind, Array]:
        """The tool was turned."""
        del state
        return {"turn": np.eye(1)}


def read_statement(group: Group, reading: Reading, known: Known) -> Length | Angle | Level | None:
    """What was read between places that the network knows; None where it does not know them."""
    if isinstance(reading, AngleReading):
        return _angle(group, reading, known)
    if isinstance(reading, LevelReading):
        return _level(group, reading, known)
    found = [place_of(name, known) for name in reading.between]
    places = [place for place in found if place is not None]
    if len(places) < len(found):
        return None
    every = [place.columns for place in places]
    if reading.tape is not None:
        tape = known.columns.base + known.world.tapes[reading.tape]
        every.append(np.array([tape], dtype=np.intp))
    touched = np.unique(np.concatenate(every))
    slopes = np.zeros((len(places), 3, len(touched)))
    for slope, place in zip(slopes, places, strict=True):
        slope[:, np.searchsorted(touched, place.columns)] = place.slope
    return Length(
        group=group,
        columns=touched,
        sigma=reading.sigma_m,
        reading=reading,
        constants_m=np.array([place.constant_m for place in places]),
        slopes=slopes,
        side=_side(known, reading.between[0]),
        tape=None if reading.tape is None else int(np.searchsorted(touched, tape)),
    )


def _angle(group: Group, reading: AngleReading, known: Known) -> Angle | None:
    if reading.camera not in known.cameras:
        return None
    pose = known.cameras[reading.camera]
    touched = known.columns.pose[pose, 3:]
    slope = known.world.slope
    if reading.against == "gravity" and slope is not None:
        touched = np.r_[touched, known.columns.base + np.arange(slope.start, slope.stop)]
    return Angle(
        group=group,
        columns=touched,
        degrees=(reading.tilt_rad is not None) + (reading.roll_rad is not None),
        sigma=reading.sigma_rad,
        reading=reading,
        pose=pose,
    )


def _level(group: Group, reading: LevelReading, known: Known) -> Level:
    world, about = known.world, TURNED_ABOUT[reading.along]
    assert world.slope is not None, "levels are read against gravity"
    touched, signs = [world.slope.start + 1 - about], [-1.0]
    if reading.on == "floor" and about in world.stance:
        touched.append(world.stance[about])
        signs.append(1.0 if about == 0 else -1.0)
    return Level(
        group=group,
        columns=known.columns.base + np.array(touched, dtype=np.intp),
        sigma=reading.sigma,
        reading=reading,
        signs=np.array(signs),
    )


def _side(known: Known, name: PlaceId) -> float:
    """1 where a place is planned to the left of the centre line, -1 to its right."""
    if isinstance(name, MarkId):
        y = known.world.planned[name].centre_m[1]
    else:
        y = known.job.camera(name).position_m[1]
    return -1.0 if y < 0 else 1.0

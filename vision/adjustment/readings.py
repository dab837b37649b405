"""Rows of what people measured: taped lengths and gauge angles, with their derivatives.

A taped length is d (1 + s): d the straight distance between two places, or the distance of one from
the body's centre line, and s the scale error of the tape where it is named. A gauge angle is that
of the camera against the ground's plane or against gravity; the ground then has two unknown slopes,
and down is (slope_x, slope_y, -1) brought to unit length, in ground coordinates.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vision.adjustment.groups import Group
from vision.adjustment.plan_fit import UNKNOWNS
from vision.adjustment.state import State
from vision.adjustment.world import World
from vision.camera.geometry import cross_matrix, wrap_angle
from vision.job.job import AngleReading, Job, LengthReading, Reading
from vision.units.arrays import Array

FREED_LENGTH_M = 100.0
FREED_ANGLE_RAD = 10.0
"""Sigma of a reading that is set free: it says nothing any more."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadingView:
    """One reading with what it is between.

    `ends` are, for each
    place, the index of a camera, or the planned place (3,) and its derivative (3, kept) by the
    world's kept unknowns.
    """

    group: Group
    reading: Reading
    ends: tuple[int | tuple[Array, Array], ...]
    side: float = 1.0

    @property
    def count(self) -> int:
        """How many numbers were read."""
        if isinstance(self.reading, LengthReading):
            return 1
        return (self.reading.tilt_rad is not None) + (self.reading.roll_rad is not None)

    @property
    def sigma(self) -> float:
        """Stated sigma of each number, m or rad."""
        if isinstance(self.reading, LengthReading):
            return self.reading.sigma_m
        return self.reading.sigma_rad

    @property
    def freed_sigma(self) -> float:
        """Sigma of each number when the reading is set free."""
        return FREED_LENGTH_M if isinstance(self.reading, LengthReading) else FREED_ANGLE_RAD


def reading_views(job: Job, world: World, cameras: Sequence[str]) -> tuple[ReadingView, ...]:
    """Every reading whose places are known to the network; `cameras` in the network's order."""
    index = {name: i for i, name in enumerate(cameras)}
    views = []
    for number, reading in enumerate(job.readings, 1):
        view = reading_view(Group.of_reading(number), reading, world, index)
        if view is not None:
            views.append(view)
    return tuple(views)


def reading_view(
    group: Group, reading: Reading, world: World, cameras: Mapping[str, int]
) -> ReadingView | None:
    """One reading between places that the network knows; None where it does not know them."""
    names = (reading.camera,) if isinstance(reading, AngleReading) else reading.between
    ends = []
    for name in names:
        end = _end(name, world, cameras)
        if end is None or (isinstance(reading, AngleReading) and not isinstance(end, int)):
            return None
        ends.append(end)
    side = _side(world.job, world, names[0])
    return ReadingView(group=group, reading=reading, ends=tuple(ends), side=side)


def _end(name: str, world: World, cameras: Mapping[str, int]) -> int | tuple[Array, Array] | None:
    if name in cameras:
        return cameras[name]
    if name in world.cameras:
        camera = world.job.camera(name)
        by_kept = np.zeros((3, world.kept))
        by_kept[:, world.cameras[name]] = np.eye(3)
        return camera.position_m, by_kept
    if name not in world.marks:
        return None
    centre = world.planned[name].centre_m
    return centre, world.d_places([name], centre[None])[0][0]


def _side(job: Job, world: World, name: str) -> float:
    """1 where a place is planned to the left of the centre line, -1 to its right."""
    camera = next((c for c in job.cameras if c.name == name), None)
    y = world.planned[name].centre_m[1] if camera is None else camera.position_m[1]
    return -1.0 if y < 0 else 1.0


def reading_rows(view: ReadingView, world: World, state: State, base: int) -> tuple[Array, Array]:
    """Predicted minus read (k,) in m or rad, and its derivative (k, kept) by the kept unknowns.

    Those are the network's: cameras first, the world's from column `base`.
    """
    if isinstance(view.reading, AngleReading):
        return _angles(view, view.reading, world, state, base)
    kept = state.world[: world.kept]
    places, derivatives = [], []
    for end in view.ends:
        jacobian = np.zeros((3, base + world.kept))
        if isinstance(end, int):
            jacobian[:, UNKNOWNS * end : UNKNOWNS * end + 3] = np.eye(3)
            places.append(state.place_m[end])
        else:
            planned, by_kept = end
            jacobian[:, base:] = by_kept
            places.append(planned + by_kept @ kept)
        derivatives.append(jacobian)
    if view.reading.kind == "offset":
        length = view.side * float(places[0][1])
        d_length = view.side * derivatives[0][1]
    else:
        apart = places[0] - places[1]
        length = max(float(np.linalg.norm(apart)), 1e-9)
        d_length = (apart / length) @ (derivatives[0] - derivatives[1])
    if view.reading.tape is not None:
        column = world.tapes[view.reading.tape]
        scale = 1 + float(kept[column])
        d_length = scale * d_length
        d_length[base + column] = length
        length *= scale
    return np.array([length - view.reading.value_m]), d_length[None]


def _angles(
    view: ReadingView, reading: AngleReading, world: World, state: State, base: int
) -> tuple[Array, Array]:
    """Tilt and roll of a camera against the ground or gravity."""
    (camera,) = view.ends
    assert isinstance(camera, int)
    slopes = np.zeros(2)
    if reading.against == "gravity" and world.slope is not None:
        slopes = state.world[world.slope]
    raw = np.array([*slopes, -1.0])
    norm = float(np.linalg.norm(raw))
    R = state.R[camera]
    down = R @ raw / norm
    d_down = np.zeros((3, base + world.kept))
    d_down[:, UNKNOWNS * camera + 3 : UNKNOWNS * camera + 6] = -cross_matrix(down)
    if reading.against == "gravity" and world.slope is not None:
        columns = base + np.arange(world.slope.start, world.slope.stop)
        unit = raw / norm
        d_down[:, columns] = R @ (np.eye(3) - np.outer(unit, unit))[:, :2] / norm
    x, y, z = down
    level = float(max(np.hypot(x, y), 1e-9))
    r, rows = [], []
    if reading.tilt_rad is not None:
        r.append(np.arctan2(z, level) - reading.tilt_rad)
        rows.append(np.array([-z * x / level, -z * y / level, level]) @ d_down)
    if reading.roll_rad is not None:
        r.append(float(wrap_angle(np.arctan2(x, y) - reading.roll_rad)))
        rows.append(np.array([y, -x, 0.0]) / level**2 @ d_down)
    return np.array(r), np.array(rows)

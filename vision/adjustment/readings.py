"""Rows of what people measured: taped lengths and gauge angles, with their derivatives.

A taped length is d (1 + s): d the straight distance between two places, or the distance of one from
the body's centre line, and s the scale error of the tape where it is named. A gauge angle is that
of the camera against the ground's plane or against gravity; the ground then has two unknown slopes,
and down is (slope_x, slope_y, -1) brought to unit length, in ground coordinates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.adjustment.world import World
from vision.geometry import Array, Pose, cross_matrix, wrap_angle
from vision.job import AngleReading, Job, LengthReading, Reading

FREED_SIGMA_M = 100.0
FREED_SIGMA_RAD = 10.0
"""A reading that is set free says nothing any more."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadingView:
    """One reading with what it is between.

    `group` is its name ('reading 3', counted from 1 in the file's order). `ends` are, for each
    place, the index of a camera, or the planned place (3,) and its derivative (3, w) by the world.
    """

    group: str
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
        return FREED_SIGMA_M if isinstance(self.reading, LengthReading) else FREED_SIGMA_RAD


def reading_views(job: Job, world: World, cameras: Sequence[str]) -> tuple[ReadingView, ...]:
    """Every reading whose places are known to the network; `cameras` in the network's order."""
    index = {name: i for i, name in enumerate(cameras)}
    views = []
    for number, reading in enumerate(job.readings, 1):
        names = (reading.camera,) if isinstance(reading, AngleReading) else reading.between
        ends: list[int | tuple[Array, Array]] = []
        for name in names:
            if name in index:
                ends.append(index[name])
            elif name in world.marks:
                centre = world.planned[name].centre_m
                ends.append((centre, world.d_place(name, centre)))
        if len(ends) < len(names):
            continue
        views.append(
            ReadingView(
                group=f"reading {number}",
                reading=reading,
                ends=tuple(ends),
                side=_side(job, world, names[0]),
            )
        )
    return tuple(views)


def _side(job: Job, world: World, name: str) -> float:
    """1 where a place is planned to the left of the centre line, -1 to its right."""
    camera = next((c for c in job.cameras if c.name == name), None)
    y = world.planned[name].centre_m[1] if camera is None else camera.position_m[1]
    return -1.0 if y < 0 else 1.0


def reading_rows(
    view: ReadingView, world: World, poses: Sequence[Pose], state: Array, own: int
) -> tuple[Array, Array]:
    """Predicted minus read (k,) in m or rad, and its derivative (k, size).

    Columns as in the network: `own` for each camera, six pose steps first, then the world, whose
    unknowns are `state` (w,).
    """
    base = own * len(poses)
    size = base + world.size
    if isinstance(view.reading, AngleReading):
        return _angles(view, view.reading, world, poses, state, own)
    places, derivatives = [], []
    for end in view.ends:
        jacobian = np.zeros((3, size))
        if isinstance(end, int):
            jacobian[:, own * end : own * end + 3] = np.eye(3)
            places.append(poses[end].camera_in_ground_m)
        else:
            planned, d_place = end
            jacobian[:, base:] = d_place
            places.append(planned + d_place @ state)
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
        scale = 1 + float(state[column])
        d_length = scale * d_length
        d_length[base + column] = length
        length *= scale
    return np.array([length - view.reading.value_m]), d_length[None]


def _angles(
    view: ReadingView,
    reading: AngleReading,
    world: World,
    poses: Sequence[Pose],
    state: Array,
    own: int,
) -> tuple[Array, Array]:
    """Tilt and roll of a camera against the ground or gravity."""
    (camera,) = view.ends
    assert isinstance(camera, int)
    slopes = np.zeros(2)
    if reading.against == "gravity" and world.slope is not None:
        slopes = state[world.slope]
    raw = np.array([*slopes, -1.0])
    norm = float(np.linalg.norm(raw))
    R = poses[camera].R
    down = R @ raw / norm
    d_down = np.zeros((3, own * len(poses) + world.size))
    d_down[:, own * camera + 3 : own * camera + 6] = -cross_matrix(down)
    if reading.against == "gravity" and world.slope is not None:
        columns = own * len(poses) + np.arange(world.slope.start, world.slope.stop)
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

"""Where the display passes from one camera to its neighbour, and which cameras are neighbours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.camera.geometry import wrap_angle
from vision.job.job import Camera, Job, Vehicle
from vision.units.arrays import Array, freeze
from vision.views.settings import SETTINGS

TUNED = SETTINGS.seams


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeamLine:
    """A seam as a line on the ground, `start_m` (2,) near the body and `end_m` (2,)."""

    between: tuple[str, str]
    start_m: Array
    end_m: Array

    def __post_init__(self) -> None:
        freeze(self, start_m=(2,), end_m=(2,))

    @property
    def direction(self) -> Array:
        """Unit vector (2,) outward along the seam."""
        along = self.end_m - self.start_m
        return along / np.linalg.norm(along)

    def distance_m(self, place_m: Array) -> float:
        """How far a place (2,) on the ground lies from the nearest point of the seam."""
        along = float((place_m - self.start_m) @ self.direction)
        length = float(np.linalg.norm(self.end_m - self.start_m))
        nearest = self.start_m + np.clip(along, 0.0, length) * self.direction
        return float(np.linalg.norm(place_m - nearest))

    def points_m(self) -> Array:
        """Points (n, 2) every 5 cm or a little closer, both ends included."""
        length = np.linalg.norm(self.end_m - self.start_m)
        count = int(np.ceil(length / TUNED.point_spacing_m - 1e-9)) + 1
        shares = np.linspace(0.0, 1.0, max(count, 2))[:, None]
        return self.start_m + shares * (self.end_m - self.start_m)


def neighbours(cameras: tuple[Camera, ...]) -> tuple[tuple[Camera, Camera], ...]:
    """Adjacent pairs by intended pan, counter-clockwise, round the whole circle.

    Cameras of equal pan follow each other round the body. A pair whose pans differ by 170 degrees
    or more has no seam between it.
    """

    def turn(camera: Camera) -> tuple[float, float]:
        pan = float(wrap_angle(camera.aim.pan_rad))
        place = np.arctan2(camera.position_m[1], camera.position_m[0])
        return round(pan, 6), float(wrap_angle(place - pan))

    ring = sorted(cameras, key=turn)
    pairs: list[tuple[Camera, Camera]] = []
    for first, second in zip(ring, ring[1:] + ring[:1], strict=True):
        between = round(second.aim.pan_rad - first.aim.pan_rad, 9) % (2 * np.pi)
        if first is second or between >= TUNED.widest_neighbours_rad or (second, first) in pairs:
            continue
        pairs.append((first, second))
    return tuple(pairs)


def seam_lines(job: Job) -> tuple[SeamLine, ...]:
    """Every seam of the job: those it states, and the default for each other pair of neighbours.

    A default seam names its cameras in the order of the job file.
    """
    stated = {
        frozenset(seam.between): SeamLine(
            between=seam.between, start_m=seam.from_m, end_m=seam.to_m
        )
        for seam in job.seams
    }
    order = {camera.name: index for index, camera in enumerate(job.cameras)}
    lines = []
    for first, second in neighbours(job.cameras):
        line = stated.pop(frozenset((first.name, second.name)), None)
        if line is None:
            names = sorted((first.name, second.name), key=order.__getitem__)
            start, end = _default_line(job.vehicle, first, second)
            line = SeamLine(between=(names[0], names[1]), start_m=start, end_m=end)
        lines.append(line)
    return (*lines, *stated.values())


def side_of(camera: Camera) -> int:
    """The side of the body that a camera is meant for: 0 front, 1 left, 2 rear, 3 right."""
    return int(np.round(camera.aim.pan_rad / (np.pi / 2))) % 4


def outward(side: int) -> Array:
    """Unit vector (2,) square out of a side of the body."""
    return np.array([(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][side])


def on_side(vehicle: Vehicle, side: int, place: Array) -> Array:
    """The point (2,) of the body's side straight beside `place` (2,)."""
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    out = outward(side)
    return np.where(out != 0, out * half, place)


def _default_line(vehicle: Vehicle, first: Camera, second: Camera) -> tuple[Array, Array]:
    """Ends of the default seam, `second` being next to `first` counter-clockwise.

    The ray at 45 degrees from the body's corner between the two pans; where there are several or
    none, from the corner nearest to the mean pan. Two cameras on one side have no corner between
    them: their seam runs square out of that side, midway.
    """
    if side_of(first) == side_of(second):
        side = side_of(first)
        middle = (first.position_m[:2] + second.position_m[:2]) / 2
        base, out = on_side(vehicle, side, middle), outward(side)
        return base + TUNED.seam_from_m * out, base + TUNED.seam_to_m * out
    sweep = (second.aim.pan_rad - first.aim.pan_rad) % (2 * np.pi)
    corners = np.radians([45.0, 135.0, -135.0, -45.0])
    inside = (corners - first.aim.pan_rad) % (2 * np.pi) < sweep
    off = np.abs(wrap_angle(corners - first.aim.pan_rad - sweep / 2))
    if inside.any():
        off = np.where(inside, off, np.inf)
    angle = corners[int(np.argmin(np.round(off, 9)))]
    out = np.array([np.cos(angle), np.sin(angle)])
    corner = np.sign(out) * np.array([vehicle.length_m, vehicle.width_m]) / 2
    return corner + TUNED.seam_from_m * out, corner + TUNED.seam_to_m * out

"""After the pictures: where to stand a cone, and which room near the vehicle no camera sees.

Cameras are taken as the joint adjustment has them, or as intended. What is seen at a height is what
a thing that tall shows of itself: the top of a cone, a child's head, a person's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import USUAL_SIZE_PX, lens_prior
from vision.inspection.inspected import Inspection
from vision.inspection.settings import SETTINGS
from vision.job.job import Job, Vehicle
from vision.job.visibility import sees
from vision.units.arrays import Array, Flags
from vision.views.seams.gaps import SeamGap
from vision.views.seams.lines import SeamLine, seam_lines

TUNED = SETTINGS.walk


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Viewer:
    """One camera as it stands."""

    name: str
    pose: Pose
    lens: Lens


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Unseen:
    """What no camera sees at one height: cells (rows, columns) of side `step_m`.

    The first row is the furthest behind and the first column the furthest right: cell (i, j) is
    centred on `x_m[i]`, `y_m[j]`. Cells under the body are not counted. `area_m2` is that of the
    unseen cells, and `blind_to_m` gives for front, left, rear and right how far out from the middle
    half of that side the unseen reaches; 0 where all is seen.
    """

    height_m: float
    unseen: Flags
    x_m: Array
    y_m: Array
    area_m2: float
    blind_to_m: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cone:
    """Where to stand a cone on a seam and what the driver should then see.

    `place_m` (2,) on the ground; `seen_by` the seam's cameras that show it; `gap_m` how far apart
    the two views draw it, None where that is not known.
    """

    between: tuple[str, str]
    place_m: Array
    seen_by: tuple[str, ...]
    gap_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A zone of a published rule, compared with what is seen; never a statement of compliance.

    It lies at `height_m`; `seen_share` is of its area.
    """

    rule: str
    height_m: float
    seen_share: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WalkRound:
    """The whole list: cones, what is unseen at each height, and zones to compare.

    `planned` are the cameras taken as intended; `verdict` is that of the check, None without one.
    """

    cones: tuple[Cone, ...]
    unseen: tuple[Unseen, ...]
    zones: tuple[Zone, ...]
    planned: tuple[str, ...]
    verdict: str | None = None


def walk_round(job: Job, inspection: Inspection | None = None) -> WalkRound:
    """Work out the list for a job as inspected, or as planned without an inspection.

    `planned` names the cameras that are taken as intended, having no adjusted pose.
    """
    viewers, planned = _viewers(job, inspection)
    gaps = {} if inspection is None else {s.between: s.gap for s in inspection.seams if s.gap}
    cones = [
        cone
        for line in seam_lines(job)
        for cone in _cones(line, gaps.get(line.between), job, viewers)
    ]
    unseen = [unseen_at(job.vehicle, viewers, height) for height in TUNED.heights_m]
    return WalkRound(
        cones=tuple(cones),
        unseen=tuple(unseen),
        zones=tuple(_zones(job.vehicle, viewers)),
        planned=planned,
        verdict=None if inspection is None else inspection.verdict,
    )


def _viewers(job: Job, inspection: Inspection | None) -> tuple[list[Viewer], tuple[str, ...]]:
    found = {} if inspection is None else {c.camera.name: c for c in inspection.cameras}
    viewers, planned = [], []
    for camera in job.cameras:
        one = found.get(camera.name)
        if one is not None and one.adjusted is not None:
            pose, lens = one.adjusted.pose, one.adjusted.lens
        else:
            size = USUAL_SIZE_PX if one is None else (one.picture.width, one.picture.height)
            pose = Pose.at(camera.position_m, camera.aim.rotation())
            lens = lens_prior(job.lens_of(camera), *size).guess
            planned.append(camera.name)
        viewers.append(Viewer(name=camera.name, pose=pose, lens=lens))
    return viewers, tuple(planned)


def _seen_by_any(vehicle: Vehicle, viewers: Sequence[Viewer], points_m: Array) -> Flags:
    every = [sees(vehicle, viewer.pose, viewer.lens, points_m) for viewer in viewers]
    return np.any(every, axis=0) if every else np.zeros(len(points_m), dtype=bool)


def unseen_at(vehicle: Vehicle, viewers: Sequence[Viewer], height_m: float) -> Unseen:
    """What no camera sees at one height, to 4 m from the body."""
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    x_m, y_m = (
        np.arange(-h - TUNED.reach_m + TUNED.step_m / 2, h + TUNED.reach_m, TUNED.step_m)
        for h in half
    )
    x, y = np.meshgrid(x_m, y_m, indexing="ij")
    points = np.stack([x.ravel(), y.ravel(), np.full(x.size, height_m)], axis=1)
    unseen = ~_seen_by_any(vehicle, viewers, points).reshape(x.shape)
    unseen &= (np.abs(x) > half[0]) | (np.abs(y) > half[1])
    beside_x, beside_y = np.abs(y) < half[1] / 2, np.abs(x) < half[0] / 2
    outward = (
        (x - half[0], beside_x & (x > half[0])),
        (y - half[1], beside_y & (y > half[1])),
        (-x - half[0], beside_x & (x < -half[0])),
        (-y - half[1], beside_y & (y < -half[1])),
    )
    blind = [float(away[unseen & side].max(initial=0.0)) for away, side in outward]
    front, left, rear, right = blind
    return Unseen(
        height_m=height_m,
        unseen=unseen,
        x_m=x_m,
        y_m=y_m,
        area_m2=float(unseen.sum() * TUNED.step_m**2),
        blind_to_m=(front, left, rear, right),
    )


def _cones(line: SeamLine, gap: SeamGap | None, job: Job, viewers: Sequence[Viewer]) -> list[Cone]:
    cones = []
    for share in TUNED.cones_along:
        place = line.start_m + share * (line.end_m - line.start_m)
        point = np.array([[*place, 0.0]])
        by = tuple(
            viewer.name
            for viewer in viewers
            if viewer.name in line.between and sees(job.vehicle, viewer.pose, viewer.lens, point)[0]
        )
        apart = None
        if gap is not None:
            index = int(np.argmin(np.linalg.norm(gap.points_m - place, axis=1)))
            length = float(np.linalg.norm(gap.gaps_m[index]))
            apart = length if np.isfinite(length) else None
        cones.append(Cone(between=line.between, place_m=place, seen_by=by, gap_m=apart))
    return cones


def _zones(vehicle: Vehicle, viewers: Sequence[Viewer]) -> list[Zone]:
    """Zones of UN regulations, both sides, since the kerb's side depends on the country.

    Sizes from memory: R46 class VI 2 m ahead over the width and 2 m beside it, class V 2 m beside
    the cab from 1 m ahead to 1.75 m behind the driver's eye, here from the front; R158 reversing
    0.3 to 3.5 m behind, for things 0.8 m tall.
    """
    x, y = vehicle.length_m / 2, vehicle.width_m / 2
    boxes = [
        ("UN R46 class VI, ahead", (x, x + 2.0, -y - 2.0, y + 2.0), 0.0),
        ("UN R46 class V, left", (x - 2.75, x, y, y + 2.0), 0.0),
        ("UN R46 class V, right", (x - 2.75, x, -y - 2.0, -y), 0.0),
        ("UN R158, behind", (-x - 3.5, -x - 0.3, -y, y), 0.8),
    ]
    zones = []
    for rule, box, height in boxes:
        xs, ys = (_middles(*box[axis : axis + 2]) for axis in (0, 2))
        grid = np.stack(np.meshgrid(xs, ys, indexing="ij"), axis=-1).reshape(-1, 2)
        points = np.column_stack([grid, np.full(len(grid), height)])
        share = float(_seen_by_any(vehicle, viewers, points).mean())
        zones.append(Zone(rule=rule, height_m=height, seen_share=share))
    return zones


def _middles(low: float, high: float) -> Array:
    """Middles of cells about TUNED.step_m long between two figures, one at the least."""
    count = max(1, round((high - low) / TUNED.step_m))
    return low + (high - low) * (np.arange(count) + 0.5) / count

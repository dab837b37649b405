"""The merged picture from above, as the driver would see it: from the plan fits, not the truth.

The front of the vehicle is up. Every ground point is taken from the camera in whose sector it
lies; the sectors meet at the seams. Blended, neighbouring views fade into each other across a seam,
as displays do, which hides a gap; cut, they meet at a sharp line, which shows it. Ground that no
camera shows is hatched grey, and a bar shows the scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera.geometry import wrap_angle
from vision.documents.ground_picture import drawn_on
from vision.inspection.inspected import InspectedCamera, Inspection
from vision.job.job import Vehicle
from vision.marks.picture import Pixels, encoded
from vision.units.arrays import Array, Flags
from vision.units.lengths import UNITS
from vision.views.ground import GroundMap
from vision.views.seams.lines import SeamLine, seam_lines

SCALE_M = 0.02
"""Ground per pixel: a strip's width is then some ten pixels, and a phone shows the whole."""

MARGIN_M = 4.0
MAX_SIDE_PX = 1400
CORNER_M = 0.25
BLEND_M = 0.5
"""Width over which one view fades into the next; common practice, no source."""
LEAST_SHARE = 1e-4
BAR_PX = 6
BAR, BAR_IN_FEET = (1.0, "1 m"), (3 * float(UNITS["ft"]), "3 ft")

BODY_BGR, ROOF_BGR, LINE_BGR = (74, 66, 58), (104, 94, 84), (236, 232, 228)
HATCH_BGR, HATCH_LINE_BGR = (150, 150, 150), (118, 118, 118)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Ground points seen from above: `scale_m` per pixel, the top-left corner at (x, y) in m."""

    top_x_m: float
    left_y_m: float
    scale_m: float
    rows: int
    columns: int

    def points_m(self) -> Array:
        """Ground points (rows, columns, 2) of the pixel centres."""
        x = self.top_x_m - (np.arange(self.rows) + 0.5) * self.scale_m
        y = self.left_y_m - (np.arange(self.columns) + 0.5) * self.scale_m
        return np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1)

    def pixel_px(self, ground_m: Array) -> Array:
        """Pixels (..., 2) as (u, v) of ground points (..., 2)."""
        x, y = np.moveaxis(np.asarray(ground_m, dtype=np.float64), -1, 0)
        u = (self.left_y_m - y) / self.scale_m - 0.5
        v = (self.top_x_m - x) / self.scale_m - 0.5
        return np.stack([u, v], axis=-1)


def top_view_grid(vehicle: Vehicle) -> Grid:
    """The grid that shows the vehicle with ground on every side, at most `MAX_SIDE_PX` a side."""
    along = vehicle.length_m + 2 * MARGIN_M
    across = vehicle.width_m + 2 * MARGIN_M
    scale = max(SCALE_M, along / MAX_SIDE_PX, across / MAX_SIDE_PX)
    return Grid(
        top_x_m=along / 2,
        left_y_m=across / 2,
        scale_m=scale,
        rows=round(along / scale),
        columns=round(across / scale),
    )


def top_view(inspection: Inspection, *, blended: bool = True) -> bytes:
    """Merge the pictures and return the PNG file's bytes."""
    return encoded(merged_picture(inspection, blended=blended), ".png")


def merged_picture(inspection: Inspection, *, blended: bool = True) -> Pixels:
    """Merge the pictures on the grid of `top_view_grid`, (rows, columns, 3) in blue, green, red.

    `blended`: neighbouring views fade into each other over `BLEND_M` at the seam; where only one
    of the two shows the ground it has it alone. Otherwise each sector is one camera's, cut sharp.
    """
    grid = top_view_grid(inspection.job.vehicle)
    points = grid.points_m()
    shares = [mask.astype(np.float32) for mask in sectors(inspection, points)]
    if blended:
        side = max(1, round(BLEND_M / grid.scale_m))
        shares = [np.asarray(cv2.blur(share, (side, side))) for share in shares]
    total = np.zeros((grid.rows, grid.columns, 3), dtype=np.float32)
    weight = np.zeros((grid.rows, grid.columns, 1), dtype=np.float32)
    for camera, share in zip(_by_pan(inspection), shares, strict=True):
        _add(total, weight, camera, points, share)
    merged = _hatching(grid)
    blend = np.round(total / np.maximum(weight, LEAST_SHARE)).astype(np.uint8)
    merged = np.where(weight > LEAST_SHARE, blend, merged)
    _draw_vehicle(merged, inspection.job.vehicle, grid)
    _draw_scale(merged, grid, BAR_IN_FEET if inspection.job.lengths.imperial else BAR)
    return merged


def _pan(camera: InspectedCamera) -> float:
    return float(np.mod(camera.camera.aim.pan_rad, 2 * np.pi))


def _by_pan(inspection: Inspection) -> list[InspectedCamera]:
    """Cameras counter-clockwise; of two that look the same way, as they follow round the body."""

    def turn(camera: InspectedCamera) -> tuple[float, float]:
        x, y, _ = camera.camera.position_m
        place = np.arctan2(y, x) - _pan(camera)
        return round(_pan(camera), 6), float(wrap_angle(place))

    return sorted(inspection.cameras, key=turn)


def sectors(inspection: Inspection, points_m: Array) -> list[Flags]:
    """Which points (..., 2) each camera shows: one mask per camera, counter-clockwise by pan.

    Every point belongs to exactly one camera.
    """
    cameras = _by_pan(inspection)
    if len(cameras) == 1:
        return [np.ones(points_m.shape[:-1], dtype=bool)]
    stated = {frozenset(line.between): line for line in seam_lines(inspection.job)}
    lines = [
        _seam(inspection.job.vehicle, stated, camera, cameras[(index + 1) % len(cameras)])
        for index, camera in enumerate(cameras)
    ]
    past = [_is_past(line, points_m) for line in lines]
    wedges = []
    for index in range(len(cameras)):
        first, second = lines[index - 1], lines[index]
        after, before = past[index - 1], ~past[index]
        # A sector of more than half a turn is all that is not on the wrong side of both lines.
        a, b = first[1], second[1]
        narrow = a[0] * b[1] - a[1] * b[0] > 0 or a @ b > 1 - 1e-9
        wedges.append((after & before) if narrow else (after | before))
    # The lines go on inward and cross under the body, so wedges overlap on its far side and may
    # leave gaps: such a point goes to the camera that looks its way most.
    axes = np.array([[np.cos(_pan(camera)), np.sin(_pan(camera))] for camera in cameras])
    towards = np.moveaxis(points_m @ axes.T, -1, 0)
    inside = np.stack(wedges)
    allowed = inside | ~inside.any(axis=0)
    chosen = np.argmax(np.where(allowed, towards, -np.inf), axis=0)
    return [chosen == index for index in range(len(cameras))]


def _seam(
    vehicle: Vehicle,
    stated: dict[frozenset[str], SeamLine],
    camera: InspectedCamera,
    following: InspectedCamera,
) -> tuple[Array, Array]:
    """Near end (2,) and outward direction (2,) of the seam between a camera and the next one.

    Cameras that look in nearly opposite ways have no seam of their own; the corner of the body
    halfway between them then serves.
    """
    line = stated.get(frozenset((camera.camera.name, following.camera.name)))
    if line is not None:
        return line.start_m, line.direction
    middle = _pan(camera) + np.mod(_pan(following) - _pan(camera), 2 * np.pi) / 2
    side = np.where(np.array([np.cos(middle), np.sin(middle)]) >= 0, 1.0, -1.0)
    return side * np.array([vehicle.length_m, vehicle.width_m]) / 2, side / np.sqrt(2)


def _is_past(seam: tuple[Array, Array], points_m: Array) -> Flags:
    """Whether points (..., 2) lie counter-clockwise of a seam."""
    near, direction = seam
    across = np.array([-direction[1], direction[0]])
    past: Flags = points_m @ across >= near @ across
    return past


def _add(
    total: NDArray[np.float32],
    weight: NDArray[np.float32],
    camera: InspectedCamera,
    points_m: Array,
    share: NDArray[np.float32],
) -> None:
    """Add what `camera` shows of its share of the ground; nothing where it has no fit."""
    if camera.plan_fit is None or camera.ray_from_ground is None or not share.any():
        return
    rows, columns = (slice(part.min(), part.max() + 1) for part in np.nonzero(share))
    view = GroundMap(ray_from_ground=camera.ray_from_ground, lens=camera.plan_fit.lens)
    scale_m = float(points_m[0, 0, 0] - points_m[1, 0, 0])
    taken, shown = drawn_on(camera.picture.bgr, view, points_m[rows, columns], scale_m)
    part = (share[rows, columns] * shown)[..., None]
    total[rows, columns] += part * taken
    weight[rows, columns] += part


def _hatching(grid: Grid) -> Pixels:
    """Grey with diagonal lines: ground that nothing shows."""
    diagonal = np.add.outer(np.arange(grid.rows), np.arange(grid.columns)) % 16 < 3
    line, ground = np.array([HATCH_LINE_BGR, HATCH_BGR], dtype=np.uint8)
    return np.asarray(np.where(diagonal[..., None], line, ground))


def _draw_vehicle(merged: Pixels, vehicle: Vehicle, grid: Grid) -> None:
    """Draw the body as a rounded box with a lighter roof and an arrow that points ahead."""
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    _polygon(merged, grid, _rounded_box(half, CORNER_M), BODY_BGR)
    _polygon(merged, grid, _rounded_box(half * [0.95, 0.84], CORNER_M), ROOF_BGR)
    reach = min(0.5 * vehicle.width_m, 0.25 * vehicle.length_m)
    tip = half[0] - 0.35 * reach
    arrow = np.array(
        [
            [tip, 0.0],
            [tip - reach, 0.6 * reach],
            [tip - 0.7 * reach, 0],
            [tip - reach, -0.6 * reach],
        ]
    )
    _polygon(merged, grid, arrow, LINE_BGR)


def _rounded_box(half_m: Array, corner_m: float) -> Array:
    """Outline (n, 2) of a box on the ground with rounded corners."""
    radius = min(corner_m, *half_m)
    turn = np.linspace(0, np.pi / 2, 9)
    arc = radius * np.stack([np.cos(turn), np.sin(turn)], axis=-1) + (half_m - radius)
    ahead = np.concatenate([arc, (arc * [-1, 1])[::-1]])
    return np.concatenate([ahead, -ahead])


def _polygon(merged: Pixels, grid: Grid, outline_m: Array, colour: tuple[int, int, int]) -> None:
    """Fill an outline (n, 2) given on the ground; sixteenths of a pixel, smooth edges."""
    corners = np.round(grid.pixel_px(outline_m) * 16).astype(np.int32)
    cv2.fillPoly(merged, [corners], colour, cv2.LINE_AA, 4)


def _draw_scale(merged: Pixels, grid: Grid, bar: tuple[float, str]) -> None:
    """A bar of a round length, light on dark, near the lower left corner, with its length."""
    bar_m, text = bar
    length, edge = round(bar_m / grid.scale_m), BAR_PX
    left, low = 3 * edge, merged.shape[0] - 3 * edge
    cv2.rectangle(
        merged, (left - edge, low - 5 * edge), (left + length + edge, low + edge), BODY_BGR, -1
    )
    cv2.rectangle(merged, (left, low - edge), (left + length, low), LINE_BGR, -1)
    place = (left, low - 2 * edge)
    cv2.putText(merged, text, place, cv2.FONT_HERSHEY_SIMPLEX, 0.5, LINE_BGR, 1, cv2.LINE_AA)

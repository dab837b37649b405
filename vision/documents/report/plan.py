"""What is drawn onto the top view: body, plan, marks, gaps where they are beyond, and what to do.

Gaps and moves are drawn at one scale in every report, `TIMES` as long as they are, beside a bar of
that scale; so a set with small gaps looks better than one with large ones. Every arrow shows what
to do: where a strip's middle goes from where it lies, which way a camera is to turn. A gap is no
arrow but a line between the two places where the views put one point.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from vision.documents.report.overlay import arrow
from vision.documents.steps import Step
from vision.documents.top_view import Grid, top_view_grid
from vision.inspection.inspected import (
    InspectedCamera,
    InspectedSeam,
    InspectedStrip,
    Inspection,
)
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.units.arrays import Array
from vision.units.lengths import UNITS

TIMES = 10
"""How many times as long as they are gaps and moves are drawn: 5 cm are then half a metre."""
BAR_M, BAR_IN_INCHES = (0.1, "10 cm"), (4 * float(UNITS["in"]), "4 in")
GAP_SPACING = 5
"""Of the points along a seam, every so manieth is drawn: a quarter of a metre apart."""
HEAD_PX = 12.0
LOOK_M = 1.2
"""How long the arrow is that shows which way a camera is to turn."""
BAR_MARGIN_PX = 18
ENDS = {"front": (0, 1), "rear": (0, -1), "left": (1, 1), "right": (1, -1)}
"""Which way an end of a strip lies: along x or y, ahead of its middle or not."""


def drawn_plan(inspection: Inspection, steps: Sequence[Step]) -> dict[str, Any]:
    """Everything to draw on the top view, in its pixels."""
    grid = top_view_grid(inspection.job.vehicle)
    half = np.array([inspection.job.vehicle.length_m, inspection.job.vehicle.width_m]) / 2
    (left, top), (right, low) = grid.pixel_px(half), grid.pixel_px(-half)
    return {
        "width": grid.columns,
        "height": grid.rows,
        "scale_m": grid.scale_m,
        "times": TIMES,
        "body": {"x": left, "y": top, "width": right - left, "height": low - top},
        "strips": [_line(grid, strip.from_m, strip.to_m) for strip in inspection.job.strips],
        "marks": _marks(inspection, grid),
        "steps": _steps(inspection, grid, steps),
        "seams": [_seam(each, grid) for each in inspection.seams if each.gap is not None],
        "bar": _bar(inspection, grid),
    }


def _bar(inspection: Inspection, grid: Grid) -> dict[str, Any]:
    """A bar as long as such a gap is drawn, in the lower right corner."""
    length_m, text = BAR_IN_INCHES if inspection.job.lengths.imperial else BAR_M
    right, low = grid.columns - BAR_MARGIN_PX, grid.rows - BAR_MARGIN_PX
    return {"x1": right - TIMES * length_m / grid.scale_m, "x2": right, "y": low, "text": text}


def _line(grid: Grid, start_m: Array, end_m: Array) -> dict[str, float]:
    (x1, y1), (x2, y2) = grid.pixel_px(start_m), grid.pixel_px(end_m)
    return {"x1": x1, "y1": y1, "x2": x2, "y2": y2}


def _marks(inspection: Inspection, grid: Grid) -> list[dict[str, Any]]:
    """Planned places, with how many cameras used each mark, or any point of it."""
    used: dict[MarkId, set[str]] = {}
    for camera in inspection.cameras:
        for mark in camera.marks:
            if mark.status == "used":
                used.setdefault(mark.id.mark, set()).add(camera.camera.name)
    marks = []
    for planned in planned_layout(inspection.job).marks:
        u, v = grid.pixel_px(planned.centre_m[:2])
        if 0 <= u < grid.columns and 0 <= v < grid.rows:
            seen = len(used.get(planned.id, ()))
            marks.append({"id": str(planned.id), "u": u, "v": v, "seen": seen})
    return marks


def _steps(inspection: Inspection, grid: Grid, steps: Sequence[Step]) -> list[dict[str, Any]]:
    """Arrows of what to do, each with the number of its step; of what has a place on the plan."""
    drawn = []
    for number, step in enumerate(steps, start=1):
        if isinstance(step.part, InspectedStrip) and step.action.move_m is not None:
            strip = inspection.job.strip(step.part.name)
            tail, tip = _move(strip.from_m, strip.to_m, np.array(step.action.move_m[:2]), step)
        elif isinstance(step.part, InspectedCamera) and step.action.turn_rad is not None:
            tail, tip = _look(step.part, step.action.turn_rad)
        else:
            continue
        ends = grid.pixel_px(np.stack([tail, tip]))
        drawn.append(arrow(ends[0], ends[1], HEAD_PX) | {"number": number})
    return drawn


def _move(from_m: Array, to_m: Array, move_m: Array, step: Step) -> tuple[Array, Array]:
    """From where a strip's middle, or the end to be moved, lies to where it goes."""
    end = step.action.what.arguments.get("end")
    at = (from_m + to_m) / 2
    if end is not None:
        axis, sign = ENDS[str(end)]
        at = max(from_m, to_m, key=lambda place: sign * float(place[axis]))
    return at - TIMES * move_m, at


def _look(part: InspectedCamera, turn_rad: tuple[float, float, float]) -> tuple[Array, Array]:
    """Which way a camera turns: round to where it has to look, or else out (up) or in (down)."""
    place = part.camera.position_m[:2]
    pan = part.camera.aim.pan_rad
    ahead = np.array([np.cos(pan), np.sin(pan)])
    pan_by, tilt_by, _ = turn_rad
    out = place + LOOK_M * ahead
    if abs(pan_by) >= abs(tilt_by):
        left = np.array([-ahead[1], ahead[0]]) * np.sign(pan_by) * LOOK_M / 2
        return out - left, out + left
    return (place, out) if tilt_by < 0 else (out, place)


def _seam(seam: InspectedSeam, grid: Grid) -> dict[str, Any]:
    """A seam's line, and where it is beyond its gaps: both ends of each, middle on the seam."""
    gap = seam.gap
    assert gap is not None
    drawn = []
    if seam.verdict == "beyond":
        chosen = np.arange(0, len(gap.points_m), GAP_SPACING)
        chosen = chosen[np.isfinite(gap.gaps_m[chosen]).all(axis=1)]
        for point, vector in zip(gap.points_m[chosen], gap.gaps_m[chosen], strict=True):
            half = TIMES * vector / 2
            drawn.append(_line(grid, point - half, point + half))
    return {
        "between": seam.between,
        "verdict": seam.verdict,
        "gaps": drawn,
        **_line(grid, gap.start_m, gap.end_m),
    }

"""What is drawn onto the top view: body, plan, marks, and at the seams the gaps, magnified."""

from __future__ import annotations

from typing import Any

import numpy as np

from vision.documents.report.overlay import arrow, magnification
from vision.documents.top_view import Grid, top_view_grid
from vision.inspection.inspected import InspectedSeam, Inspection
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.units.arrays import Array
from vision.views.seams.gaps import SeamGap

LONGEST_GAP_M = 0.8
"""How long, on the ground, the longest gap with its uncertainty is drawn, at most."""
GAP_SPACING = 10
"""Of the points along a seam, every so manieth is drawn: half a metre apart."""
HEAD_PX = 8.0
ELLIPSE_SIGMAS = 2.0


def drawn_plan(inspection: Inspection) -> dict[str, Any]:
    """Everything to draw on the top view, in its pixels."""
    grid = top_view_grid(inspection.job.vehicle)
    factor = _factor(inspection)
    half = np.array([inspection.job.vehicle.length_m, inspection.job.vehicle.width_m]) / 2
    (left, top), (right, low) = grid.pixel_px(half), grid.pixel_px(-half)
    return {
        "width": grid.columns,
        "height": grid.rows,
        "scale_m": grid.scale_m,
        "magnification": factor,
        "body": {"x": left, "y": top, "width": right - left, "height": low - top},
        "strips": _strips(inspection, grid),
        "marks": _marks(inspection, grid),
        "shifts": _shifts(inspection, grid, factor),
        "seams": [_seam(each, grid, factor) for each in inspection.seams if each.gap is not None],
    }


def _factor(inspection: Inspection) -> int:
    """One magnification for all that is drawn apart: gaps with their ellipses, and strips."""
    lengths = [0.0]
    for seam in inspection.seams:
        if seam.gap is not None:
            _, gaps, spreads = _spaced(seam.gap)
            sigma = np.sqrt(np.trace(spreads, axis1=1, axis2=2))
            lengths += list(np.linalg.norm(gaps, axis=1) + ELLIPSE_SIGMAS * sigma)
    for strip in inspection.strips:
        if strip.adjusted is not None and strip.adjusted.seen:
            lengths.append(float(np.linalg.norm(strip.adjusted.shift_m)))
    return magnification(float(max(lengths)), LONGEST_GAP_M)


def _spaced(gap: SeamGap) -> tuple[Array, Array, Array]:
    """Points along a seam with their gaps and covariances, some and where both views cover."""
    chosen = np.arange(0, len(gap.points_m), GAP_SPACING)
    chosen = chosen[np.isfinite(gap.gaps_m[chosen]).all(axis=1)]
    return gap.points_m[chosen], gap.gaps_m[chosen], gap.covariances_m2[chosen]


def _strips(inspection: Inspection, grid: Grid) -> list[dict[str, float]]:
    return [_line(grid, strip.from_m, strip.to_m) for strip in inspection.job.strips]


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


def _shifts(inspection: Inspection, grid: Grid, factor: int) -> list[dict[str, float]]:
    """An arrow from where a strip's middle is planned to where it lies, magnified."""
    planned = {strip.name: strip for strip in inspection.job.strips}
    arrows = []
    for found in inspection.strips:
        if found.adjusted is None or not found.adjusted.seen or found.name not in planned:
            continue
        middle = (planned[found.name].from_m + planned[found.name].to_m) / 2
        lies = middle + factor * found.adjusted.shift_m
        arrows.append(arrow(grid.pixel_px(middle), grid.pixel_px(lies), HEAD_PX))
    return arrows


def _seam(seam: InspectedSeam, grid: Grid, factor: int) -> dict[str, Any]:
    gap = seam.gap
    assert gap is not None
    points, gaps, spreads = _spaced(gap)
    drawn = []
    for point, vector, spread in zip(points, gaps, spreads, strict=True):
        tip = point + factor * vector
        values, vectors = np.linalg.eigh(spread)
        radii = ELLIPSE_SIGMAS * factor * np.sqrt(np.maximum(values, 0)) / grid.scale_m
        # Ground x is up and y to the left, so (x, y) goes to the screen's (-y, -x).
        turn = float(np.degrees(np.arctan2(-vectors[0, 1], -vectors[1, 1])))
        drawn.append(
            arrow(grid.pixel_px(point), grid.pixel_px(tip), HEAD_PX)
            | {"long": float(radii[1]), "short": float(radii[0]), "turn": turn}
        )
    return {
        "between": seam.between,
        "verdict": seam.verdict,
        "gaps": drawn,
        **_line(grid, gap.start_m, gap.end_m),
    }

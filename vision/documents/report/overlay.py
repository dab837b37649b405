"""What is drawn onto a camera's picture, in pixels of the picture as delivered."""

from __future__ import annotations

from typing import Any

import numpy as np

from vision.camera.lens import Lens
from vision.documents.picks import expected_px
from vision.inspection.inspected import InspectedCamera
from vision.marks.picture import Picture
from vision.units.arrays import Array

LONGEST_RESIDUAL_SHARE = 0.05
"""Of the picture's width: how long the longest residual arrow is drawn, at most."""
HEAD_SHARE = 0.007
MAGNIFICATIONS = (1, 2, 5, 10, 20, 50, 100, 200, 500)
AZIMUTHS = 721


def magnification(longest: float, wanted: float) -> int:
    """The largest handy factor that draws `longest` no longer than `wanted`; both in one unit."""
    fitting = [each for each in MAGNIFICATIONS if longest * each <= wanted]
    return fitting[-1] if fitting else 1


def drawn_marks(found: InspectedCamera) -> list[dict[str, Any]]:
    """Where to draw which mark, with its row among the camera's marks.

    A mark that was not found is drawn where the plan fit expects it; without a fit it is not drawn.
    """
    drawn = []
    for row, mark in enumerate(found.marks):
        if mark.status in ("hidden", "outside"):
            continue
        pixel = mark.pixel_px
        if pixel is None:
            pixel = expected_px(found, mark.planned_m)
        if pixel is not None:
            u, v = (round(float(value), 1) for value in pixel)
            drawn.append({"id": str(mark.id), "row": row, "status": mark.status, "u": u, "v": v})
    return drawn


def residual_arrows(found: InspectedCamera) -> tuple[int, list[dict[str, float]]]:
    """The magnification, and the arrows from where the fit predicts a mark to where it is."""
    measured = [m for m in found.marks if m.pixel_px is not None and m.residual_px is not None]
    used = [m for m in measured if m.status == "used"] or measured
    lengths = [float(np.linalg.norm(m.residual_px)) for m in used if m.residual_px is not None]
    wanted = LONGEST_RESIDUAL_SHARE * found.picture.width
    factor = magnification(max(lengths, default=0.0), wanted)
    arrows = []
    for mark in measured:
        assert mark.pixel_px is not None
        assert mark.residual_px is not None
        long = factor * mark.residual_px
        # A rejected mark may lie anywhere: its arrow shows the way, and stops.
        size = float(np.linalg.norm(long))
        if size > 2 * wanted:
            long = long * (2 * wanted / size)
        arrows.append(arrow(mark.pixel_px, mark.pixel_px + long, HEAD_SHARE * found.picture.width))
    return factor, arrows


def arrow(tail: Array, tip: Array, head: float) -> dict[str, float]:
    """Ends of an arrow with its angle in degrees, clockwise on the screen from pointing right.

    `head` is the length of its head, which is never more than half of the arrow; all in px.
    """
    (u, v), (x, y) = tail, tip
    ends = {"u": u, "v": v, "x": x, "y": y, "angle": np.degrees(np.arctan2(y - v, x - u))}
    drawn = {name: round(float(value), 1) for name, value in ends.items()}
    return drawn | {"head": round(min(head, float(np.hypot(x - u, y - v)) / 2), 2)}


def horizon(found: InspectedCamera) -> list[str]:
    """The level line all round as far as the picture shows it, as polylines."""
    best = found.adjusted or found.plan_fit
    if best is None:
        return []
    pose, lens = best.pose, best.lens
    turn = np.linspace(-np.pi, np.pi, AZIMUTHS) + pose.aim.pan_rad + np.pi
    level = np.stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)], axis=-1)
    return _polylines(found.picture, lens, lens.project(level @ pose.R.T))


def measured_edge(found: InspectedCamera) -> list[str]:
    """The farthest angle from the axis at which a mark was used, as polylines.

    Beyond it the lens's curve is a guess: nothing was measured there.
    """
    best = found.adjusted or found.plan_fit
    used = [m.pixel_px for m in found.marks if m.status == "used" and m.pixel_px is not None]
    if best is None or not used:
        return []
    rays = best.lens.unproject(found.picture.as_delivered(np.array(used)))
    theta = np.arctan2(np.hypot(rays[:, 0], rays[:, 1]), rays[:, 2])
    if not np.isfinite(theta).any():
        return []
    widest = float(np.nanmax(theta))
    turn = np.linspace(0, 2 * np.pi, AZIMUTHS)
    level = np.stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)], axis=-1)
    ring = np.sin(widest) * level + np.cos(widest) * np.array([0.0, 0.0, 1.0])
    return _polylines(found.picture, best.lens, best.lens.project(ring))


def _polylines(picture: Picture, lens: Lens, pixels: Array) -> list[str]:
    """The runs of pixels (n, 2) inside the picture, each as an SVG list of points."""
    inside = np.asarray(lens.contains(pixels))
    places = picture.as_delivered(pixels)
    lines: list[str] = []
    run: list[str] = []
    for place, kept in zip(places, inside, strict=True):
        if kept:
            run.append(f"{place[0]:.1f},{place[1]:.1f}")
        elif run:
            lines.append(" ".join(run))
            run = []
    return [line for line in [*lines, " ".join(run)] if " " in line]

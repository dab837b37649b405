"""The plan of the lot, to scale: body, strips, marks, cameras, and the room round them."""

from __future__ import annotations

import numpy as np

from vision.documents.sheets.dimensions import draw_dimension
from vision.documents.sheets.drawing import BLACK, LIGHT, WHITE, Bounds
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.plan_drawing import (
    UNIT_VECTORS,
    PlanView,
    camera_symbol,
    outward,
    scale_bar,
)
from vision.job.job import SingleMark
from vision.planning.setting_out.running_marks import SettingOut
from vision.planning.setting_out.supplies import carton_corners_m
from vision.units.arrays import Array

AROUND_MM = 10.0, 11.0, 0.0, 21.0
"""Left, above, right and below the lot: its dimensions, and the scale bars."""
LOT_LINE_MM = 4.0
"""From the lot's edge to its dimension line."""


def plan_drawing(setting: SettingOut, figures: Figures, size: tuple[float, float]) -> PlanView:
    """The lot to scale with all that lies in it, and scale bars."""
    lot = setting.lot
    half = np.array([lot.vehicle_length_m, lot.vehicle_width_m]) / 2
    before, behind = np.array([lot.ahead_m, lot.left_m]), np.array([lot.behind_m, lot.right_m])
    reach = -half - behind, half + before
    view = PlanView.of(setting, size, reach, AROUND_MM)
    (x0, y1), (x1, y0) = view.place(reach[1]), view.place(reach[0])
    box: Bounds = (x0, y0, x1, y1)
    view.picture.box(box, width=0.25, dash=(2.5, 1.5))
    _lot_figures(view, box, figures)
    view.datums(box)
    view.body()
    for line in setting.strips:
        view.strip(line.strip)
    _fixtures(view)
    for line in setting.strips:
        view.numbers(line.strip)
    _badges(view)
    scale_bar(
        view.picture, 4.0, AROUND_MM[3] - 5.0, view.scale, size[0] - 24, metric=figures.metric,
        imperial=figures.imperial,
    )  # fmt: skip
    return view


def _lot_figures(view: PlanView, box: Bounds, figures: Figures) -> None:
    """Dimension lines of the lot's length and width, outside its edges."""
    left, low, right, top = box
    for length_m, along, start, span in (
        (view.setting.lot.length_m, 1, left, (low, top)),
        (view.setting.lot.width_m, 0, top, (left, right)),
    ):
        line = start + (-LOT_LINE_MM if along else LOT_LINE_MM)
        said = f"lot, at least {figures.at_least(length_m)}"
        draw_dimension(view.picture, along, span, line, (start, start), said)
    view.taken += [(left - 9, low, left, top), (left, top, right, top + 9)]


def _fixtures(view: PlanView) -> None:
    """Cameras and single marks, with what their symbols cover."""
    for camera in view.setting.cameras:
        x, y = view.place(camera.position_m)
        camera_symbol(view.picture, (x, y), camera.aim.pan_rad)
        view.taken.append((x - 3, y - 3, x + 3, y + 3))
    for mark in view.setting.job.marks:
        x, y = view.place(mark.at_m)
        if not mark.shape.drawn:
            _carton(view, mark)
            continue
        corners = ((x, y + 1.9), (x + 1.7, y - 1.2), (x - 1.7, y - 1.2))
        if mark.at_m[2] > 0:
            view.picture.polygon(corners, fill=WHITE, width=0.5)
        else:
            view.picture.disc((x, y), 1.0, fill=BLACK)
        view.taken.append((x - 2, y - 1.5, x + 2, y + 2.2))


def _carton(view: PlanView, mark: SingleMark) -> None:
    """A carton's outline to scale, with a dot at its corner that counts."""
    outline = [view.place(each) for each in carton_corners_m(view.setting.job, mark)]
    view.picture.polygon(outline, fill=LIGHT, width=0.35)
    view.picture.disc(outline[0], 0.7, fill=BLACK)
    (x0, y0), (x1, y1) = np.min(outline, axis=0), np.max(outline, axis=0)
    view.taken.append((float(x0), float(y0), float(x1), float(y1)))


def _badges(view: PlanView) -> None:
    """Names beside what has them: strips outside, cameras inside the body."""
    for line in view.setting.strips:
        strip = line.strip
        out = outward(strip)
        half = 500 * strip.tape_width_m / view.scale
        at = strip.from_m + 0.3 * strip.length_m * strip.along
        view.badge(strip.name, at, (out, -out), shape="strip", start_mm=half + 0.8)
    for camera in view.setting.cameras:
        inward = _towards(-camera.position_m[:2])[:5]
        view.badge(camera.name, camera.position_m, inward, shape="camera", start_mm=2.5)
    for mark in view.setting.job.marks:
        ways = _towards(mark.at_m[:2])
        view.badge(mark.name, mark.at_m, ways, shape="mark", start_mm=2.0)


def _towards(to: Array) -> list[Array]:
    """Eight ways, those that lead towards `to` first."""
    return sorted(UNIT_VECTORS, key=lambda way: -float(way @ to))

"""The sheet of what stands above the ground: cameras and raised marks."""

from __future__ import annotations

import math

from vision.documents.sheets.book import TICK, Book, Column, Flow
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.page import GREY, LIGHT, SMALLEST_PT, WHITE, Box, Page, Point
from vision.documents.sheets.plan_drawing import key_letters
from vision.documents.sheets.plan_sheet import looks, shape_word
from vision.job.job import Camera, SingleMark
from vision.job.reading_keys import TOOL_SIGMA_DEG
from vision.planning.setting_out.running_marks import Offset, SettingOut, exact

FIGURE_MM = (66.0, 48.0)
SLOPE_DEG = math.degrees(math.atan(0.01))
"""What a slope of 1 in 100 adds to a gauge."""


def camera_sheet(book: Book, setting: SettingOut, figures: Figures) -> None:
    """Cameras with the gauge readings to expect, then single marks."""
    flow = Flow(book, "Cameras, raised marks")
    flow.heading("Cameras")
    _camera_table(flow, setting, figures)
    flow.room(FIGURE_MM[1] + 2)
    page, whole = flow.page, flow.box
    bottom = flow.y + FIGURE_MM[1]
    _gauge_figure(page, whole.right - FIGURE_MM[0], flow.y)
    flow.box = Box(
        left=whole.left, top=whole.top, right=whole.right - FIGURE_MM[0] - 3, bottom=whole.bottom
    )
    flow.paragraph(
        "Nose down: the gauge along the way the camera looks, on top of the housing or along its "
        "side. Lens face: the gauge upright against the face of the lens, which overhangs when the "
        "camera looks down, counted from level. Level across: the gauge square to the way it "
        "looks, clockwise seen from behind is plus. Measure each height to the middle of the "
        "lens.", 9.5,
    )  # fmt: skip
    flow.paragraph(
        "A gauge reads against gravity. Lay it on the ground first: a fall of 1 in 100 the way "
        f"the camera looks adds {SLOPE_DEG:.1f}\N{DEGREE SIGN} to the nose-down reading that "
        "is right. The job allows "
        f"{math.degrees(setting.job.tolerances.aim_rad):.1f}\N{DEGREE SIGN} of pan and tilt and "
        f"{math.degrees(setting.job.tolerances.roll_rad):.1f}\N{DEGREE SIGN} of roll; a speed "
        f"square is good to {TOOL_SIGMA_DEG['speed square']}\N{DEGREE SIGN} by eye, a gauge to "
        f"{TOOL_SIGMA_DEG['gauge']}\N{DEGREE SIGN}.", 9.5,
    )  # fmt: skip
    if flow.page is page:
        flow.y, flow.box = max(flow.y, bottom), whole
    if setting.job.marks:
        flow.heading("Single marks: raised ones on a trestle or a carton that does not rock")
        _mark_table(flow, setting, figures)


def _gauge_figure(page: Page, left: float, top: float) -> None:
    """A camera from its side, looking 45 degrees down, with a gauge at either place."""
    tilt = math.radians(45)
    ahead, up = (math.cos(tilt), math.sin(tilt)), (math.sin(tilt), -math.cos(tilt))
    x, y = left + 26.0, top + 20.0

    def place(along: float, above: float) -> Point:
        return x + along * ahead[0] + above * up[0], y + along * ahead[1] + above * up[1]

    def block(a0: float, a1: float, b0: float, b1: float, fill: float) -> None:
        corners = [place(a, b) for a, b in ((a0, b0), (a1, b0), (a1, b1), (a0, b1))]
        page.polygon(corners, fill=fill, line_mm=0.4)

    block(-11, 7, -5, 5, WHITE)
    block(7, 10, -3.5, 3.5, GREY)
    block(-9, 5, 5.4, 7.6, LIGHT)
    block(10.4, 12.6, -6, 6, LIGHT)
    page.line(place(-9, 0), place(26, 0), line_mm=0.25, dash_mm=(5, 1.2, 0.8, 1.2))
    level = place(-9, 0)
    page.line(level, (level[0] + 34, level[1]), line_mm=0.25)
    arc = [tilt * step / 12 for step in range(13)]
    page.line(*((level[0] + 9 * math.cos(a), level[1] + 9 * math.sin(a)) for a in arc))
    page.text(level[0] + 35, level[1] + 1.1, "level", SMALLEST_PT)
    down, face = place(5, 7.6), place(12.6, 2)
    page.line(down, (down[0] + 5, down[1]), line_mm=0.15)
    page.text(down[0] + 6, down[1] + 1.1, "nose down", SMALLEST_PT)
    page.line(face, (face[0] + 5, face[1]), line_mm=0.15)
    page.text(face[0] + 6, face[1] + 1.1, "lens face", SMALLEST_PT)


def _camera_table(flow: Flow, setting: SettingOut, figures: Figures) -> None:
    rest = flow.box.width - 9 - 26 - 20 - 22 - 20 - 24 - 12
    columns = (
        Column(title="", width=9, size_pt=11, bold=True),
        Column(title="camera", width=26, bold=True),
        Column(title="place of the lens", width=rest, size_pt=9.5),
        Column(title="looks", width=20, size_pt=9.5),
        Column(title="nose down", width=22, size_pt=13, bold=True, anchor="end"),
        Column(title="lens face", width=20, size_pt=11, anchor="end"),
        Column(title="level across", width=24, size_pt=11, anchor="end"),
        Column(title="set", width=12, anchor="middle"),
    )
    rows = [
        (
            str(index + 1), camera.name, _lens_place(camera, figures),
            looks(camera.aim.pan_rad).removeprefix("looks "),
            _degrees(math.degrees(camera.aim.tilt_rad)),
            _degrees(90 - abs(math.degrees(camera.aim.tilt_rad))),
            _degrees(math.degrees(camera.aim.roll_rad)), TICK,
        )
        for index, camera in enumerate(setting.cameras)
    ]  # fmt: skip
    flow.table(columns, rows, row_mm=8.0)


def _lens_place(camera: Camera, figures: Figures) -> str:
    height = figures.both(exact(camera.position_m[2]))
    return f"{height} high; {figures.where(Offset.of(camera.position_m))}"


def _degrees(value: float) -> str:
    return f"{value + 0.0:.1f}\N{DEGREE SIGN}"


def _mark_table(flow: Flow, setting: SettingOut, figures: Figures) -> None:
    columns = (
        Column(title="", width=9, size_pt=11, bold=True),
        Column(title="mark", width=42, bold=True),
        Column(title="what", width=18, size_pt=9.5),
        Column(title="height of its top", width=44, bold=True),
        Column(title="place", width=flow.box.width - 9 - 42 - 18 - 44 - 14, size_pt=9.5),
        Column(title="set", width=14, anchor="middle"),
    )
    rows = [
        (
            key_letters(index, "a"), mark.name, shape_word(mark.shape), _height(mark, figures),
            figures.where(Offset.of(mark.at_m)), TICK,
        )
        for index, mark in enumerate(setting.job.marks)
    ]  # fmt: skip
    flow.table(columns, rows, row_mm=8.0)


def _height(mark: SingleMark, figures: Figures) -> str:
    height = float(mark.at_m[2])
    return figures.both(exact(height)) if height else "on the ground"

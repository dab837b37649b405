"""The sheet of what stands above the ground: cameras and raised marks."""

from __future__ import annotations

import math

from vision.job import Camera, SingleMark
from vision.setting_out import Offset, SettingOut, exact
from vision.sheets.book import TICK, Book, Column, Flow
from vision.sheets.figures import Figures
from vision.sheets.plan_drawing import key_letters
from vision.sheets.plan_sheet import looks, shape_word

SLOPE_DEG = math.degrees(math.atan(0.01))
"""What a slope of 1 in 100 adds to a gauge."""


def camera_sheet(book: Book, setting: SettingOut, figures: Figures) -> None:
    """Cameras with the gauge readings to expect, then single marks."""
    flow = Flow(book, "Cameras, raised marks")
    flow.heading("Cameras")
    _camera_table(flow, setting, figures)
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
        "square is good to 1.5\N{DEGREE SIGN} by eye.", 9.5,
    )  # fmt: skip
    if setting.job.marks:
        flow.heading("Single marks: raised ones on a trestle or a carton that does not rock")
        _mark_table(flow, setting, figures)


def _camera_table(flow: Flow, setting: SettingOut, figures: Figures) -> None:
    rest = flow.box.width - 9 - 26 - 52 - 22 - 22 - 22 - 14
    columns = (
        Column(title="", width=9, size_pt=11, bold=True),
        Column(title="camera", width=26, bold=True),
        Column(title="place of the lens", width=52, size_pt=9.5),
        Column(title="looks", width=rest, size_pt=9.5),
        Column(title="nose down", width=22, size_pt=13, bold=True, anchor="end"),
        Column(title="lens face", width=22, size_pt=11, anchor="end"),
        Column(title="level across", width=22, size_pt=11, anchor="end"),
        Column(title="set", width=14, anchor="middle"),
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
        Column(title="mark", width=34, bold=True),
        Column(title="what", width=30, size_pt=9.5),
        Column(title="height of its top", width=38, bold=True),
        Column(title="place", width=flow.box.width - 9 - 34 - 30 - 38 - 14, size_pt=9.5),
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

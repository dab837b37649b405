"""The sheet of what stands above the ground: cameras and raised marks."""

from __future__ import annotations

import math

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table

from vision.documents.sheets.book import Book, Sheet
from vision.documents.sheets.drawing import CHAIN_DOTTED, GREY, LIGHT, WHITE, Picture, Point
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.flow import TICK, Column, heading, paragraph, side_by_side, table
from vision.documents.sheets.plan_drawing import key_letters
from vision.documents.sheets.plan_sheet import looks, shape_word
from vision.job.job import Camera, SingleMark
from vision.job.reading_keys import TOOL_SIGMA_DEG
from vision.planning.setting_out.running_marks import Offset, SettingOut, exact

FIGURE_MM = (66.0, 46.0)
SLOPE_DEG = math.degrees(math.atan(0.01))
"""What a slope of 1 in 100 adds to a gauge."""


def camera_sheet(book: Book, setting: SettingOut, figures: Figures) -> Sheet:
    """Cameras with the gauge readings to expect, then single marks."""
    words = [
        paragraph(
            "Nose down: the gauge along the way the camera looks, on top of the housing or along "
            "its side. Lens face: the gauge upright against the face of the lens, which overhangs "
            "when the camera looks down, counted from level. Level across: the gauge square to the "
            "way it looks, clockwise seen from behind is plus. Measure each height to the middle "
            "of the lens.", 9.5,
        ),
        paragraph(
            "A gauge reads against gravity. Lay it on the ground first: a fall of 1 in 100 the way "
            f"the camera looks adds {SLOPE_DEG:.1f}\N{DEGREE SIGN} to the nose-down reading that "
            "is right. The job allows "
            f"{_degrees(math.degrees(setting.job.tolerances.aim_rad))} of pan and tilt and "
            f"{_degrees(math.degrees(setting.job.tolerances.roll_rad))} of roll; a speed "
            f"square is good to {TOOL_SIGMA_DEG['speed square']}\N{DEGREE SIGN} by eye, a gauge to "
            f"{TOOL_SIGMA_DEG['gauge']}\N{DEGREE SIGN}.", 9.5,
        ),
    ]  # fmt: skip
    story: list[Flowable] = [
        *heading("Cameras"),
        _camera_table(book, setting, figures),
        Spacer(0, 2 * mm),
        side_by_side(words, _gauge_figure(), (book.width - FIGURE_MM[0], FIGURE_MM[0])),
    ]
    if setting.job.marks:
        story += heading("Single marks: raised ones on a trestle or a carton that does not rock")
        story.append(_mark_table(book, setting, figures))
    return Sheet(title="Cameras, raised marks", story=story)


def _gauge_figure() -> Picture:
    """A camera from its side, looking 45 degrees down, with a gauge at either place."""
    picture, tilt = Picture(*FIGURE_MM), math.radians(45)

    def place(along: float, above: float) -> Point:
        return (
            26.0 + along * math.cos(tilt) + above * math.sin(tilt),
            26.0 - along * math.sin(tilt) + above * math.cos(tilt),
        )

    for a0, a1, b0, b1, fill in (
        (-11, 7, -5, 5, WHITE), (7, 10, -3.5, 3.5, GREY), (-9, 5, 5.4, 7.6, LIGHT),
        (10.4, 12.6, -6, 6, LIGHT),
    ):  # fmt: skip
        corners = [place(a, b) for a, b in ((a0, b0), (a1, b0), (a1, b1), (a0, b1))]
        picture.polygon(corners, fill=fill, width=0.4)
    x, y = place(-9, 0)
    picture.line((x, y), place(26, 0), dash=CHAIN_DOTTED)
    picture.line((x, y), (x + 34, y))
    arc = [tilt * step / 12 for step in range(13)]
    picture.line(*((x + 9 * math.cos(a), y - 9 * math.sin(a)) for a in arc))
    picture.text(x + 35, y - 1.1, "level")
    for (x, y), words in ((place(5, 7.6), "nose down"), (place(12.6, 2), "lens face")):
        picture.line((x, y), (x + 5, y), width=0.15)
        picture.text(x + 6, y - 1.1, words)
    return picture


def _camera_table(book: Book, setting: SettingOut, figures: Figures) -> Table:
    rest = book.width - 9 - 26 - 20 - 22 - 20 - 24 - 12
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
    return table(columns, rows, row_mm=8.0)


def _lens_place(camera: Camera, figures: Figures) -> str:
    height = figures.both(exact(camera.position_m[2]))
    return f"{height} high; {figures.where(Offset.of(camera.position_m))}"


def _degrees(value: float) -> str:
    return f"{value + 0.0:.1f}\N{DEGREE SIGN}"


def _mark_table(book: Book, setting: SettingOut, figures: Figures) -> Table:
    columns = (
        Column(title="", width=9, size_pt=11, bold=True),
        Column(title="mark", width=42, bold=True),
        Column(title="what", width=18, size_pt=9.5),
        Column(title="height of its top", width=44, bold=True),
        Column(title="place", width=book.width - 9 - 42 - 18 - 44 - 14, size_pt=9.5),
        Column(title="set", width=14, anchor="middle"),
    )
    rows = [
        (
            key_letters(index, "a"), mark.name, shape_word(mark.shape), _height(mark, figures),
            figures.where(Offset.of(mark.at_m)), TICK,
        )
        for index, mark in enumerate(setting.job.marks)
    ]  # fmt: skip
    return table(columns, rows, row_mm=8.0)


def _height(mark: SingleMark, figures: Figures) -> str:
    height = float(mark.at_m[2])
    return figures.both(exact(height)) if height else "on the ground"

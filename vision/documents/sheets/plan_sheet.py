"""The plan to scale with its key, and the lot it needs."""

from __future__ import annotations

import math

import numpy as np

from vision.documents.sheets.book import Book, Flow
from vision.documents.sheets.dimensions import Measure, Placed, Way, draw_dimension
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.page import SMALLEST_PT, Box, Page, Point
from vision.documents.sheets.plan_drawing import (
    BADGE_MM,
    PlanView,
    badge_box,
    camera_symbol,
    draw_badge,
    key_letters,
    outward,
    scale_bar,
)
from vision.job.job import Board, BoxCorner, Cross, MarkShape, SingleShape, Strip
from vision.planning.setting_out.running_marks import SettingOut, StripLine, exact
from vision.planning.settings import SETTINGS
from vision.units.arrays import Array

KEY_WIDTH_MM = 68.0
SCALE_BAR_MM = 20.0
LOT_LINE_MM = 4.0
"""From the lot's edge to its dimension line."""


def plan_sheet(book: Book, setting: SettingOut, figures: Figures) -> None:
    """Draw the plan on the left of a new page and its key on the right, going on below."""
    page = book.new_page("Plan, to scale")
    inner = book.inner
    room = Box(
        left=inner.left + 10, top=inner.top + 9.5, right=inner.right - KEY_WIDTH_MM - 5,
        bottom=inner.bottom - SCALE_BAR_MM,
    )  # fmt: skip
    view = PlanView.within(page, setting, room)
    view.lot()
    _lot_figures(view, setting, figures)
    view.datums()
    view.body()
    for line in setting.strips:
        view.strip(line.strip)
    _fixtures(view)
    for line in setting.strips:
        view.numbers(line.strip)
    _badges(view)
    scale_bar(page, inner.left + 4, inner.bottom - SCALE_BAR_MM + 5, view.scale, room.width - 14)
    _key(book, page, setting, figures, view)


def _lot_figures(view: PlanView, setting: SettingOut, figures: Figures) -> None:
    """Dimension lines of the lot's length and width, outside its edges."""
    box, lot = view.lot_box, setting.lot
    corner = (box.left, box.top)
    sizes: tuple[tuple[Way, float, Point], ...] = (
        ("left", lot.length_m, (box.left, box.bottom)),
        ("front", lot.width_m, (box.right, box.top)),
    )
    for way, length_m, end in sizes:
        measure = Measure(
            name="lot", ends=(corner, end), way=way, below="",
            above=f"lot, at least {figures.at_least(length_m)}",
        )  # fmt: skip
        middle = sum(measure.span) / 2
        line = (box.left if way == "left" else box.top) - LOT_LINE_MM
        draw_dimension(view.page, Placed(measure=measure, lane=0, at=middle, style="within"),
                       line, line)  # fmt: skip
    view.taken += [text.box for text in view.page.texts]


def _fixtures(view: PlanView) -> None:
    """Cameras and single marks, with what their symbols cover."""
    for camera in view.setting.cameras:
        at = view.place(camera.position_m)
        camera_symbol(view.page, at, camera.aim.pan_rad)
        view.taken.append(Box(left=at[0] - 3, right=at[0] + 3, top=at[1] - 3, bottom=at[1] + 3))
    for mark in view.setting.job.marks:
        x, y = view.place(mark.at_m)
        raised = mark.at_m[2] > 0
        corners = ((x, y - 1.9), (x + 1.7, y + 1.2), (x - 1.7, y + 1.2))
        if raised:
            view.page.polygon(corners, fill=1.0, line_mm=0.5)
        else:
            view.page.disc(x, y, 1.0, fill=0.0)
        view.taken.append(Box(left=x - 2, right=x + 2, top=y - 2.2, bottom=y + 1.5))


def _badges(view: PlanView) -> None:
    """Key letters beside what they name: strips outside, cameras inside the body."""
    for index, line in enumerate(view.setting.strips):
        strip = line.strip
        out = outward(strip)
        half = 500 * strip.tape_width_m / view.scale
        at = strip.from_m + 0.3 * strip.length_m * strip.along
        view.badge(key_letters(index), at, (out, -out), shape="strip", start_mm=half + 0.8)
    ways = [np.array([math.cos(a), math.sin(a)]) for a in np.arange(0, 2 * math.pi, math.pi / 4)]
    for index, camera in enumerate(view.setting.cameras):
        inward = _towards(ways, -camera.position_m[:2])[:5]
        view.badge(str(index + 1), camera.position_m, inward, shape="camera", start_mm=2.5)
    for index, mark in enumerate(view.setting.job.marks):
        first = _towards(ways, mark.at_m[:2])
        view.badge(key_letters(index, "a"), mark.at_m, first, shape="mark", start_mm=2.0)


def _towards(ways: list[Array], to: Array) -> list[Array]:
    """The ways, those that lead towards `to` first."""
    return sorted(ways, key=lambda way: -float(way @ to))


def _key(book: Book, page: Page, setting: SettingOut, figures: Figures, view: PlanView) -> None:
    inner = book.inner
    box = Box(
        left=inner.right - KEY_WIDTH_MM, top=inner.top, right=inner.right, bottom=inner.bottom
    )
    flow = Flow(book, page.title, page, box)
    vehicle = setting.job.vehicle
    flow.heading(f"Scale 1 : {view.scale:g}", 16)
    flow.paragraph("Ahead of the vehicle is up. The scale holds where the bars measure true.", 9)
    length, width = exact(vehicle.length_m), exact(vehicle.width_m)
    flow.paragraph(figures.rounding, SMALLEST_PT)
    flow.paragraph(f"Body {figures.both(length)} long, {figures.both(width)} wide.", 10)
    flow.heading("Strips")
    for index, line in enumerate(setting.strips):
        _entry(flow, key_letters(index), "strip", line.strip.name, strip_words(line))
    if setting.job.marks:
        flow.heading("Single marks")
    for index, mark in enumerate(setting.job.marks):
        high = float(mark.at_m[2])
        words = f"{shape_word(mark.shape)}, {figures.both(exact(high))} high" if high else (
            f"{shape_word(mark.shape)}, on the ground")  # fmt: skip
        _entry(flow, key_letters(index, "a"), "mark", mark.name, words)
    flow.heading("Cameras")
    for index, camera in enumerate(setting.cameras):
        words = f"{figures.metres(exact(camera.position_m[2]))} high, {looks(camera.aim.pan_rad)}"
        _entry(flow, str(index + 1), "camera", camera.name, words)
    _lot_words(flow, setting, figures)


def _entry(flow: Flow, key: str, shape: str, name: str, words: str) -> None:
    """A badge with a name and, below it, a few words."""
    indent = 2 * BADGE_MM + 2.0 + 2.2 * (len(key) - 1)
    flow.room(14.0)
    at = flow.box.left + indent / 2 - 1.0, flow.y + 4.2
    assert badge_box(at, key).left >= flow.box.left - 0.01
    draw_badge(flow.page, at, key, shape)
    flow.paragraph(name, 10.5, indent=indent, bold=True)
    flow.y -= 0.8
    flow.paragraph(words, SMALLEST_PT, indent=indent)


def _lot_words(flow: Flow, setting: SettingOut, figures: Figures) -> None:
    lot = setting.lot
    flow.heading("Lot")
    flow.paragraph(
        f"Level, at least {figures.at_least(lot.length_m)} by {figures.at_least(lot.width_m)}: "
        f"{SETTINGS.end_room_m} m beyond the layout at the ends and "
        f"{SETTINGS.side_room_m} m at the sides for people "
        f"at work, {SETTINGS.door_room_m} m beside the body for an open door.", SMALLEST_PT,
    )  # fmt: skip
    means = setting.job.means
    known = (means.lot_length_m, lot.length_m), (means.lot_width_m, lot.width_m)
    if any(has is not None and has < needs for has, needs in known):
        has = " by ".join("any" if m is None else figures.both(exact(m)) for m, _ in known)
        flow.paragraph(
            f"The job's lot, {has}, is smaller than that: less room to work and to open doors.",
            SMALLEST_PT,
        )


def strip_words(line: StripLine) -> str:
    """What a strip carries, and where its first mark is."""
    strip = line.strip
    count = len(strip.at_m)
    return f"{count} {plural(shape_word(strip.shape), count)}, numbered from {first_end(strip)}"


def first_end(strip: Strip) -> str:
    """Where the first mark lies, in words."""
    ahead, left = strip.along
    if abs(ahead) >= abs(left):
        return "the rear end" if ahead > 0 else "the front end"
    return "the right end" if left > 0 else "the left end"


def shape_word(shape: MarkShape | SingleShape) -> str:
    """What a mark is called."""
    match shape:
        case Cross():
            return "cross"
        case Board():
            return "board"
        case BoxCorner():
            return "carton's corner"
        case _:
            return "quadrant"


def plural(word: str, count: int) -> str:
    """The word for so many."""
    if count == 1:
        return word
    return word + ("es" if word.endswith("s") else "s")


def looks(pan_rad: float) -> str:
    """The way a camera looks, in words."""
    pan = math.degrees(pan_rad)
    for degrees, words in ((0, "ahead"), (90, "left"), (180, "back"), (-90, "right")):
        if abs((pan - degrees + 180) % 360 - 180) < 0.05:
            return f"looks {words}"
    side = "left" if pan > 0 else "right"
    return f"looks {abs(pan):.1f}\N{DEGREE SIGN} to the {side} of ahead"

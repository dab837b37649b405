"""The plan to scale with its key, and the lot it needs."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from reportlab.platypus import Flowable, FrameBreak, KeepTogether

from vision.camera.geometry import wrap_degrees
from vision.documents.sheets.book import Book, Sheet
from vision.documents.sheets.dimensions import draw_dimension
from vision.documents.sheets.drawing import BLACK, SMALLEST_PT, WHITE, Bounds
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.flow import heading, layout, paragraph
from vision.documents.sheets.plan_drawing import (
    UNIT_VECTORS,
    PlanView,
    badge,
    badge_box,
    camera_symbol,
    key_letters,
    outward,
    scale_bar,
    scale_for,
)
from vision.job.job import Board, BoxCorner, Cross, MarkShape, SingleShape, Strip
from vision.planning.setting_out.running_marks import SettingOut, StripLine, exact
from vision.planning.settings import SETTINGS
from vision.units.arrays import Array

KEY_WIDTH_MM = 68.0
BETWEEN_MM = 5.0
AROUND_MM = 10.0, 11.0, 0.0, 21.0
"""Left, above, right and below the lot: its dimensions, and the scale bars."""
LOT_LINE_MM = 4.0
"""From the lot's edge to its dimension line."""


def plan_sheet(book: Book, setting: SettingOut, figures: Figures) -> Sheet:
    """The plan on the left of a page and its key on the right, going on below."""
    width = book.width - KEY_WIDTH_MM - BETWEEN_MM
    view = _plan(setting, figures, (width, book.height - 0.1))
    return Sheet(
        title="Plan, to scale",
        story=[view.picture, FrameBreak(), *_key(setting, figures, view.scale)],
        columns=(width, KEY_WIDTH_MM),
    )


def _plan(setting: SettingOut, figures: Figures, size: tuple[float, float]) -> PlanView:
    lot, (left, above, right, below) = setting.lot, AROUND_MM
    scale = scale_for(lot.length_m, lot.width_m, (size[0] - left - right, size[1] - above - below))
    half = np.array([lot.vehicle_length_m, lot.vehicle_width_m]) / 2
    before, behind = np.array([lot.ahead_m, lot.left_m]), np.array([lot.behind_m, lot.right_m])
    reach = -half - behind, half + before
    off = (left - right) / 2, (below - above) / 2
    view = PlanView.centred(setting, size, scale, reach, off)
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
    scale_bar(view.picture, 4.0, below - 5.0, scale, size[0] - 24)
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
        corners = ((x, y + 1.9), (x + 1.7, y - 1.2), (x - 1.7, y - 1.2))
        if mark.at_m[2] > 0:
            view.picture.polygon(corners, fill=WHITE, width=0.5)
        else:
            view.picture.disc((x, y), 1.0, fill=BLACK)
        view.taken.append((x - 2, y - 1.5, x + 2, y + 2.2))


def _badges(view: PlanView) -> None:
    """Key letters beside what they name: strips outside, cameras inside the body."""
    for index, line in enumerate(view.setting.strips):
        strip = line.strip
        out = outward(strip)
        half = 500 * strip.tape_width_m / view.scale
        at = strip.from_m + 0.3 * strip.length_m * strip.along
        view.badge(key_letters(index), at, (out, -out), shape="strip", start_mm=half + 0.8)
    for index, camera in enumerate(view.setting.cameras):
        inward = _towards(-camera.position_m[:2])[:5]
        view.badge(str(index + 1), camera.position_m, inward, shape="camera", start_mm=2.5)
    for index, mark in enumerate(view.setting.job.marks):
        ways = _towards(mark.at_m[:2])
        view.badge(key_letters(index, "a"), mark.at_m, ways, shape="mark", start_mm=2.0)


def _towards(to: Array) -> list[Array]:
    """Eight ways, those that lead towards `to` first."""
    return sorted(UNIT_VECTORS, key=lambda way: -float(way @ to))


def _key(setting: SettingOut, figures: Figures, scale: float) -> Iterator[Flowable]:
    vehicle, lot = setting.job.vehicle, setting.lot
    yield from heading(f"Scale 1 : {scale:g}", 16)
    ahead = "Ahead of the vehicle is up. The scale holds where the bars measure true."
    yield paragraph(ahead, SMALLEST_PT)
    yield paragraph(figures.rounding, SMALLEST_PT)
    length, width = exact(vehicle.length_m), exact(vehicle.width_m)
    yield paragraph(f"Body {figures.both(length)} long, {figures.both(width)} wide.", 10)
    yield from heading("Strips")
    for index, line in enumerate(setting.strips):
        yield entry(key_letters(index), "strip", line.strip.name, strip_words(line))
    if setting.job.marks:
        yield from heading("Single marks")
    for index, mark in enumerate(setting.job.marks):
        high = float(mark.at_m[2])
        where = f"{figures.both(exact(high))} high" if high else "on the ground"
        yield entry(
            key_letters(index, "a"), "mark", mark.name, f"{shape_word(mark.shape)}, {where}"
        )
    yield from heading("Cameras")
    for index, camera in enumerate(setting.cameras):
        words = f"{figures.metres(exact(camera.position_m[2]))} high, {looks(camera.aim.pan_rad)}"
        yield entry(str(index + 1), "camera", camera.name, words)
    yield from heading("Lot")
    yield paragraph(
        f"Level, at least {figures.at_least(lot.length_m)} by {figures.at_least(lot.width_m)}: "
        f"{SETTINGS.end_room_m} m beyond the layout at the ends and "
        f"{SETTINGS.side_room_m} m at the sides for people "
        f"at work, {SETTINGS.door_room_m} m beside the body for an open door.", SMALLEST_PT,
    )  # fmt: skip
    means = setting.job.means
    known = (means.lot_length_m, lot.length_m), (means.lot_width_m, lot.width_m)
    if any(has is not None and has < needs for has, needs in known):
        has = " by ".join("any" if m is None else figures.both(exact(m)) for m, _ in known)
        yield paragraph(
            f"The job's lot, {has}, is smaller than that: less room to work and to open doors.",
            SMALLEST_PT,
        )


def entry(key: str, shape: str, name: str, words: str) -> Flowable:
    """A badge with a name and, below it, a few words."""
    left, _, right, _ = badge_box((0.0, 0.0), key)
    indent = right - left + 1.5
    text = [paragraph(name, bold=True, after=0), paragraph(words, SMALLEST_PT)]
    return KeepTogether([layout([[badge(key, shape), text]], (indent, KEY_WIDTH_MM - indent))])


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
        if abs(wrap_degrees(pan - degrees)) < 0.05:
            return f"looks {words}"
    side = "left" if pan > 0 else "right"
    return f"looks {abs(pan):.1f}\N{DEGREE SIGN} to the {side} of ahead"

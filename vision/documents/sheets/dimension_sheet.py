"""The plan to scale with its dimensions: body, strips, and the diagonals that check them.

What has no room on the drawing stands in a table beside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

import numpy as np
from reportlab.platypus import Flowable, FrameBreak

from vision.documents.sheets.book import Book, Sheet
from vision.documents.sheets.dimensions import (
    BEYOND_MM,
    FIGURE_MM,
    FIGURE_PT,
    Laned,
    Measure,
    Way,
    arrow_line,
    draw_dimension,
    has_room,
    laned,
    out_mm,
)
from vision.documents.sheets.drawing import CHAIN_DOTTED, SMALLEST_PT
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.flow import Column, heading, paragraph, table
from vision.documents.sheets.plan_drawing import (
    PlanView,
    draw_badge,
    key_letters,
    outward,
    scale_for,
    shown_reach,
    tape_corners,
)
from vision.planning.setting_out.lines import same
from vision.planning.setting_out.running_marks import (
    DiagonalPair,
    SettingOut,
    StripLine,
    exact,
)
from vision.units.arrays import Array

KEY_WIDTH_MM, BETWEEN_MM = 64.0, 5.0
NAME_MM = 29.0
WAYS: tuple[Way, ...] = ("left", "right", "front", "rear")
Place = Sequence[float] | Array
"""A ground point, x ahead and y left, in metres."""
BADGE_AIR_MM = 3.4
"""From a tape's edge to the middle of its letter."""


def dimension_sheet(book: Book, setting: SettingOut, figures: Figures) -> Sheet:
    """Body and strips at the largest usual scale with all lanes, and the key beside them."""
    every = laned(list(_measures(setting, figures)))
    size = book.width - KEY_WIDTH_MM - BETWEEN_MM, book.height - 0.1
    left, right, above, below = (_lanes_mm(way, every) for way in WAYS)
    low, high = shown_reach(setting)
    room = size[0] - left - right, size[1] - above - below
    scale = scale_for(float(high[0] - low[0]), float(high[1] - low[1]), room)
    off = (left - right) / 2, (below - above) / 2
    view = PlanView.centred(setting, size, scale, (low, high), off)
    view.body()
    for strip in setting.strips:
        view.strip(strip.strip)
    pair = _checking(setting)
    crossed = (pair.first, pair.second) if pair else ()
    for diagonal in crossed:
        arrow_line(view.picture, *(view.place(end) for end in diagonal.ends_m))
    _datums(view, every)
    shown = [each for each in every if has_room(each, every, 1000 / scale)]
    for each in every:
        if each.lane is not None:
            _draw(view, each, with_figures=each in shown)
    _letters(view)
    rest = [each.measure for each in every if each not in shown or each.lane is None]
    rows = [(each.of, each.above, each.below) for each in rest]
    rows += [
        (" to ".join(map(str, each.between)), figures.metres(each.length_m),
         f"({figures.feet(each.length_m)})")
        for each in crossed
    ]  # fmt: skip
    return Sheet(
        title="Dimensions, to scale",
        story=[view.picture, FrameBreak(), *_key(setting, scale, rows)],
        columns=(size[0], KEY_WIDTH_MM),
    )


def _checking(setting: SettingOut) -> DiagonalPair | None:
    """The pair of crossing diagonals that shows most: of the side strips, if there are two."""
    return next((pair for pair in setting.pairs if pair.fault == "slide"), None)


# ---------------------------------------------------------------------------------------- lengths


def _measures(setting: SettingOut, figures: Figures) -> Iterator[Measure]:
    """Every length to show; the pieces of one line of tape lie equally far out."""
    seen = set()
    for each in _lengths(setting, figures):
        low, high = each.span_m
        key = each.way, each.above, round(low, 3), round(high, 3)
        if key not in seen:
            seen.add(key)
            yield each


def _lengths(setting: SettingOut, figures: Figures) -> Iterator[Measure]:
    def measure(
        word: str, of: str, way: Way, ends: tuple[Place, Place],
        length_m: Fraction, *, overall: bool = False, from_datum: bool = False,
    ) -> Measure:  # fmt: skip
        (x0, y0), (x1, y1) = ends
        return Measure(
            of=of, way=way, ends=((float(x0), float(y0)), (float(x1), float(y1))),
            above=f"{word} {figures.metres(length_m)}", below=f"({figures.feet(length_m)})",
            overall=overall, from_datum=from_datum,
        )  # fmt: skip

    x, y = setting.job.vehicle.length_m / 2, setting.job.vehicle.width_m / 2
    yield measure("body", "length", "left", ((-x, y), (x, y)), exact(2 * x))
    yield measure("body", "width", "front", ((x, -y), (x, y)), exact(2 * y))
    for index, line in enumerate(setting.strips):
        if line.side == "free":
            continue
        name, strip = line.strip.name, line.strip
        ends = strip.from_m, strip.to_m
        letter, length_m = key_letters(index), line.marks[-1].running_m
        yield measure(letter, name, line.side, ends, length_m, overall=True)
        if not _parallel(line):
            continue
        assert line.inside_m is not None
        side = line.side in ("left", "right")
        way: Way = "front" if side else "left"
        yield measure("tape", name, way, _gap(line, x, y), line.inside_m[0])
        offset = line.first.left_m if side else line.first.ahead_m
        way = "rear" if side else "right"
        yield measure("marks", name, way, _offset(line), abs(offset), from_datum=True)


def _parallel(line: StripLine) -> bool:
    """Whether one figure says how far a strip lies from the body, outside it."""
    inside = same(line.inside_m)
    return inside is not None and inside > 0


def _gap(line: StripLine, x: float, y: float) -> tuple[Place, Place]:
    """The body's corner and the tape's inside edge, where extension lines towards them begin."""
    assert line.inside_m is not None
    inside, far = float(line.inside_m[0]), np.array(tape_corners(line.strip)).max(axis=0)
    sign = 1 if line.side in ("left", "front") else -1
    if line.side in ("left", "right"):
        return (x, sign * y), (far[0], sign * (y + inside))
    return (sign * x, y), (sign * (x + inside), far[1])


def _offset(line: StripLine) -> tuple[Place, Place]:
    """On the datum line, and at the strip's end that is the nearer to where the figure stands."""
    axis = 0 if line.side in ("left", "right") else 1
    x, y = min((line.strip.from_m, line.strip.to_m), key=lambda end: float(end[axis]))
    return ((x, 0.0) if axis == 0 else (0.0, y)), (x, y)


# ---------------------------------------------------------------------------------------- drawing


def _lanes_mm(way: Way, every: Sequence[Laned]) -> float:
    """What the lanes of one way take up, or a letter where there are none."""
    return _last_mm(way, every) + FIGURE_MM + 1.0


def _last_mm(way: Way, every: Sequence[Laned], *, datum: bool = False) -> float:
    lanes = [
        out_mm(each.lane) for each in every
        if each.lane is not None and each.measure.way == way
        and (each.measure.from_datum or not datum)
    ]  # fmt: skip
    return max(lanes, default=BEYOND_MM)


def _edge(view: PlanView, way: Way) -> float:
    """Where what is drawn ends, on the picture."""
    low, high = shown_reach(view.setting)
    corner = view.place(high if way in ("left", "front") else low)
    return corner[0] if way in ("left", "right") else corner[1]


def _draw(view: PlanView, each: Laned, *, with_figures: bool) -> None:
    measure = each.measure
    assert each.lane is not None
    axis = 1 - measure.axis
    sign = 1 if measure.way in ("right", "front") else -1
    line = _edge(view, measure.way) + sign * out_mm(each.lane)
    ends = [view.place(end) for end in measure.ends]
    begins = [None if measure.from_datum else ends[0][1 - axis], ends[1][1 - axis]]
    if ends[0][axis] > ends[1][axis]:
        ends.reverse()
        begins.reverse()
    texts = (measure.above, measure.below) if with_figures else ()
    draw_dimension(view.picture, axis, (ends[0][axis], ends[1][axis]), line, begins, *texts)


def _datums(view: PlanView, every: Sequence[Laned]) -> None:
    """Centre line and mid line, out to the dimensions that begin at them."""
    x, y = view.middle
    reach = {way: _last_mm(way, every, datum=True) + BEYOND_MM for way in WAYS}
    low, right = _edge(view, "rear") - reach["rear"], _edge(view, "right") + reach["right"]
    view.picture.line((x, _edge(view, "front") + BEYOND_MM), (x, low), dash=CHAIN_DOTTED)
    view.picture.line((_edge(view, "left") - BEYOND_MM, y), (right, y), dash=CHAIN_DOTTED)


def _letters(view: PlanView) -> None:
    """The strips' letters beside them, on top of thin lines: end strips' on the body's side.

    Along the strips they stand clear of figures, and of the ends of other strips.
    """
    for index, line in enumerate(view.setting.strips):
        strip, side = line.strip, line.side in ("left", "right")
        away = 500 * strip.tape_width_m / view.scale + BADGE_AIR_MM
        out = outward(strip) * (away if side else -away)
        x, y = view.place(strip.from_m + (0.25 if side else 0.35) * strip.length_m * strip.along)
        at = x - float(out[1]), y + float(out[0])
        draw_badge(view.picture, at, key_letters(index), "strip")


# -------------------------------------------------------------------------------------------- key


def _key(
    setting: SettingOut, scale: float, rows: Sequence[tuple[str, str, str]]
) -> Iterator[Flowable]:
    yield from heading(f"Scale 1 : {scale:g}", 16)
    names = (f"{key_letters(i)} {line.strip.name}" for i, line in enumerate(setting.strips))
    yield paragraph(f"{', '.join(names)}.", 10)
    yield paragraph(
        "Letter: from the first to the last mark of that strip. Tape: from the body to the tape's "
        "inside edge. Marks: from the datum line, chain dotted, to the line of marks. The figures "
        "decide, not the drawing.", SMALLEST_PT,
    )  # fmt: skip
    elsewhere = "; ".join(
        f"strip {key_letters(index)}, {_why_not(line)}"
        for index, line in enumerate(setting.strips)
        if not _parallel(line)
    )
    if elsewhere:
        yield paragraph(f"Distances on the other sheets only: {elsewhere}.", SMALLEST_PT)
    if _checking(setting):
        yield paragraph("Crossing lines, between marks, check the strips.", SMALLEST_PT)
    if rows:
        yield from heading("Without room on the drawing")
        columns = (
            Column(title="of", width=NAME_MM, size_pt=10, bold=True),
            Column(title="length", width=KEY_WIDTH_MM - NAME_MM, size_pt=FIGURE_PT),
        )
        yield table(columns, [(of, f"{above}\n{below}") for of, above, below in rows])


def _why_not(line: StripLine) -> str:
    """Why a strip that is not parallel has no figures here."""
    return "at an angle" if same(line.inside_m) is None else "under the body"

"""How to find the datum lines, each strip's offsets, and what shows squareness."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from vision.documents.sheets.book import Book, Column, Flow
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.page import MM_PER_PT, SMALLEST_PT, WHITE, Box, wrapped
from vision.documents.sheets.plan_drawing import PlanView, key_letters, shown_reach
from vision.planning.setting_out.lines import same
from vision.planning.setting_out.running_marks import (
    Diagonal,
    DiagonalPair,
    SettingOut,
    StripLine,
    exact,
)

SKETCH_MM = 58.0
CARD_MM = 26.0
TEXT_AT_MM = 40.0
READ_MM = 40.0
"""Where a card's text begins, and what the lines to fill in take at its right."""


def lines_sheet(book: Book, setting: SettingOut, figures: Figures) -> None:
    """How the two datum lines are found, and where the strips lie against them."""
    page = book.new_page("Datum lines")
    inner = book.inner
    sketch = Box(
        left=inner.right - SKETCH_MM, top=inner.top + 2, right=inner.right, bottom=inner.top + 94
    )
    drawn = Box(
        left=sketch.left + 9, right=sketch.right - 9, top=sketch.top + 13, bottom=sketch.bottom - 13
    )
    _sketch(PlanView.small(page, setting, drawn))
    left = Box(left=inner.left, top=inner.top, right=sketch.left - 4, bottom=inner.bottom)
    flow = Flow(book, page.title, page, left)
    flow.heading("Everything is measured from two lines")
    flow.steps(_finding(setting, figures))
    if flow.page is page:
        flow.y = max(flow.y, sketch.bottom)
        flow.box = inner
    flow.heading("Strips against the lines")
    columns = (
        Column(title="", width=9, size_pt=11, bold=True),
        Column(title="strip", width=30, bold=True),
        Column(title="line of marks, out from the body", width=49),
        Column(title="inside edge of the tape, out from the body", width=49),
        Column(title="line of marks, from its datum line", width=book.inner.width - 137),
    )
    flow.table(columns, [_offsets(i, line, figures) for i, line in enumerate(setting.strips)])
    flow.paragraph(
        "The offsets from the datum lines decide. Those from the body are for a body as long and "
        "wide as the job states, measured where the plumb line hangs.", SMALLEST_PT,
    )  # fmt: skip
    if not setting.pairs:
        flow.paragraph("No two strips of this layout face each other: lay each by its offsets.")
    if setting.triangles:
        _triangles(flow, setting, figures)


def _finding(setting: SettingOut, figures: Figures) -> Iterator[str]:
    lot, vehicle = setting.lot, setting.job.vehicle
    yield (
        "F and R. Hang a plumb bob from the left and from the right corner of the front, at the "
        "same height. Chalk the ground under both, halve the distance between them: F. The same "
        "at the rear: R."
    )
    yield (
        "Centre line. Stretch a string through F and R under the body, with a pole and not by "
        f"crawling, and on to {figures.at_least(lot.ahead_m)} ahead of the body and "
        f"{figures.at_least(lot.behind_m)} behind. Chalk it ahead and behind."
    )
    yield (
        "M, on each side. Hang the plumb bob from the front and from the rear end of that side. "
        "Chalk a line through both points, halve the distance: M. It is "
        f"{figures.both(exact(vehicle.length_m / 2))} from either end where the body is as long "
        "as stated."
    )
    yield (
        "Mid line. It runs through both M. Stretch a string across both and carry it on to each "
        "side."
    )
    yield (
        "Are the two square? The distances from F to the left M and to the right M are equal, or "
        f"differ by less than {figures.allowed(setting.job.tolerances.strip_m / 3)}. If not, "
        "move the M that is nearer back by half the difference, and the other ahead by as much."
    )
    if vehicle.height_m is None:
        yield "Look up: the body may overhang where you hang the bob. Use its outermost faces."


def _offsets(index: int, line: StripLine, figures: Figures) -> tuple[str, ...]:
    def pair(values: tuple[Fraction, Fraction] | None) -> str:
        if values is None:
            return "at an angle"
        one = same(values)
        if one is not None:
            return figures.both(one)
        return f"{figures.both(values[0])} at 0, {figures.both(values[1])} at the last"

    if line.side == "free":
        datum = "its two ends are on its own sheet"
    else:
        axis = line.side in ("left", "right")
        ends = [(e.left_m if axis else e.ahead_m) for e in (line.first, line.last)]
        word = {"left": "left", "right": "right", "front": "ahead", "rear": "behind"}[line.side]
        datum = f"{pair((abs(ends[0]), abs(ends[1])))} {word}"
    return (
        key_letters(index), line.strip.name, pair(line.body_m), pair(line.inside_m), datum,
    )  # fmt: skip


def _triangles(flow: Flow, setting: SettingOut, figures: Figures) -> None:
    flow.heading("End strips square to the centre line: 3-4-5 triangles", keep=30)
    flow.paragraph(
        "From where the strip's line crosses the centre line, to either side, and along the centre "
        "line away from the body. Chalk both, then tape between them and swing the strip's line "
        "until it fits. Use the row of your tape.", 9.5,
    )  # fmt: skip
    columns = (
        Column(title="strip", width=34, bold=True),
        Column(title="along the strip", width=30, anchor="end"),
        Column(title="along the centre line", width=36, anchor="end"),
        Column(title="between them", width=30, size_pt=12, bold=True, anchor="end"),
        Column(title="off by at most", width=flow.box.width - 130, anchor="end"),
    )
    rows = []
    for triangle in setting.triangles:
        name = f"{triangle.strip} ({'ahead' if triangle.away > 0 else 'behind'})"
        for legs, show in ((triangle.metric, figures.metres), (triangle.imperial, figures.feet)):
            sides = (legs.along_strip_m, legs.along_line_m, legs.across_m)
            rows.append((name, *map(show, sides), figures.allowed(legs.allowed_m)))
    flow.table(columns, rows)


def _sketch(view: PlanView) -> None:
    """Datum lines and triangles over the small plan, with F, R and both M."""
    page = view.page
    vehicle = view.setting.job.vehicle
    x, y = vehicle.length_m / 2, vehicle.width_m / 2
    low, high = shown_reach(view.setting)
    (left, top), (right, bottom) = view.place(high), view.place(low)
    middle_x, middle_y = view.place((0, 0))
    dash = (5, 1.2, 0.8, 1.2)
    page.line((middle_x, top - 6), (middle_x, bottom + 6), line_mm=0.35, dash_mm=dash)
    page.line((left - 6, middle_y), (right + 6, middle_y), line_mm=0.35, dash_mm=dash)
    for name, ground, label in (
        ("F", (x, 0.0), right + 4.5),
        ("R", (-x, 0.0), right + 4.5),
        ("M", (0.0, y), left - 4.5),
        ("M", (0.0, -y), right + 4.5),
    ):
        at = view.place(ground)
        page.disc(*at, 1.1, fill=0.0)
        page.text(label, at[1] - 1.2, name, 11, bold=True, anchor="middle")
        if name != "M":
            page.line(at, (right + 6, at[1]), line_mm=0.15)
    for triangle in view.setting.triangles:
        legs = triangle.metric
        x, y = triangle.corner_m
        across, out = y + float(legs.along_strip_m), x + triangle.away * float(legs.along_line_m)
        page.polygon([view.place(p) for p in ((x, y), (x, across), (out, y))], line_mm=0.5)


# --------------------------------------------------------------------------------------- square


def square_sheet(book: Book, setting: SettingOut, figures: Figures) -> None:
    """Diagonals and widths, with the difference that each allows; no sheet where there are none."""
    if not setting.pairs:
        return
    tolerance_m = setting.job.tolerances.strip_m
    flow = Flow(book, "Is it square?")
    flow.paragraph(
        f"Limits follow from the job's strip tolerance, {figures.allowed(tolerance_m)}: at the "
        "limit a mark lies that far out. Aim for a third of it. Tape every distance twice, with "
        "the tape straight, level and pulled alike, and write it down."
    )
    flow.heading("Pairs that differ when a strip has slid or turned", keep=CARD_MM)
    for number, pair in enumerate(setting.pairs, start=1):
        _pair_card(flow, number, pair, setting, figures)


Row = tuple[str, float, bool]
"""A line of a card: text, size, whether bold."""


def _card(flow: Flow, rows: list[Row], width: float, least: float) -> Box:
    """Room for a card below a thin line, as high as its thumbnail or its wrapped rows."""
    lines = _wrapped(rows, width)
    height = max(least, 3.5 + sum(size * MM_PER_PT * 1.25 for _, size, _ in lines))
    flow.room(height)
    top = flow.y + 1.0
    flow.page.line((flow.box.left, top), (flow.box.right, top), line_mm=0.2)
    flow.y += height
    card = Box(left=flow.box.left, top=top + 1.5, right=flow.box.right, bottom=flow.y - 0.5)
    y = card.top
    for text, size, bold in lines:
        y += size * MM_PER_PT * 1.25
        flow.page.text(card.left + TEXT_AT_MM, y - 1.0, text, size, bold=bold)
    return card


def _wrapped(rows: list[Row], width: float) -> list[Row]:
    return [
        (line, size, bold)
        for text, size, bold in rows
        for line in wrapped(text, width, size, bold=bold)
    ]


def _thumb(card: Box, least: float) -> Box:
    return Box(
        left=card.left + 8, top=card.top, right=card.left + TEXT_AT_MM - 4,
        bottom=card.top + least - 4,
    )  # fmt: skip


def _pair_card(
    flow: Flow, number: int, pair: DiagonalPair, setting: SettingOut, figures: Figures
) -> None:
    rows: list[Row] = [
        (_distance(pair.first, figures), 11, True),
        (_distance(pair.second, figures), 11, True),
        (_difference(pair, figures), 10, False),
        (_reading(pair), 10, False),
    ]
    if pair.first.under_body or pair.second.under_body:
        under = "Runs under the body: feed the tape with a pole, clear of the wheels."
        rows.append((under, 10, False))
    card = _card(flow, rows, flow.box.width - TEXT_AT_MM - READ_MM, CARD_MM)
    shown = [name for name in (pair.strip, pair.against) if name]
    view = PlanView.small(flow.page, setting, _thumb(card, CARD_MM), shown)
    dashes: tuple[tuple[float, ...], ...] = ((), (1.2, 0.9))
    for diagonal, dash in zip((pair.first, pair.second), dashes, strict=True):
        ends = [view.place(end) for end in diagonal.ends_m]
        flow.page.line(*ends, line_mm=1.0, grey=WHITE)
        flow.page.line(*ends, line_mm=0.5, dash_mm=dash)
    flow.page.text(card.left, card.top + 4.5, str(number), 13, bold=True)
    for row in (0, 1):
        y = card.top + 5.0 + 9.0 * row
        flow.page.text(card.right - 38, y, "read", SMALLEST_PT)
        flow.page.line((card.right - 29, y + 0.6), (card.right, y + 0.6), line_mm=0.3)


def _distance(diagonal: Diagonal, figures: Figures) -> str:
    return f"{diagonal.between[0]} to {diagonal.between[1]}: {figures.both(diagonal.length_m)}"


def _difference(pair: DiagonalPair, figures: Figures) -> str:
    limit = figures.allowed(pair.allowed_m)
    if abs(pair.difference_m) < 5e-4:
        return f"Equal, or differ by at most {limit}."
    longer = "first" if pair.difference_m > 0 else "second"
    return f"The {longer} is {figures.both(abs(pair.difference_m))} longer, give or take {limit}."


def _reading(pair: DiagonalPair) -> str:
    shift = f"10 mm of difference shows {10 / pair.answer:.1f} mm"
    if pair.fault == "slide":
        return (
            f"Solid line too long: strip {pair.strip} lies too far towards "
            f"{pair.first.between[1]}, or strip {pair.against} the other way. {shift}."
        )
    other = f", or strip {pair.against} at {pair.first.between[0]}" if pair.against else ""
    return (
        f"Solid line too long: strip {pair.strip} lies too far out at "
        f"{pair.first.between[1]}{other}. {shift} at each end."
    )

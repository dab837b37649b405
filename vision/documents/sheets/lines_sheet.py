"""How to find the datum lines, each strip's offsets, and what shows squareness."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from vision.documents.sheets.book import Book, Sheet
from vision.documents.sheets.drawing import BLACK, CHAIN_DOTTED, SMALLEST_PT, WHITE, Picture
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.flow import (
    Column,
    heading,
    layout,
    paragraph,
    side_by_side,
    steps,
    table,
)
from vision.documents.sheets.plan_drawing import PlanView, key_letters, shown_reach
from vision.planning.setting_out.lines import same
from vision.planning.setting_out.running_marks import (
    Diagonal,
    DiagonalPair,
    SettingOut,
    StripLine,
    exact,
)

SKETCH_MM = (58.0, 92.0)
THUMB_MM = (26.0, 26.0)
NUMBER_MM, READ_MM = 8.0, 38.0
"""Of a card: its number at the left, lines to fill in at the right."""


def lines_sheet(book: Book, setting: SettingOut, figures: Figures) -> Sheet:
    """How the two datum lines are found, and where the strips lie against them."""
    columns = (
        Column(title="", width=9, size_pt=11, bold=True),
        Column(title="strip", width=30, bold=True),
        Column(title="line of marks, out from the body", width=49),
        Column(title="inside edge of the tape, out from the body", width=49),
        Column(title="line of marks, from its datum line", width=book.width - 137),
    )
    story: list[Flowable] = [
        *heading("Everything is measured from two lines"),
        side_by_side(
            steps(_finding(setting, figures)), _sketch(setting),
            (book.width - SKETCH_MM[0], SKETCH_MM[0]),
        ),
        *heading("Strips against the lines"),
        table(columns, [_offsets(i, line, figures) for i, line in enumerate(setting.strips)]),
        paragraph(
            "The offsets from the datum lines decide. Those from the body are for a body as long "
            "and wide as the job states, measured where the plumb line hangs.", SMALLEST_PT,
        ),
    ]  # fmt: skip
    if not setting.pairs:
        said = "No two strips of this layout face each other: lay each by its offsets."
        story.append(paragraph(said))
    if setting.triangles:
        story += _triangles(book, setting, figures)
    return Sheet(title="Datum lines", story=story)


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


def _triangles(book: Book, setting: SettingOut, figures: Figures) -> Iterator[Flowable]:
    yield from heading("End strips square to the centre line: 3-4-5 triangles", keep=50)
    yield paragraph(
        "From where the strip's line crosses the centre line, to either side, and along the centre "
        "line away from the body. Chalk both, then tape between them and swing the strip's line "
        "until it fits. Use the row of your tape.", 9.5,
    )  # fmt: skip
    columns = (
        Column(title="strip", width=34, bold=True),
        Column(title="along the strip", width=30, anchor="end"),
        Column(title="along the centre line", width=36, anchor="end"),
        Column(title="between them", width=30, size_pt=12, bold=True, anchor="end"),
        Column(title="off by at most", width=book.width - 130, anchor="end"),
    )
    rows = []
    for triangle in setting.triangles:
        name = f"{triangle.strip} ({'ahead' if triangle.away > 0 else 'behind'})"
        for legs, show in ((triangle.metric, figures.metres), (triangle.imperial, figures.feet)):
            sides = (legs.along_strip_m, legs.along_line_m, legs.across_m)
            rows.append((name, *map(show, sides), figures.allowed(legs.allowed_m)))
    yield table(columns, rows)


def _sketch(setting: SettingOut) -> Picture:
    """Datum lines and triangles over a small plan, with F, R and both M."""
    view = PlanView.small(setting, SKETCH_MM, margin=11.0)
    picture, vehicle = view.picture, setting.job.vehicle
    x, y = vehicle.length_m / 2, vehicle.width_m / 2
    low, high = shown_reach(setting)
    (left, top), (right, bottom) = view.place(high), view.place(low)
    across, up = view.middle
    picture.line((across, top + 6), (across, bottom - 6), width=0.35, dash=CHAIN_DOTTED)
    picture.line((left - 6, up), (right + 6, up), width=0.35, dash=CHAIN_DOTTED)
    for name, ground, label in (
        ("F", (x, 0.0), right + 4.5),
        ("R", (-x, 0.0), right + 4.5),
        ("M", (0.0, y), left - 4.5),
        ("M", (0.0, -y), right + 4.5),
    ):
        at = view.place(ground)
        picture.disc(at, 1.1, fill=BLACK)
        picture.text(label, at[1] + 1.2, name, 11, bold=True, anchor="middle")
        if name != "M":
            picture.line(at, (right + 6, at[1]), width=0.15)
    for triangle in setting.triangles:
        legs = triangle.metric
        x, y = triangle.corner_m
        aside, out = y + float(legs.along_strip_m), x + triangle.away * float(legs.along_line_m)
        picture.polygon([view.place(p) for p in ((x, y), (x, aside), (out, y))], width=0.5)
    return picture


# --------------------------------------------------------------------------------------- square


def square_sheet(book: Book, setting: SettingOut, figures: Figures) -> list[Sheet]:
    """Diagonals and widths, with the difference that each allows; no sheet where there are none."""
    if not setting.pairs:
        return []
    widths = (NUMBER_MM, THUMB_MM[0], book.width - NUMBER_MM - THUMB_MM[0] - READ_MM, READ_MM)
    cards = [
        [paragraph(f"{number}", 13, bold=True), _pair_thumb(setting, pair),
         _pair_words(pair, figures), _blanks()]
        for number, pair in enumerate(setting.pairs, start=1)
    ]  # fmt: skip
    lines = [
        ("LINEABOVE", (0, 0), (-1, -1), 0.2 * mm, "black"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5 * mm),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5 * mm),
    ]
    how = paragraph(
        "Limits follow from the job's strip tolerance, "
        f"{figures.allowed(setting.job.tolerances.strip_m)}: at the "
        "limit a mark lies that far out. Aim for a third of it. Tape every distance twice, with "
        "the tape straight, level and pulled alike, and write it down."
    )
    title = heading("Pairs that differ when a strip has slid or turned", keep=40)
    return [Sheet(title="Is it square?", story=[how, *title, layout(cards, widths, lines)])]


def _pair_thumb(setting: SettingOut, pair: DiagonalPair) -> Picture:
    shown = [name for name in (pair.strip, pair.against) if name]
    view = PlanView.small(setting, THUMB_MM, shown, margin=1.0)
    dashes: tuple[tuple[float, ...], ...] = ((), (1.2, 0.9))
    for diagonal, dash in zip((pair.first, pair.second), dashes, strict=True):
        ends = [view.place(end) for end in diagonal.ends_m]
        view.picture.line(*ends, width=1.0, colour=WHITE)
        view.picture.line(*ends, width=0.5, dash=dash)
    return view.picture


def _pair_words(pair: DiagonalPair, figures: Figures) -> list[Flowable]:
    words = [
        *(paragraph(_distance(each, figures), 11, bold=True) for each in (pair.first, pair.second)),
        paragraph(_difference(pair, figures), 10),
        paragraph(_reading(pair), 10),
    ]
    if pair.first.under_body or pair.second.under_body:
        under = "Runs under the body: feed the tape with a pole, clear of the wheels."
        words.append(paragraph(under, 10))
    return words


def _blanks() -> Picture:
    """Two lines to write readings on."""
    picture = Picture(READ_MM, 16.0)
    for low in (11.0, 2.0):
        picture.text(2.0, low + 0.6, "read")
        picture.line((11.0, low), (READ_MM, low), width=0.3)
    return picture


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

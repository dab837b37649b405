"""The sheets of the order of work, for one person and for two, and of what to cut and bring."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table

from vision.documents.sheets.book import Book, Sheet
from vision.documents.sheets.drawing import SMALLEST_PT
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.flow import TICK, Column, heading, layout, paragraph, steps, table
from vision.documents.sheets.plan_sheet import plural
from vision.job.job import BoxCorner
from vision.planning.setting_out.running_marks import Piece, SettingOut
from vision.planning.setting_out.supplies import extent_m

LABEL_MM = 48.0
PANEL = Fraction(3, 2)
"""The board under a raised mark against the mark itself, as practice pictures draw it and plans
reckon with what it hides."""

TWO = (
    "Both: park, brake, chocks, keys out, cones. Fill in the state of the vehicle.",
    "A holds the plumb bob, B chalks. F, R and both M; then the two lines (datum lines).",
    "A holds the zero, B reads aloud, A repeats. Chalk each strip's line by its offsets.",
    "Tape widths, diagonals and triangles before anything is stuck down; move a line, not a "
    "reading. Write the readings down.",
    "B lays tape by its inside edge, A walks behind and presses it flat, without pulling it long.",
    "A keeps the zero on mark 0, B chalks every running distance. Change places and read again.",
    "Stick the marks on the chalked centres, turned as the strip runs.",
    "Set up the raised marks. B reads heights from the ground, A holds the tape upright.",
    "Preset the cameras: A on the ladder, B holds it and reads the list.",
    "Both out of the pictures, doors and mirrors as driven. One still from each camera.",
    "Run seamtrue check. Only when it says keep: lift tape and marks, then cones and chocks.",
)
ONE = (
    "Park, brake, chocks, keys out, cones. Fill in the state of the vehicle.",
    "Plumb bob on a hook or a magnet: let it come to rest, chalk. F, R and both M.",
    "Strings on weights or masonry nails, drawn tight: centre line and mid line.",
    "Pin the tape's end with a weight, never by hand: chalk each strip's line by its offsets.",
    "Widths, triangles, then diagonals; each twice, from either end. Write the readings down.",
    "Stick the tape's first half metre, unroll along the string, press on the way back.",
    "Weight on the zero at mark 0. Chalk every running distance; walk back and read again.",
    "Marks, raised marks. No ladder without somebody who holds it: ask for help with the cameras.",
    "Out of the pictures, doors and mirrors as driven. One still from each camera.",
    "Run seamtrue check. Only when it says keep: lift tape and marks, then cones and chocks.",
)


def work_sheets(book: Book, setting: SettingOut, figures: Figures) -> tuple[Sheet, Sheet]:
    """Order of work with the vehicle's state; cut list with things to bring."""
    order = [
        *heading("Two people: A at the zero, B reads"),
        *steps(TWO),
        *heading("One person, who needs help only at the ladder", keep=40),
        *steps(ONE),
        *_state(book, setting),
    ]
    cut = [
        *heading("Tape"),
        _pieces(book, setting.cut.tape, figures, exactly=False),
        paragraph(
            "Lengths are rounded up and hold 10 cm (4 in) beyond the last mark's edge at each end.",
            9.5,
        ),
    ]
    if setting.cut.marks:
        cut += [
            *heading("Marks"),
            _pieces(book, setting.cut.marks, figures, exactly=True),
            paragraph(
                "A cross is two pieces, one over the other, both centred. seamtrue marks prints "
                "all of these true to size.", 9.5,
            ),
        ]  # fmt: skip
    cut += heading("Bring", keep=40)
    cut += [
        paragraph(thing, indent=6.0, lead="\N{MIDDLE DOT}") for thing in _things(setting, figures)
    ]
    return Sheet(title="Order of work", story=order), Sheet(title="Cut list", story=cut)


def _state(book: Book, setting: SettingOut) -> Iterator[Flowable]:
    """What the job says of the vehicle's state, and lines to fill in for the rest."""
    state = setting.job.vehicle.state
    known = (
        ("Load, people on board", state.load),
        ("Suspension height", state.suspension_height),
        ("Tyre pressure", state.tyre_pressure),
        ("Doors, steps, ramps", state.doors),
        ("Mirrors", state.mirrors),
        ("Laid by, on", None),
    )
    rows = [[paragraph(label, bold=True), paragraph(text or "")] for label, text in known]
    blank = [("LINEBELOW", (1, row), (1, row), 0.3 * mm, "black")
             for row, (_, text) in enumerate(known) if not text]  # fmt: skip
    room = [("TOPPADDING", (0, 0), (-1, -1), 2.5 * mm)]
    yield from heading(
        "State of the vehicle: as driven, and the same until the last picture", keep=70
    )
    yield layout(rows, (LABEL_MM, book.width - LABEL_MM), [*room, *blank])
    yield Spacer(0, 2 * mm)
    yield paragraph(
        "Write it into the job file under [vehicle.state] as well: cameras move with the body, and "
        "a later picture compares only with the same state.", SMALLEST_PT,
    )  # fmt: skip


def _pieces(book: Book, pieces: tuple[Piece, ...], figures: Figures, *, exactly: bool) -> Table:
    rest = book.width - 38 - 38 - 18 - 15
    columns = (
        Column(title="strip or mark", width=38, bold=True),
        Column(title="what", width=38),
        Column(title="pieces", width=18, size_pt=12, bold=True, anchor="end"),
        Column(title="long", width=rest / 2, anchor="end"),
        Column(title="wide", width=rest / 2, anchor="end"),
        Column(title="cut", width=15, anchor="middle"),
    )
    rows = [
        (
            piece.of, piece.what, str(piece.count),
            figures.small(piece.length_m) if exactly else figures.to_cut(piece.length_m),
            figures.small(piece.width_m), TICK,
        )
        for piece in pieces
    ]  # fmt: skip
    return table(columns, rows, row_mm=7.0)


def _stands(setting: SettingOut, figures: Figures) -> str:
    """What carries raised marks: a mark needs its own light, or dark, ground to be seen against."""
    printed = [
        (mark.shape, mark.ink)
        for mark in setting.raised_marks
        if not isinstance(mark.shape, BoxCorner)
    ]
    side = figures.to_cut(max(max(extent_m(shape)) for shape, _ in printed) * PANEL)
    shade = " or ".join(sorted({"light" if ink == "dark" else "dark" for _, ink in printed}))
    each = "each with" if len(printed) > 1 else "with"
    return (
        f"{len(printed)} {plural('trestle', len(printed))}, {each} a flat, matt board on top,"
        f" {shade}, {side} a side or more"
    )


def _things(setting: SettingOut, figures: Figures) -> list[str]:
    taped = [each.length_m for pair in setting.pairs for each in (pair.first, pair.second)]
    longest = max([*taped, *(line.marks[-1].running_m for line in setting.strips)], default=5)
    raised = len(setting.raised_marks)
    cartons = sum(isinstance(mark.shape, BoxCorner) for mark in setting.raised_marks)
    things = [
        f"Tape measure of {figures.at_least(float(longest))} or more, the same one all day; a "
        "second to compare.",
        f"String, {setting.cut.string_m:.0f} m or more; chalk and chalk line; plumb bob; weights.",
        "Pole to pass string and tape under the body. Square and angle gauge. Broom: tape does not "
        "hold on dust or damp.",
        "Cones, wheel chocks, high-visibility vests, ladder. Knee pads. Clipboard with a cover.",
    ]
    if raised:
        stands = _stands(setting, figures) if raised > cartons else ""
        boxes = f"{cartons} cartons, weighted" if cartons else ""
        things.append(
            f"For raised marks: {' and '.join(each for each in (stands, boxes) if each)}."
        )
    return things

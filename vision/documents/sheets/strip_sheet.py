"""One sheet for each strip: where its line lies, and every mark by running distance."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table

from vision.documents.sheets.book import Book, Sheet
from vision.documents.sheets.drawing import SMALLEST_PT, WHITE, Picture
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.flow import TICK, Column, layout, paragraph, side_by_side, table
from vision.documents.sheets.plan_drawing import PlanView, badge, badge_box, key_letters
from vision.documents.sheets.plan_sheet import first_end, shape_word, strip_words
from vision.planning.setting_out.lines import same
from vision.planning.setting_out.running_marks import SettingOut, StripLine, exact

THUMB_MM = (34.0, 57.0)
LEAD_MM = 27.0
ROW_MM = 6.6

DATUM = {"left": "mid line", "right": "mid line", "front": "centre line", "rear": "centre line"}


def strip_sheet(
    book: Book, setting: SettingOut, figures: Figures, index: int, line: StripLine
) -> Sheet:
    """What a strip is and where it lies, then its marks."""
    letter, text = key_letters(index), book.width - THUMB_MM[0] - 4.0
    left, _, right, _ = badge_box((0.0, 0.0), letter)
    indent = right - left + 2.0
    what = paragraph(strip_words(line), 12, bold=True)
    facts = [[paragraph(lead, bold=True), paragraph(fact)] for lead, fact in _facts(line, figures)]
    head = side_by_side(
        [
            layout([[badge(letter, "strip"), what]], (indent, text - indent)),
            Spacer(0, 2 * mm),
            layout(facts, (LEAD_MM, text - LEAD_MM)),
        ],
        _thumb(setting, line),
        (text + 4.0, THUMB_MM[0]),
    )
    return Sheet(
        title=f"Strip {letter}: {line.strip.name}",
        story=[head, *_rounding(line, figures), _running(book, line, figures)],
    )


def _thumb(setting: SettingOut, line: StripLine) -> Picture:
    """The strip among the others, with a ring at its mark 0."""
    view = PlanView.small(setting, THUMB_MM, (line.strip.name,), margin=2.0)
    view.picture.disc(view.place(line.strip.from_m), 1.5, fill=WHITE, width=0.5)
    return view.picture


def _facts(line: StripLine, figures: Figures) -> Iterator[tuple[str, str]]:
    strip = line.strip
    if line.body_m is not None and line.inside_m is not None:
        yield "Line of marks", f"{_along(line.body_m, figures)} out from the body."
        yield "Inside edge", f"{_along(line.inside_m, figures)} out from the body."
    tape = "light" if strip.ink == "dark" else "dark"
    yield "Tape", f"{figures.small(exact(strip.tape_width_m))} wide, {tape}; marks {strip.ink}."
    yield "Mark 0", f"{figures.where(line.first)}. It is at {first_end(strip)}, the ring."
    yield f"Mark {len(strip.at_m) - 1}", f"{figures.where(line.last)}."
    if line.crosses and line.crossing_m is not None:
        yield (
            "Start",
            f"Lay the tape measure so that it shows {figures.both(line.crossing_m)} on the "
            f"{DATUM[line.side]}: its zero is then mark 0.",
        )
    yield (
        "Then",
        "fix the zero on mark 0 and leave it there. Read every mark from that zero: a step "
        "measured from mark to mark adds its error to all that follow.",
    )


def _along(pair: tuple[Fraction, Fraction], figures: Figures) -> str:
    one = same(pair)
    if one is not None:
        return figures.both(one)
    return f"{figures.both(pair[0])} at mark 0, {figures.both(pair[1])} at the last,"


def _running(book: Book, line: StripLine, figures: Figures) -> Table:
    """The table of running distances."""
    columns = (
        Column(title="mark", width=18, size_pt=13, bold=True, anchor="middle"),
        Column(title="running distance", width=36, size_pt=13, bold=True, anchor="end"),
        Column(title="feet, inches", width=52, size_pt=13, anchor="end"),
        Column(title="off, mm", width=22, size_pt=10, anchor="end"),
        Column(title="chalked", width=(book.width - 128) / 2, anchor="middle"),
        Column(title="read again", width=(book.width - 128) / 2, anchor="middle"),
    )
    rows = [
        (
            str(mark.index), figures.metres(mark.running_m), figures.feet(mark.running_m),
            figures.feet_off_mm(mark.running_m), TICK, TICK,
        )
        for mark in line.marks
    ]  # fmt: skip
    return table(columns, rows, row_mm=ROW_MM)


def _rounding(line: StripLine, figures: Figures) -> Iterator[Flowable]:
    worst = max(
        abs(Fraction(round(mark.running_m * 1000), 1000) - mark.running_m) for mark in line.marks
    )
    metric = (
        f"metres by at most {float(worst) * 1000:.1f} mm" if worst > Fraction(1, 10**6) else
        "metres not at all"
    )  # fmt: skip
    yield paragraph(
        f"Off: by how much the figure in feet and inches, to 1/{figures.fraction} in, is longer "
        f"(+) or shorter than planned; {metric}. Each figure is rounded once, from mark 0.",
        SMALLEST_PT,
    )
    if shape_word(line.strip.shape) != "cross":
        yield paragraph("Chalk marks the centre. Print the marks with seamtrue marks.", SMALLEST_PT)

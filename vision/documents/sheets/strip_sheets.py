"""One sheet for each strip: where its line lies, and every mark by running distance."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from vision.documents.sheets.book import TICK, Book, Column, Flow
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.page import SMALLEST_PT, Box
from vision.documents.sheets.plan_drawing import BADGE_MM, PlanView, draw_badge, key_letters
from vision.documents.sheets.plan_sheet import first_end, shape_word, strip_words
from vision.planning.setting_out.lines import same
from vision.planning.setting_out.running_marks import SettingOut, StripLine, exact

THUMB_MM = (34.0, 58.0)
ROW_MM = 6.6

DATUM = {"left": "mid line", "right": "mid line", "front": "centre line", "rear": "centre line"}


def strip_sheets(book: Book, setting: SettingOut, figures: Figures) -> None:
    """A new page for every strip."""
    for index, line in enumerate(setting.strips):
        _strip_sheet(book, setting, figures, index, line)


def _strip_sheet(
    book: Book, setting: SettingOut, figures: Figures, index: int, line: StripLine
) -> None:
    page = book.new_page(f"Strip {key_letters(index)}: {line.strip.name}")
    inner = book.inner
    thumb = Box(
        left=inner.right - THUMB_MM[0], top=inner.top + 1, right=inner.right,
        bottom=inner.top + THUMB_MM[1],
    )  # fmt: skip
    view = PlanView.small(page, setting, thumb, (line.strip.name,))
    at = view.place(line.strip.from_m)
    page.disc(*at, 1.5, fill=1.0, line_mm=0.5)
    draw_badge(page, (inner.left + BADGE_MM, inner.top + 4.0), key_letters(index), "strip")
    left = Box(left=inner.left, top=inner.top, right=thumb.left - 4, bottom=inner.bottom)
    flow = Flow(book, page.title, page, left)
    indent = 2 * BADGE_MM + 2.5 + 2.2 * (len(key_letters(index)) - 1)
    flow.paragraph(strip_words(line), 12, indent=indent, bold=True)
    flow.gap(2.0)
    for lead, text in _facts(line, figures):
        flow.paragraph(text, 10.5, indent=27.0, lead=lead)
    if flow.page is page:
        flow.y = max(flow.y, thumb.bottom + 1)
        flow.box = inner
    _running(flow, line, figures)


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


def _running(flow: Flow, line: StripLine, figures: Figures) -> None:
    """What the figures are off by, and the table of running distances."""
    _rounding(flow, line, figures)
    width = flow.box.width
    columns = (
        Column(title="mark", width=18, size_pt=13, bold=True, anchor="middle"),
        Column(title="running distance", width=36, size_pt=13, bold=True, anchor="end"),
        Column(title="feet, inches", width=52, size_pt=13, anchor="end"),
        Column(title="off, mm", width=22, size_pt=10, anchor="end"),
        Column(title="chalked", width=(width - 128) / 2, anchor="middle"),
        Column(title="read again", width=(width - 128) / 2, anchor="middle"),
    )
    rows = [
        (
            str(mark.index), figures.metres(mark.running_m), figures.feet(mark.running_m),
            figures.feet_off_mm(mark.running_m), TICK, TICK,
        )
        for mark in line.marks
    ]  # fmt: skip
    flow.table(columns, rows, row_mm=ROW_MM)


def _rounding(flow: Flow, line: StripLine, figures: Figures) -> None:
    worst = max(
        abs(Fraction(round(mark.running_m * 1000), 1000) - mark.running_m) for mark in line.marks
    )
    metric = (
        f"metres by at most {float(worst) * 1000:.1f} mm" if worst > Fraction(1, 10**6) else
        "metres not at all"
    )  # fmt: skip
    flow.paragraph(
        f"Off: by how much the figure in feet and inches, to 1/{figures.fraction} in, is longer "
        f"(+) or shorter than planned; {metric}. Each figure is rounded once, from mark 0.",
        SMALLEST_PT,
    )
    if shape_word(line.strip.shape) != "cross":
        flow.paragraph("Chalk marks the centre. Print the marks with seamtrue marks.", SMALLEST_PT)

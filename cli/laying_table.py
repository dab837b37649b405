"""What `seamtrue measure` prints: the strips, the readings, and what to do."""

from __future__ import annotations

import typer

from cli.table import Lines, draw
from cli.trouble import printable
from vision.documents.check_words.reliability import open_words
from vision.documents.check_words.words import say_check
from vision.planning.tape_check import LayingCheck, doubt_text


def show_laying(check: LayingCheck) -> None:
    """Print the tables, the verdict, what to do in order, and what is not known."""
    for lines in (_strips(check), _readings(check)):
        if lines.rows:
            draw(lines)
            typer.echo()
    typer.echo(f"verdict: {check.verdict}")
    say = say_check(check.lengths)
    doubts = [doubt_text(each, check.lengths) for each in check.readings]
    moves = [say(step.what) for laying in check.layings for step in laying.actions]
    for number, text in enumerate([*filter(None, doubts), *moves], 1):
        typer.echo(f"{number}. {printable(text)}")
    unsure = [laying for laying in check.layings if laying.verdict == "not-judged"]
    notes = [say(reason) for laying in unsure for reason in laying.reasons]
    for text in open_words(check.stated, say):
        typer.echo(printable(text))
    rounding = [check.lengths.note()] if check.strips else []
    for text in filter(None, [*map(say, check.reasons), *notes, *rounding]):
        typer.echo(f"note: {printable(text)}")


def _strips(check: LayingCheck) -> Lines:
    write, words = check.lengths, {each.name: each.verdict for each in check.layings}
    rows = [
        (
            printable(each.name),
            words[each.name],
            *(write.cell(value, "cm", signed=True) for end in each.ends_m for value in end),
            write.doubt_cell(max(sigma for end in each.sigma_m for sigma in end), "cm"),
            write.cell(each.sure_m, "cm"),
        )
        for each in check.strips
    ]
    figures = ("first ahead", "left", "last ahead", "left", "sigma", "named from")
    heads = ("strip", "verdict", *(write.head(each, "cm") for each in figures))
    return Lines(heads=heads, rows=tuple(rows))


def _readings(check: LayingCheck) -> Lines:
    write = check.lengths
    rows = [
        (
            each.name,
            printable(each.what),
            write.cell(each.read_m, "m", spec=".3f"),
            write.cell(each.fits_m, "m", spec=".3f"),
            write.cell(each.read_m - each.fits_m, "mm", signed=True),
            write.doubt_cell(each.sigma_m, "mm"),
            write.cell(each.sure_m, "mm"),
        )
        for each in check.readings
    ]
    lengths = (write.head("read", "m"), write.head("rest says", "m"))
    small = [write.head(each, "mm") for each in ("off", "sigma", "named from")]
    return Lines(heads=("reading", "of", *lengths, *small), rows=tuple(rows))

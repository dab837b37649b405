"""What `seamtrue measure` prints: the strips, the readings, and what to do."""

from __future__ import annotations

import typer

from cli.table import Lines, draw
from cli.trouble import printable
from vision.laying import LayingCheck, doubt_text
from vision.verdict import up_to


def show_laying(check: LayingCheck, fraction: int) -> None:
    """Print the tables, the verdict, what to do in order, and what is not known."""
    for lines in (_strips(check), _readings(check)):
        if lines.rows:
            draw(lines)
            typer.echo()
    typer.echo(f"verdict: {check.verdict}")
    doubts = [doubt_text(each, fraction) for each in check.readings]
    moves = [step.text for laying in check.layings for step in laying.actions]
    for number, text in enumerate([*filter(None, doubts), *moves], 1):
        typer.echo(f"{number}. {printable(text)}")
    unsure = [laying for laying in check.layings if laying.verdict == "not-judged"]
    notes = [reason.text for laying in unsure for reason in laying.reasons]
    open_ = [each for each in check.stated if each.word == "cannot-tell"]
    for each in open_:
        typer.echo(f"cannot tell whether {printable(each.what)} is sound: {up_to(each)}")
    for text in [*(reason.text for reason in check.reasons), *notes]:
        typer.echo(f"note: {printable(text)}")


def _strips(check: LayingCheck) -> Lines:
    words = {each.name: each.verdict for each in check.layings}
    rows = [
        (
            printable(each.name),
            words[each.name],
            *(f"{100 * value:+.1f}" for end in each.ends_m for value in end),
            f"{100 * max(sigma for end in each.sigma_m for sigma in end):.1f}",
            f"{100 * each.sure_m:.1f}",
        )
        for each in check.strips
    ]
    heads = ("strip", "verdict", "first ahead cm", "left cm", "last ahead cm", "left cm")
    return Lines(heads=(*heads, "sigma cm", "named from cm"), rows=tuple(rows))


def _readings(check: LayingCheck) -> Lines:
    rows = [
        (
            each.name,
            printable(each.what),
            f"{each.read_m:.3f}",
            f"{each.fits_m:.3f}",
            f"{1000 * (each.read_m - each.fits_m):+.0f}",
            f"{1000 * each.sigma_m:.0f}",
            f"{1000 * each.sure_m:.0f}",
        )
        for each in check.readings
    ]
    heads = ("reading", "of", "read m", "rest says m", "off mm", "sigma mm", "named from mm")
    return Lines(heads=heads, rows=tuple(rows))

"""The tables that `seamtrue whatif` prints."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from cli.table import Lines, plain
from cli.trouble import printable

if TYPE_CHECKING:
    from vision.inspection.whatif.change import Figure, Forecast, Sensitivity
    from vision.units.length_words import LengthWords


def say_outcome(forecast: Forecast, names: list[str], write: LengthWords) -> None:
    """Print a sentence for each turned camera."""
    from vision.documents.forecast_words import outcome

    said = {name: outcome(forecast, name, write) for name in names}
    lines = [f"{name}: {text}" for name, text in said.items() if text]
    typer.echo("".join(printable(line) + "\n" for line in lines))


def show_forecast(forecast: Forecast, write: LengthWords) -> None:
    """Print cameras and seams, now and then."""
    import numpy as np

    from vision.documents.check_words.words import say_check

    rough = write.roughly
    rows = []
    for each in forecast.cameras:
        off = zip(np.degrees(each.off_rad), np.degrees(each.off_sigma_rad), strict=True)
        rows.append(
            (
                printable(each.name),
                each.aim,
                *(f"{d:+.1f} +-{s:.1f}" for d, s in off),
                f"{each.marks_now} > {each.marks_then}",
                _now_then(rough, each.nearest_now, each.nearest_then),
            )
        )
    heads: tuple[str, ...] = ("camera", "aim then", "pan off", "tilt off", "roll off deg", "marks")
    heads = (*heads, rough.head("nearest", "m"))
    typer.echo(plain(Lines(heads=heads, rows=tuple(rows))) + "\n")
    gaps = (write.head(each, "cm") for each in ("gap now", "as set", "set anew"))
    heads = ("seam", "set anew", *gaps, rough.head("overlap", "m"), write.head("moves", "cm"))
    seams = tuple(
        (
            printable(" - ".join(seam.between)),
            seam.set_anew.verdict,
            *(
                write.cell(each.value_m, "cm", each.sigma_m)
                for each in (seam.now, seam.as_set, seam.set_anew)
            ),
            _now_then(rough, seam.overlap_now, seam.overlap_then),
            write.cell(seam.moved_m, "cm"),
        )
        for seam in forecast.seams
    )
    if seams:
        typer.echo(plain(Lines(heads=heads, rows=seams)) + "\n")
    notes = map(say_check(write), forecast.notes)
    for note in filter(None, [*notes, write.note("overlap and ground seen")]):
        typer.echo(f"note: {printable(note)}")


def show_sensitivities(rows: tuple[Sensitivity, ...], write: LengthWords) -> None:
    """Print how far the views of each seam move under each small change."""
    if not rows:
        return
    if not rows[0].moved_m:
        typer.echo("no two cameras share a seam: there are no two views that could move apart")
        return
    typer.echo(
        f"how far apart the two views of a seam move, {'inches' if write.imperial else 'cm'}, the"
        " display staying as it is:\n"
    )
    from vision.documents.forecast_words import change_words

    seams = list(rows[0].moved_m)
    heads = ("if the vehicle or a camera", *(printable(" - ".join(seam)) for seam in seams))
    lines = tuple(
        (
            printable(change_words(row.change, write)),
            *(write.cell(row.moved_m.get(s), "cm") for s in seams),
        )
        for row in rows
    )
    typer.echo(plain(Lines(heads=heads, rows=lines), words=1))


def _now_then(write: LengthWords, now: Figure, then: Figure) -> str:
    return f"{write.cell(now.value_m, 'm')} > {write.cell(then.value_m, 'm')}"

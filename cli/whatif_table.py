"""The tables that `seamtrue whatif` prints."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from cli.table import Lines, plain
from cli.trouble import printable

if TYPE_CHECKING:
    from vision.whatif import Figure, Forecast, Sensitivity


def say_outcome(forecast: Forecast, names: list[str]) -> None:
    """Print a sentence for each turned camera."""
    from vision.whatif import outcome

    lines = [f"{name}: {outcome(forecast, name)}" for name in names if outcome(forecast, name)]
    typer.echo("".join(printable(line) + "\n" for line in lines))


def show_forecast(forecast: Forecast) -> None:
    """Print cameras and seams, now and then."""
    import numpy as np

    rows = []
    for each in forecast.cameras:
        off = zip(np.degrees(each.off_rad), np.degrees(each.off_sigma_rad), strict=True)
        rows.append(
            (
                printable(each.name),
                each.aim,
                *(f"{d:+.1f} +-{s:.1f}" for d, s in off),
                f"{each.marks_now} > {each.marks_then}",
                f"{_metres(each.nearest_now)} > {_metres(each.nearest_then)}",
            )
        )
    heads = ("camera", "aim then", "pan off", "tilt off", "roll off deg", "marks", "nearest m")
    typer.echo(plain(Lines(heads=heads, rows=tuple(rows))) + "\n")
    heads = ("seam", "set anew", "gap now cm", "as set cm", "set anew cm", "overlap m", "moves cm")
    seams = tuple(
        (
            printable(" - ".join(seam.between)),
            seam.set_anew.verdict,
            *(_centimetres(each) for each in (seam.now, seam.as_set, seam.set_anew)),
            f"{_metres(seam.overlap_now)} > {_metres(seam.overlap_then)}",
            _number(100 * seam.moved_m, 1),
        )
        for seam in forecast.seams
    )
    if seams:
        typer.echo(plain(Lines(heads=heads, rows=seams)) + "\n")
    for note in forecast.notes:
        typer.echo(f"note: {printable(note)}")


def show_sensitivities(rows: tuple[Sensitivity, ...]) -> None:
    """Print how far the views of each seam move under each small change."""
    if not rows:
        return
    typer.echo("how far apart the two views of a seam move, cm, the display staying as it is:\n")
    seams = list(rows[0].moved_m)
    heads = ("if the vehicle or a camera", *(printable(" - ".join(seam)) for seam in seams))
    lines = tuple(
        (printable(row.label), *(_number(100 * row.moved_m.get(s, float("nan")), 1) for s in seams))
        for row in rows
    )
    typer.echo(plain(Lines(heads=heads, rows=lines), words=1))


def _metres(figure: Figure) -> str:
    return _number(figure.value_m, 2)


def _centimetres(figure: Figure) -> str:
    if figure.value_m != figure.value_m:
        return "-"
    return f"{100 * figure.value_m:.1f} +-{100 * figure.sigma_m:.1f}"


def _number(value: float, digits: int) -> str:
    if value != value:
        return "-"
    return "none" if value == float("inf") else f"{value:.{digits}f}"

"""`seamtrue whatif`: what a turn, a load or a knock would do, before anybody climbs a ladder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.table import Lines, plain
from cli.trouble import KEEP, NOT_JUDGED, printable, reader_may_leave, reported

if TYPE_CHECKING:
    from vision.inspection_values import Inspection
    from vision.whatif import Change, Figure, Forecast, Sensitivity


def whatif(
    job_file: Annotated[
        Path, typer.Argument(metavar="JOB.toml", help="The job file.", show_default=False)
    ],
    turn: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CAMERA.ANGLE=DEG",
            help="Turn a camera: front.tilt=-3 is 3 degrees up. pan is plus to its left, tilt plus "
            "down, roll plus clockwise as seen from behind it. May be repeated.",
        ),
    ] = None,
    lower: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="How much lower the vehicle rides: '5 cm'.")
    ] = None,
    lean: Annotated[float, typer.Option(help="Degrees it leans to its right.")] = 0.0,
    nose_down: Annotated[float, typer.Option(help="Degrees its front dips.")] = 0.0,
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Write the picture each turned camera would take."),
    ] = None,
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of a bug.")] = False,
) -> None:
    """Predict what a turn of a camera, or a vehicle that stands differently, would do.

    Without one: what each recommended turn would do, and how the seams follow small changes. Exit
    code: 0, 4 where the pictures give nothing to go by, 5 bad input.
    """
    with reported(debug):
        from vision import files
        from vision.inspection import inspect
        from vision.solver import NoFit
        from vision.whatif import (
            asked_change,
            predict,
            recommended,
            sensitivities,
            small_changes,
        )

        job, _ = files.read_job(job_file)
        change = asked_change(job, turn or (), lower, lean, nose_down)
        job, pictures = files.read_inspection_input(job_file)
        inspection = inspect(job, pictures)
        asked = bool(change.turns_rad) or change.moves_vehicle
        found = {"": (change, predict(inspection, change))} if asked else recommended(inspection)
        tables = () if asked else sensitivities(inspection, small_changes(job))
        contents = {} if out is None else _pictures(inspection, [c for c, _ in found.values()])
        if out is not None and contents:
            files.write_all(out, contents)
        with reader_may_leave():
            for name, (_, forecast) in found.items():
                if name:
                    typer.echo(f"as recommended for the {printable(name)} camera:\n")
                if isinstance(forecast, NoFit):
                    typer.echo(f"not judged: {printable(forecast.text)}")
                else:
                    _show(forecast)
                    _say(forecast, list(change.turns_rad) if asked else [name])
            if not asked:
                _show_sensitivities(tables)
            for file in contents:
                typer.echo(f"picture: {printable(str((out or Path()) / file))}")
        raise typer.Exit(NOT_JUDGED if inspection.adjustment is None else KEEP)


def _pictures(inspection: Inspection, changes: list[Change]) -> dict[str, bytes]:
    """The picture of each turned camera, by its file's name."""
    from vision.whatif import as_jpeg, turned_picture

    contents: dict[str, bytes] = {}
    for change in changes:
        for index, each in enumerate(inspection.cameras):
            name = each.camera.name
            if name in change.turns_rad and each.adjusted is not None:
                plain_name = "".join(c if c.isalnum() or c in "-_" else "_" for c in name)
                # Two names may become one file's: the number keeps them apart.
                drawn = turned_picture(
                    each.picture, each.adjusted, change.pose(name, each.adjusted.pose)
                )
                contents[f"{index + 1}-{plain_name}-turned.jpg"] = as_jpeg(drawn)
    return contents


def _say(forecast: Forecast, names: list[str]) -> None:
    from vision.whatif import outcome

    lines = [f"{name}: {outcome(forecast, name)}" for name in names if outcome(forecast, name)]
    typer.echo("".join(printable(line) + "\n" for line in lines))


def _show(forecast: Forecast) -> None:
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


def _show_sensitivities(rows: tuple[Sensitivity, ...]) -> None:
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

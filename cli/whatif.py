"""`seamtrue whatif`: what a turn, a load or a knock would do, before anybody climbs a ladder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug, Fraction, JobFile
from cli.printing import reader_may_leave, say
from cli.trouble import KEEP, NOT_JUDGED, reported
from cli.whatif_table import say_outcome, show_forecast, show_sensitivities


def whatif(
    job_file: JobFile,
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
    fraction: Fraction = 16,
    debug: Debug = False,
) -> None:
    """Predict what a turn of a camera, or a vehicle that stands differently, would do.

    Without one: what each recommended turn would do, and how the seams follow small changes. Exit
    code: 0, 4 where the pictures give nothing to go by, 5 bad input.
    """
    with reported(debug):
        from vision.camera.solver import NoFit
        from vision.documents.check_words.words import say_check
        from vision.documents.turned_picture import turned_pictures
        from vision.files import disk
        from vision.inspection.inspect import inspect
        from vision.inspection.whatif.asked import asked_change
        from vision.inspection.whatif.forecast import predict

        job, _ = disk.read_job(job_file)
        change = asked_change(job, turn or (), lower, lean, nose_down)
        job, pictures = disk.read_inspection_input(job_file)
        job = job.to_fraction(fraction)
        inspection = inspect(job, pictures)
        asked = bool(change.turns_rad) or change.moves_vehicle
        found = {"": (change, predict(inspection, change))} if asked else inspection.what_if.turns
        changes = [each for each, _ in found.values()]
        contents = {} if out is None else turned_pictures(inspection, changes)
        if out is not None and contents:
            disk.write_all(out, contents)
        with reader_may_leave():
            for name, (_, forecast) in found.items():
                if name:
                    say(f"as recommended for the {name} camera:", "")
                if isinstance(forecast, NoFit):
                    say(f"not judged: {say_check(job.lengths)(forecast.reason)}")
                else:
                    show_forecast(forecast, job.lengths)
                    names = list(change.turns_rad) if asked else [name]
                    say_outcome(forecast, names, job.lengths)
            if not asked:
                show_sensitivities(inspection.what_if.moves, job.lengths)
            say(*(f"picture: {(out or Path()) / file}" for file in contents))
        raise typer.Exit(NOT_JUDGED if inspection.adjustment is None else KEEP)

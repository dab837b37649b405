"""`seamtrue walk`: where to stand cones after the pictures, and which room no camera sees."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.options import Debug, Fraction, JobFile, ReportFolder
from cli.trouble import printable, reader_may_leave, reported

WALK_FOLDER = "seamtrue-report"


def walk(
    job_file: JobFile,
    out: ReportFolder = None,
    planned: Annotated[
        bool, typer.Option("--planned", help="Take the cameras as intended; needs no picture.")
    ] = False,
    fraction: Fraction = 16,
    debug: Debug = False,
) -> None:
    """Print a list of cones to stand at the seams, and write walk-round.html with what is unseen.

    Compares with zones of published rules; says nothing of compliance. Exit code: 0, 5 bad input.
    """
    with reported(debug):
        # Imported here, since they bring OpenCV and SciPy and --help needs neither.
        from vision.documents.walk_page import walk_page
        from vision.files import disk
        from vision.inspection.inspect import inspect
        from vision.inspection.walk_round import REACH_M, ROUGH, cone_words, walk_round

        if planned:
            job, _ = disk.read_job(job_file)
            job = job.to_fraction(fraction)
            found = walk_round(job)
        else:
            job, pictures = disk.read_inspection_input(job_file)
            job = job.to_fraction(fraction)
            found = walk_round(job, inspect(job, pictures))
        folder = out if out is not None else job_file.parent / WALK_FOLDER
        disk.write_all(folder, {"walk-round.html": walk_page(job, found).encode("utf-8")})
        write = job.lengths.roughly
        with reader_may_leave():
            for number, cone in enumerate(found.cones, 1):
                typer.echo(f"{number}. {printable(cone_words(job.vehicle, cone, job.lengths))}")
            for unseen in found.unseen:
                up, reach = write.m(unseen.height_m, spec=".1f"), write.m(REACH_M, spec=".0f")
                area = write.area(unseen.area_m2)
                typer.echo(f"unseen {up} up: {area} within {reach} of the body")
            if found.planned:
                typer.echo(
                    f"note: as intended, not as found: {printable(', '.join(found.planned))}"
                )
            rounding = job.lengths.note(ROUGH)
            if rounding:
                typer.echo(f"note: {rounding}")
            typer.echo(f"page: {printable(str(folder / 'walk-round.html'))}")

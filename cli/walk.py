"""`seamtrue walk`: where to stand cones after the pictures, and which room no camera sees."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.options import REPORT_FOLDER, Debug, Fraction, JobFile, ReportFolder
from cli.printing import reader_may_leave, say
from cli.progress import shown_progress
from cli.trouble import reported


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
        from vision.documents.walk_words import walk_words
        from vision.files import disk
        from vision.inspection.inspect import inspect
        from vision.inspection.walk_round import walk_round

        if planned:
            job, _ = disk.read_job(job_file)
            job = job.to_fraction(fraction)
            found = walk_round(job)
        else:
            with shown_progress() as progress:
                progress("reading the job and its pictures")
                job, pictures = disk.read_inspection_input(job_file)
                job = job.to_fraction(fraction)
                inspection = inspect(job, pictures, progress)
                progress("looking what no camera sees")
                found = walk_round(job, inspection)
        folder = out or job_file.parent / REPORT_FOLDER
        disk.write_all(folder, {"walk-round.html": walk_page(job, found)})
        with reader_may_leave():
            say(*walk_words(job, found), f"page: {folder / 'walk-round.html'}")

"""`seamtrue measure`: judge what was laid by the tape readings alone, before the cameras."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.options import Debug, Fraction, JobFile
from cli.printing import reader_may_leave, say
from cli.trouble import reported


def measure(
    job_file: JobFile,
    fraction: Fraction = 16,
    wanted: Annotated[
        bool,
        typer.Option(
            "--wanted", help="Only print which lengths to tape yet, to paste and fill in."
        ),
    ] = False,
    whole: Annotated[
        bool,
        typer.Option("--all", help="Show every reading, and what may still be off unseen."),
    ] = False,
    debug: Debug = False,
) -> None:
    """Say by the tape readings alone which strip is out, what to move, and which reading is wrong.

    Needs no picture; `check` takes the same readings in later. Exit code: 0 keep, 3 something to
    re-measure, 4 not judged, 5 bad input.
    """
    with reported(debug):
        # Imported here, since they bring SciPy and --help needs none of it.
        from cli.tape_table import show_tape_check
        from vision.documents.tape_words import wanted_text
        from vision.files import disk
        from vision.planning.readings_wanted import wanted as readings_wanted
        from vision.planning.tape_check import check_tape

        job, _ = disk.read_job(job_file)
        job = job.to_fraction(fraction)
        if wanted:
            with reader_may_leave():
                say(wanted_text(readings_wanted(job), job.lengths))
            return
        check = check_tape(job)
        with reader_may_leave():
            show_tape_check(check, job.lengths, whole=whole)
        raise typer.Exit(check.exit_code)

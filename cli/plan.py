"""`seamtrue plan`: assess a layout before any tape is laid, or have one proposed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug, Fraction, picture_size
from cli.printing import reader_may_leave, say
from cli.progress import shown_progress
from cli.trouble import FAIL, KEEP, NOT_JUDGED, reported

EXIT_CODES = {"decides": KEEP, "beyond": FAIL, "cannot-decide": NOT_JUDGED}
PLAN_FOLDER, PRINT_FOLDER = "seamtrue-plan", "seamtrue-print"
PRINTED = "sheet", "marks"
"""Commands that print what a proposed layout is laid by."""


def plan(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE.toml",
            help="A job file, pictures not needed; with --propose the vehicle and its cameras.",
            show_default=False,
        ),
    ],
    proposed: Annotated[
        Path | None,
        typer.Option(
            "--propose",
            metavar="JOB.toml",
            help="Propose a layout and write the whole job to this new file.",
            show_default=False,
        ),
    ] = None,
    mark: Annotated[
        str | None,
        typer.Option(
            help="Marks of the proposed layout: cross, quadrant or board; cross if not said.",
            show_default=False,
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(help="Folder for plan.json and plan.txt; seamtrue-plan beside the job."),
    ] = None,
    size: Annotated[str, typer.Option(help="Picture size where no lens is fitted.")] = "1280x720",
    fraction: Fraction = 16,
    debug: Debug = False,
) -> None:
    """Say what a layout can decide before any tape is laid, and what would make it better.

    Exit code: 0 decides every verdict, 3 fails a tolerance as aimed, 4 cannot decide one, 5 bad
    input.
    """
    from cli.plan_input import mark_kind, must_be_laid, propose_to

    size_px = picture_size(size, "--size", "1280x720")
    kind = mark_kind(mark, proposing=proposed is not None)
    with reported(debug):
        from vision.documents.plan_data import plan_of
        from vision.documents.plan_text import marks_table, summary
        from vision.files import disk
        from vision.planning.assess import assess
        from vision.planning.prediction import predict
        from vision.units.plain import json_text

        job, _ = disk.read_job(file, planning=True)
        job = job.to_fraction(fraction)
        said = ""
        with shown_progress() as progress:
            if proposed is None:
                must_be_laid(job, file)
                progress("predicting what the layout decides")
                prediction = predict(job, size_px=size_px)
            else:
                said, prediction = propose_to(file, job, proposed, size_px, kind, progress)
            assessment = assess(prediction, progress)
        text = said + summary(assessment)
        folder = out or (proposed or file).parent / PLAN_FOLDER
        everything = f"{text}\n{marks_table(prediction)}"
        contents = {"plan.json": json_text(plan_of(assessment)), "plan.txt": everything}
        disk.write_all(folder, contents)
        with reader_may_leave():
            say(text, *([] if proposed is None else [f"job: {proposed}"]))
            say(f"plan: {folder / 'plan.txt'}")
            if proposed is not None:
                to_print = proposed.parent / PRINT_FOLDER
                say(*(f"next: seamtrue {each} {proposed} --out {to_print}" for each in PRINTED))
        raise typer.Exit(EXIT_CODES[prediction.word])

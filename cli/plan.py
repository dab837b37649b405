"""`seamtrue plan`: assess a layout before any tape is laid, or have one proposed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug, Fraction
from cli.trouble import FAIL, KEEP, NOT_JUDGED, printable, reader_may_leave, reported

EXIT_CODES = {"decides": KEEP, "beyond": FAIL, "cannot-decide": NOT_JUDGED}
PLAN_FOLDER = "seamtrue-plan"


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
    from cli.plan_input import mark_kind, must_be_laid, picture_size, propose_to

    size_px = picture_size(size)
    kind = mark_kind(mark, proposing=proposed is not None)
    with reported(debug):
        from vision.documents.plan_data import plan_of
        from vision.documents.plan_text import marks_table, summary
        from vision.files import disk
        from vision.planning.assess import assess
        from vision.planning.prediction import predict

        job, _ = disk.read_job(file, planning=True)
        job = job.to_fraction(fraction)
        said = ""
        if proposed is None:
            must_be_laid(job, file)
            prediction = predict(job, size_px=size_px)
        else:
            said, prediction = propose_to(file, job, proposed, size_px, kind)
        assessment = assess(prediction)
        text = said + summary(assessment)
        data = json.dumps(plan_of(assessment), indent=1, ensure_ascii=False, allow_nan=False)
        folder = out if out is not None else (proposed or file).parent / PLAN_FOLDER
        everything = f"{text}\n{marks_table(prediction)}"
        contents = {"plan.json": f"{data}\n".encode(), "plan.txt": everything.encode()}
        disk.write_all(folder, contents)
        with reader_may_leave():
            typer.echo(printable(text))
            if proposed is not None:
                typer.echo(f"job: {printable(str(proposed))}")
            typer.echo(f"plan: {printable(str(folder / 'plan.txt'))}")
        raise typer.Exit(EXIT_CODES[prediction.word])

"""`seamtrue plan`: assess a layout before any tape is laid, or have one proposed."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.trouble import FAIL, KEEP, NOT_JUDGED, printable, reader_may_leave, reported

if TYPE_CHECKING:
    from vision.job import Job
    from vision.planning import Prediction

EXIT_CODES = {"decides": KEEP, "beyond": FAIL, "cannot-decide": NOT_JUDGED}
PLAN_FOLDER = "seamtrue-plan"
SMALLEST_SIDE_PX = 64


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
    out: Annotated[
        Path | None,
        typer.Option(help="Folder for plan.json and plan.txt; seamtrue-plan beside the job."),
    ] = None,
    size: Annotated[str, typer.Option(help="Picture size where no lens is fitted.")] = "1280x720",
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of a bug.")] = False,
) -> None:
    """Say what a layout can decide before any tape is laid, and what would make it better.

    Exit code: 0 decides every verdict, 3 fails a tolerance as aimed, 4 cannot decide one, 5 bad
    input.
    """
    width, height = _size(size)
    with reported(debug):
        from vision import files
        from vision.planning import assess, predict
        from vision.planning.plain import plan_of
        from vision.planning.wording import marks_table, summary

        job, _ = files.read_job(file, planning=True)
        said = ""
        if proposed is None:
            _laid(job, file)
            prediction = predict(job, size_px=(width, height))
        else:
            said, prediction = _proposed(file, job, proposed, (width, height))
        assessment = assess(prediction)
        text = said + summary(assessment)
        data = json.dumps(plan_of(assessment), indent=1, ensure_ascii=False, allow_nan=False)
        folder = out if out is not None else (proposed or file).parent / PLAN_FOLDER
        everything = f"{text}\n{marks_table(prediction)}"
        contents = {"plan.json": f"{data}\n".encode(), "plan.txt": everything.encode()}
        files.write_all(folder, contents)
        with reader_may_leave():
            typer.echo(printable(text))
            if proposed is not None:
                typer.echo(f"job: {printable(str(proposed))}")
            typer.echo(f"plan: {printable(str(folder / 'plan.txt'))}")
        raise typer.Exit(EXIT_CODES[prediction.word])


def _size(text: str) -> tuple[int, int]:
    found = re.fullmatch(r"([0-9]{2,4})x([0-9]{2,4})", text.strip())
    if found is None or min(int(found[1]), int(found[2])) < SMALLEST_SIDE_PX:
        raise typer.BadParameter(f"{text!r} is no size such as 1280x720", param_hint="--size")
    return int(found[1]), int(found[2])


def _laid(job: Job, file: Path) -> None:
    """Refuse a file that lays nothing: BadInputError."""
    from vision.errors import BadInputError, Fault

    if not job.strips and not job.marks:
        step = "add what is to be laid, or have it proposed with --propose JOB.toml"
        fault = Fault(
            file=file.name,
            key="strip",
            found="no strip and no mark",
            expected="at least one table [strip.NAME] or [mark.NAME]",
            next_step=step,
        )
        raise BadInputError([fault])


def _proposed(
    file: Path, job: Job, target: Path, size_px: tuple[int, int]
) -> tuple[str, Prediction]:
    """Propose a layout and write the job; what to say of it, and the prediction of what it says."""
    from vision import files
    from vision.errors import BadInputError, Fault
    from vision.planning import NoProposal, predict, propose
    from vision.planning.job_text import job_text, wants_inches
    from vision.planning.wording import proposal_words

    text = files.read_bytes(file, "a vehicle's file", "name that file")
    faults = []
    if job.strips or job.marks or job.readings:
        faults.append(
            Fault(
                file=file.name,
                key="strip",
                found="strips, marks or readings",
                expected="the vehicle and its cameras alone",
                next_step="remove them, or leave --propose out",
            )
        )
    if target.exists():
        faults.append(
            Fault(
                file=str(target),
                key="--propose",
                found="a file that is there",
                expected="a new file",
                next_step="choose a new name, or move the old file away",
            )
        )
    if faults:
        raise BadInputError(faults)
    found = propose(job, size_px=size_px, inches=wants_inches(text))
    if isinstance(found, NoProposal):
        for reason in found.reasons:
            typer.echo(printable(f"no layout: {reason}"), err=True)
        raise typer.Exit(NOT_JUDGED)
    files.write_all(target.parent, {target.name: job_text(text, found).encode()})
    # What is assessed is what was written: the figures as rounded in the file.
    written, _ = files.read_job(target)
    flat = predict(replace(written, marks=()), size_px=size_px) if written.marks else None
    return proposal_words(found, flat) + "\n", predict(written, size_px=size_px)

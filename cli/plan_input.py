"""What `seamtrue plan` takes: a layout or none, and where to propose one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from cli.printing import say
from cli.trouble import NOT_JUDGED

if TYPE_CHECKING:
    from vision.job.job import Job
    from vision.planning.assessment import Prediction
    from vision.planning.sizes import MarkKind
    from vision.units.progress import Progress


def mark_kind(text: str | None, *, proposing: bool) -> MarkKind:
    """The kind of marks to propose; a usage error for what is none, or without a proposal."""
    from vision.planning.sizes import KINDS

    if text is not None and not proposing:
        raise typer.BadParameter("is for --propose alone", param_hint="--mark")
    for kind in KINDS:
        if kind == (text or KINDS[0]):
            return kind
    wanted = ", ".join(KINDS)
    raise typer.BadParameter(f"{text!r} is not one of {wanted}", param_hint="--mark")


def must_be_laid(job: Job, file: Path) -> None:
    """Refuse a file that lays nothing: BadInputError."""
    from vision.units.errors import bad_input

    if not job.strips and not job.marks:
        expected = "at least one table [strip.NAME] or [mark.NAME]"
        step = "add what is to be laid, or have it proposed with --propose JOB.toml"
        raise bad_input(
            "nothing-laid", file.name, "no strip and no mark", expected, step, key="strip"
        )


def propose_to(
    file: Path,
    job: Job,
    target: Path,
    size_px: tuple[int, int],
    mark: MarkKind,
    progress: Progress,
) -> tuple[str, Prediction]:
    """Propose a layout and write the job; what to say of it, and the prediction of what it says."""
    from vision.documents.job_text import job_text
    from vision.documents.plan_text import proposal_words
    from vision.documents.plan_words import say_plan
    from vision.documents.sheets.paper import A4, LETTER
    from vision.files import disk
    from vision.planning.prediction import predict
    from vision.planning.proposal import NoProposal, propose

    typed = disk.read_bytes(file, "a vehicle's file", "name that file")
    _refuse(file, job, target, typed)
    found = propose(job, size_px=size_px, mark=mark, progress=progress)
    if isinstance(found, NoProposal):
        said = (say_plan(job.lengths)(reason) for reason in found.reasons)
        say(*(f"no layout: {text}" for text in said), err=True)
        if mark != "cross":
            say("crosses take less room for their reach: try --mark cross", err=True)
        raise typer.Exit(NOT_JUDGED)
    disk.write_all(target.parent, {target.name: job_text(typed, found)})
    # What is assessed is what was written: the figures as rounded in the file.
    written, _ = disk.read_job(target)
    written = written.to_fraction(job.lengths.fraction)
    flat = predict(replace(written, marks=()), size_px=size_px) if written.marks else None
    paper = LETTER if job.lengths.imperial else A4
    return proposal_words(found, flat, paper) + "\n", predict(written, size_px=size_px)


def _refuse(file: Path, job: Job, target: Path, text: bytes) -> None:
    """Every reason not to propose a layout into `target`; BadInputError."""
    from vision.job.job_file import named_files
    from vision.units.errors import BadInputError, fault_of

    faults = []

    if job.strips or job.marks or job.readings:
        expected, step = "the vehicle and its cameras alone", "remove them, or leave --propose out"
        faults.append(
            fault_of(
                "nothing-to-propose",
                file.name,
                "strips, marks or readings",
                expected,
                step,
                key="strip",
            )
        )
    if target.exists():
        step = "choose a new name, or move the old file away"
        faults.append(
            fault_of(
                "file-exists",
                str(target),
                "a file that is there",
                "a new file",
                step,
                key="--propose",
            )
        )
    if named_files(text).texts and target.resolve().parent != file.resolve().parent:
        found = "another folder than that of the lens files"
        expected = f"a file beside {file.name}, which names lens files"
        faults.append(
            fault_of(
                "other-folder", str(target), found, expected, "write the job there", key="--propose"
            )
        )
    if faults:
        raise BadInputError(faults)

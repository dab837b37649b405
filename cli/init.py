"""`seamtrue init`: ask what somebody measured at the vehicle, and write the job."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import Debug
from cli.printing import reader_may_leave, say
from cli.progress import shown_progress
from cli.trouble import INTERRUPTED, NOT_JUDGED, reported
from vision.units.errors import BadInputError

if TYPE_CHECKING:
    from vision.documents.setup.answers import Answers
    from vision.documents.setup.setup import Setup
    from vision.job.job import Job
    from vision.marks.sources.found import FoundPicture
    from vision.planning.proposal import Proposal

JOB_FILE, MARKS_FILE, SHEET_FILE = "job.toml", "marks.pdf", "sheet.pdf"
ANSWERS_FILE = "seamtrue-answers.toml"
REMADE = "tape_width"
"""The answer that is asked for again where no layout will do."""


def init(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="The job's folder.", show_default=False)
    ] = Path("."),
    answers: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help=f"Take the answers from FILE, as {ANSWERS_FILE} holds them, and ask nothing.",
            show_default=False,
        ),
    ] = None,
    debug: Debug = False,
) -> None:
    """Ask for what you measured at the vehicle; write the job, a layout, sheets and marks.

    Pictures that lie in the folder are looked at. Exit code: 0 written, 4 no layout will do,
    5 bad input, 130 stopped: what was answered is kept, and asked for no more.
    """
    with reported(debug):
        from vision.files import disk
        from vision.files.found_pictures import found_pictures

        disk.folder_ready(folder)
        _nothing_there(folder)
        found = found_pictures(folder)
        names = [each.file for each in found if each.fault is None]
        settled = _from_file(answers, found, names) if answers else None
        while settled is None:
            settled = _from_dialogue(folder, found, names)
        _written(folder, *settled, names)


def _from_file(
    file: Path, found: Sequence[FoundPicture], names: Sequence[str]
) -> tuple[Setup, Proposal]:
    """What a file's answers come to; BadInputError with their lines, or the end of the command."""
    from vision.files import disk
    from vision.units.toml_places import placed

    try:
        setup, job = _understood(_read(file), names, file.name)
    except BadInputError as error:
        text = disk.read_bytes(file, "a file of answers", "name that file")
        raise BadInputError(placed(error.faults, {file.name: text})) from None
    proposal = _proposed(setup, job, found)
    if proposal is None:
        raise typer.Exit(NOT_JUDGED)
    return setup, proposal


def _from_dialogue(
    folder: Path, found: Sequence[FoundPicture], names: Sequence[str]
) -> tuple[Setup, Proposal] | None:
    """What somebody answers comes to; None where something has to be asked again."""
    from vision.documents.setup.setup import answers_behind
    from vision.documents.setup.words import trouble_text

    given = _asked(folder, found, names)
    try:
        setup, job = _understood(given, names, ANSWERS_FILE)
    except BadInputError as error:
        say("", *map(trouble_text, error.faults), "so these are asked again:")
        for key in answers_behind(error.faults, given):
            say(f"  {key}: {given.get(key)}")
            given = given.without(key)
        _keep(folder, given)
        return None
    proposal = _proposed(setup, job, found)
    if proposal is None:
        say("", "Change the tape, or go back to change more.")
        _keep(folder, given.without(REMADE))
        return None
    return setup, proposal


def _nothing_there(folder: Path) -> None:
    """Refuse to write over a job that is there; BadInputError."""
    from vision.documents.setup.setup_text import LAYOUT_FILE
    from vision.units.errors import fault_of

    step = "move it away, or name another folder"
    there = [
        fault_of("file-exists", str(folder / name), "a file", "nothing", step)
        for name in (JOB_FILE, LAYOUT_FILE, MARKS_FILE, SHEET_FILE)
        if (folder / name).exists()
    ]
    if there:
        raise BadInputError(there)


def _read(file: Path) -> Answers:
    from vision.documents.setup.answers import answers_from_text
    from vision.files import disk

    text = disk.read_bytes(file, "a file of answers", "name that file")
    return answers_from_text(text, file.name)


def _asked(folder: Path, found: Sequence[FoundPicture], names: Sequence[str]) -> Answers:
    """Ask, going on with what is kept; every answer is kept as soon as it is given."""
    from cli.init_dialogue import asked
    from vision.documents.setup.answers import Answers

    kept = folder / ANSWERS_FILE
    given = _read(kept) if kept.exists() else Answers()
    if given:
        say(f"going on with the {len(given)} answers in {kept}")
    answered = len(given)

    def keep(answers: Answers) -> None:
        nonlocal answered
        answered = len(answers)
        _keep(folder, answers)

    try:
        return asked(given, found, names, keep)
    except (KeyboardInterrupt, EOFError):
        told = f"kept {answered} answers in {kept}; start again to go on" if answered else "stopped"
        say("", told, err=True)
        raise typer.Exit(INTERRUPTED) from None


def _keep(folder: Path, answers: Answers) -> None:
    from vision.documents.setup.answers import answers_text
    from vision.files import disk

    disk.write_all(folder, {ANSWERS_FILE: answers_text(answers)})


def _understood(given: Answers, names: Sequence[str], file: str) -> tuple[Setup, Job]:
    """What the answers mean, as a job without a layout; BadInputError where they cannot be."""
    from vision.documents.setup.setup import setup_from_answers
    from vision.documents.setup.setup_text import setup_text
    from vision.job.job_file import job_from_text

    setup = setup_from_answers(given, names, file)
    return setup, job_from_text(setup_text(setup), file, planning=True)


def _proposed(setup: Setup, job: Job, found: Sequence[FoundPicture]) -> Proposal | None:
    """A layout for the tape and the paper; None after saying why not, and what would do."""
    from vision.documents.plan_words import say_plan
    from vision.documents.setup.words import size_of
    from vision.documents.sheets.mark_pages import room_mm
    from vision.documents.sheets.paper import paper_of
    from vision.planning.proposal import Proposal, propose
    from vision.planning.remedies import what_would_do

    width_mm, height_mm = room_mm(paper_of(setup.paper))
    page_m, size_px, sentence = (
        (width_mm / 1e3, height_mm / 1e3),
        size_of(found),
        say_plan(job.lengths),
    )
    say("", "looking for a layout; this may take a minute")
    with shown_progress() as progress:
        proposal = propose(job, size_px=size_px, page_m=page_m, progress=progress)
    if isinstance(proposal, Proposal):
        return proposal
    say(*(f"no layout: {sentence(reason)}" for reason in proposal.reasons), err=True)
    say("looking for what would do; that takes some minutes", err=True)
    with shown_progress() as progress:
        remedies = what_would_do(
            job,
            size_px,
            page_m=page_m,
            trying=lambda trial: say(f"  {sentence(trial)} ?", err=True),
            progress=progress,
        )
    found_none = ["nothing that was tried would do: higher cameras, or wider tape, see more"]
    say(*([f"{sentence(each)}" for each in remedies] or found_none), err=True)
    return None


def _written(folder: Path, setup: Setup, proposal: Proposal, names: Sequence[str]) -> None:
    """Write the job with its layout, sheets and marks, and say what comes next."""
    from vision.documents.job_text import layout_text
    from vision.documents.setup.setup_text import LAYOUT_FILE, setup_text
    from vision.documents.setup.words import done_text
    from vision.documents.sheets.mark_sheets import mark_sheets
    from vision.documents.sheets.paper import paper_of
    from vision.documents.sheets.printed import job_code, pdf_bytes
    from vision.documents.sheets.setting_sheets import setting_sheets
    from vision.files import disk
    from vision.job.job_file import job_from_text
    from vision.job.picture_names import camera_of_file
    from vision.planning.setting_out.set_out import set_out

    text = setup_text(setup, LAYOUT_FILE)
    layout = {LAYOUT_FILE: layout_text(proposal, setup.unit).encode()}
    # What is printed is what was written: the figures as rounded in the files.
    job = job_from_text(text, JOB_FILE, layout)
    paper, code = paper_of(setup.paper), job_code(text.encode(), layout)
    marks = mark_sheets(job, paper, code, JOB_FILE)
    sheets = setting_sheets(set_out(job), paper, code, job.lengths.fraction)
    contents: dict[str, bytes | str] = {
        JOB_FILE: text,
        **layout,
        MARKS_FILE: pdf_bytes(marks, f"{job.name}: marks"),
        SHEET_FILE: pdf_bytes(sheets, f"{job.name}: setting out"),
    }
    disk.write_all(folder, contents)
    cameras = [camera.name for camera in job.cameras]
    shown = {camera_of_file(name, cameras) for name in names}
    shown |= {camera.name for camera in setup.cameras if camera.picture}
    missing = [name for name in cameras if name not in shown]
    with reader_may_leave():
        say(done_text(setup, proposal, folder, (len(marks), len(sheets)), missing))

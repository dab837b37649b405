"""Many jobs in one command: each checked in a process of its own, one bar, one summary."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import typer

from cli.keeping import as_kept
from cli.options import REPORT_FOLDER
from cli.printing import Lines, printable, reader_may_leave, say, show_table
from cli.report_files import Wanted, exit_code, report_files
from cli.trouble import BAD_INPUT, CRASH, FAIL, INTERRUPTED, KEEP, NOT_JUDGED
from cli.workers import each_done
from vision import __version__
from vision.documents.summary import (
    CheckedJob,
    checked_job,
    summary_csv,
    summary_json_lines,
    summary_line,
    summary_rows,
)
from vision.units.errors import BadInputError, bad_input

WORST_FIRST = BAD_INPUT, CRASH, FAIL, NOT_JUDGED
SUMMARIES = {".csv": summary_csv, ".jsonl": summary_json_lines}


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One job to check: its file, the folder of its report, the record to keep it in."""

    job: Path
    folder: Path
    wanted: Wanted
    record: Path | None = None


def check_many(
    named: Sequence[Path],
    out: Path | None,
    wanted: Wanted,
    *,
    record_of: Callable[[Path], Path | None],
    summaries: Sequence[Path],
    workers: int,
) -> int:
    """Check every job that is named, print the summary, and return the exit code of all."""
    from vision.files import disk
    from vision.files.found_jobs import folders_for, found_jobs

    _asked(summaries)
    jobs = found_jobs(named)
    folders = folders_for(jobs, out, REPORT_FOLDER)
    for path in (*({out} if out else ()), *(each.parent for each in summaries)):
        disk.folder_ready(path)
    tasks = [
        Task(job=job, folder=folder, wanted=wanted, record=record_of(job))
        for job, folder in zip(jobs, folders, strict=True)
    ]
    found: dict[int, CheckedJob] = {}
    interrupted = False
    try:
        with _bar(len(tasks)) as advance:
            for index, answer in each_done(checked, tasks, workers):
                found[index] = answer or _died(tasks[index])
                advance(tasks[index].job)
    except KeyboardInterrupt:
        interrupted = True
    rows = [found[index] for index in sorted(found)]
    with reader_may_leave():
        _show(rows)
    for path in summaries:
        disk.write_all(path.parent, {path.name: SUMMARIES[path.suffix](rows)})
    if interrupted:
        say(f"interrupted: {len(rows)} of {len(tasks)} jobs done", err=True)
        return INTERRUPTED
    return next((code for code in WORST_FIRST if any(r.exit_code == code for r in rows)), KEEP)


def checked(task: Task) -> CheckedJob:
    """Check one job and write its report, unless it is there; never raises."""
    job, report = str(task.job), str(task.folder / "report.html")
    try:
        result, as_before = _result(task)
    except BadInputError as error:
        return CheckedJob(job=job, exit_code=BAD_INPUT, faults=tuple(map(str, error.faults)))
    except Exception as error:
        what = f"a bug in seamtrue ({type(error).__name__}: {error})".split("\n", 1)[0]
        step = f"please report it with what `seamtrue check {job} --debug` prints"
        return CheckedJob(job=job, exit_code=CRASH, faults=(f"{what}; {step}",))
    code = exit_code(str(result["verdict"]))
    return checked_job(job, report, result, code, as_before=as_before)


def _result(task: Task) -> tuple[dict[str, object], bool]:
    """The result of a task, and whether it was there before."""
    from vision.files.done import result_as_before
    from vision.files.parcel import packed

    made_of: dict[str, object] = {"program": __version__, "options": task.wanted.as_data()}
    made_of["record"] = None if task.record is None else str(task.record)
    try:
        made_of["content"] = packed(task.job).digest
    except BadInputError:
        # The check itself says what is missing, together with all else that is wrong.
        made_of["content"] = None
    before = result_as_before(task.folder, made_of) if made_of["content"] else None
    return (before, True) if before is not None else (_checked_anew(task, made_of), False)


def _checked_anew(task: Task, made_of: dict[str, object]) -> dict[str, object]:
    from vision.documents.result import result_of
    from vision.files import disk, record_file
    from vision.files.done import DONE_NAME, done_text
    from vision.inspection.inspect import inspect

    disk.folder_ready(task.folder)
    if task.record is not None:
        record_file.record_ready(task.record)
    texts = disk.read_job_texts(task.job)
    job, pictures = disk.read_inspection_input(task.job)
    inspection = inspect(job.to_fraction(task.wanted.fraction), pictures)
    result = result_of(inspection)
    files = report_files(inspection, result, task.wanted)
    disk.write_all(task.folder, files)
    if task.record is not None:
        kept, page = as_kept(task.job, texts, inspection, result, task.wanted.shown)
        record_file.add_to_record(task.record, kept)
        files |= page
        disk.write_all(task.folder, page)
    # Last: what is done is done as a whole.
    disk.write_all(task.folder, {DONE_NAME: done_text(made_of, files)})
    return result


def _died(task: Task) -> CheckedJob:
    fault = "its process died twice: too little memory, or a bug in seamtrue; try this job alone"
    return CheckedJob(job=str(task.job), exit_code=CRASH, faults=(fault,))


def _asked(summaries: Sequence[Path]) -> None:
    for path in summaries:
        if path.suffix not in SUMMARIES:
            wanted = " or ".join(SUMMARIES)
            raise typer.BadParameter(f"{path} does not end in {wanted}", param_hint="--summary")
        if path.is_dir():
            raise bad_input("folder", str(path), "a folder", "a file or nothing", "move it away")


def _show(rows: Sequence[CheckedJob]) -> None:
    table = Lines(heads=("job", "verdict", "first to do"), rows=summary_rows(rows), words=3)
    show_table(table)
    for each in rows:
        # The first is in the table.
        say(*(f"{each.job}: {fault}" for fault in each.faults[1:]), err=True)
    say(summary_line(rows))


@contextmanager
def _bar(count: int) -> Iterator[Callable[[Path], None]]:
    """What is told each job that is done; nothing is drawn where nobody looks."""
    if not sys.stderr.isatty():
        yield lambda job: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    # markup=False: a name may hold square brackets.
    columns = (
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        TextColumn("{task.description}", markup=False),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("", total=count)
        yield lambda job: shown.update(task, advance=1, description=printable(str(job)))

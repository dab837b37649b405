"""`seamtrue check`: inspect a job, print the tables, write the report; or many jobs at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.keeping import as_kept
from cli.options import REPORT_FOLDER, Debug, Fraction, ReportFolder
from cli.printing import reader_may_leave, say
from cli.progress import shown_progress
from cli.report_files import Wanted, exit_code, report_files
from cli.trouble import reported

if TYPE_CHECKING:
    from vision.documents.report.pictures import Shown


def check(
    jobs: Annotated[
        list[Path],
        typer.Argument(
            metavar="JOB.toml",
            help="The job file; or several, folders of jobs, or patterns.",
            show_default=False,
        ),
    ],
    out: ReportFolder = None,
    no_pictures: Annotated[
        bool, typer.Option("--no-pictures", help="Leave the pictures out of the report.")
    ] = False,
    crop_pictures: Annotated[
        bool,
        typer.Option("--crop-pictures", help="Show only the ground by the layout in the report."),
    ] = False,
    no_blend: Annotated[
        bool,
        typer.Option("--no-blend", help="Cut the top view at the seams, which shows every gap."),
    ] = False,
    record: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Keep this check in the record FILE (SQLite) as well."),
    ] = None,
    keep: Annotated[
        bool, typer.Option("--keep", help="The same, in seamtrue-record.sqlite beside the job.")
    ] = False,
    summary: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Of many jobs: write the summary as .csv or .jsonl."),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(min=1, help="Of many jobs: check so many at once; by default one a core."),
    ] = None,
    fraction: Fraction = 16,
    debug: Debug = False,
) -> None:
    """Say per camera, strip and seam what to keep, re-aim, re-shoot or re-measure.

    Writes report.html, inspection.json and top-view.png. Exit code: 0 keep, 3 something to do,
    4 not judged, 5 bad input, 2 usage, 1 a bug; of many jobs 5 where any was not read, else 1, 3, 4
    where any has it.
    """
    with reported(debug):
        # Imported here: --help needs none of it.
        from vision.files.found_jobs import is_one_job
        from vision.files.record_file import RECORD_NAME

        def record_of(job: Path) -> Path | None:
            return record or (job.parent / RECORD_NAME if keep else None)

        shown: Shown = "none" if no_pictures else "cropped" if crop_pictures else "whole"
        wanted = Wanted(shown=shown, blended=not no_blend, fraction=fraction)
        if len(jobs) == 1 and not summary and is_one_job(jobs[0]):
            code = _check_one(jobs[0], out, wanted, record_of(jobs[0]))
        else:
            from cli.check_many import check_many
            from cli.workers import cores

            code = check_many(
                jobs,
                out,
                wanted,
                record_of=record_of,
                summaries=summary or (),
                workers=workers or cores(),
            )
        raise typer.Exit(code)


def _check_one(job_file: Path, out: Path | None, wanted: Wanted, record: Path | None) -> int:
    """Check one job, print all that is found, then write its report; the exit code."""
    from cli.check_table import show
    from cli.since import last_kept, since_lines
    from vision.documents.result import result_of
    from vision.files import disk, record_file
    from vision.inspection.inspect import inspect

    folder = out or job_file.parent / REPORT_FOLDER
    disk.folder_ready(folder)
    if record is not None:
        # Before anybody waits for an inspection that could then not be kept.
        record_file.record_ready(record)
        texts = disk.read_job_texts(job_file)
    before = last_kept(record or job_file.parent / record_file.RECORD_NAME, job_file.name)
    with shown_progress() as progress:
        progress("reading the job and its pictures")
        job, pictures = disk.read_inspection_input(job_file)
        inspection = inspect(job.to_fraction(wanted.fraction), pictures, progress)
        result = result_of(inspection)
    # Printed first: nobody is to wait for pages to be drawn.
    with reader_may_leave():
        show(inspection, result)
        if before is not None:
            say(*since_lines(before, result))
    with shown_progress() as progress:
        progress("writing the report")
        disk.write_all(folder, report_files(inspection, result, wanted))
    with reader_may_leave():
        say(f"report: {folder / 'report.html'}")
    if record is not None:
        kept, page = as_kept(job_file, texts, inspection, result, wanted.shown)
        number = record_file.add_to_record(record, kept)
        disk.write_all(folder, page)
        with reader_may_leave():
            say(*(f"edges of the body: {folder / name}" for name in page))
            say(f"kept as check {number} in {record}")
    return exit_code(inspection.verdict)

"""`seamtrue check`: inspect a job, write the report, print the table."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.options import REPORT_FOLDER, Debug, Fraction, JobFile, ReportFolder
from cli.printing import reader_may_leave, say
from cli.progress import shown_progress
from cli.trouble import FAIL, KEEP, NOT_JUDGED, reported

if TYPE_CHECKING:
    from vision.documents.report.pictures import Shown
    from vision.inspection.inspected import Inspection

EXIT_CODES = {"keep": KEEP, "not-judged": NOT_JUDGED}


def check(
    job_file: JobFile,
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
    fraction: Fraction = 16,
    debug: Debug = False,
) -> None:
    """Say per camera, strip and seam what to keep, re-aim, re-shoot or re-measure.

    Writes report.html, inspection.json and top-view.png. Exit code: 0 keep, 3 something to do,
    4 not judged, 5 bad input, 2 usage, 1 a bug.
    """
    with reported(debug):
        # Imported here, since they bring OpenCV and SciPy and --help needs neither.
        from cli.check_table import show
        from cli.since import last_kept, since_lines
        from vision.comparison.record import kept_check
        from vision.documents.result import result_of
        from vision.files import disk, record_file
        from vision.inspection.inspect import inspect

        folder = out or job_file.parent / REPORT_FOLDER
        disk.folder_ready(folder)
        if keep and record is None:
            record = job_file.parent / record_file.RECORD_NAME
        if record is not None:
            # Before anybody waits for an inspection that could then not be kept.
            record_file.record_ready(record)
            texts = disk.read_job_texts(job_file)
        before = last_kept(record or job_file.parent / record_file.RECORD_NAME, job_file.name)
        with shown_progress() as progress:
            progress("reading the job and its pictures")
            job, pictures = disk.read_inspection_input(job_file)
            inspection = inspect(job.to_fraction(fraction), pictures, progress)
            progress("writing the report")
            result = result_of(inspection)
            shown: Shown = "none" if no_pictures else "cropped" if crop_pictures else "whole"
            disk.write_all(folder, _contents(inspection, result, shown, blended=not no_blend))
            if record is not None:
                kept = kept_check(job_file.name, texts, pictures, result, taken=now())
                number = record_file.add_to_record(record, kept)
        with reader_may_leave():
            show(inspection, result)
            if before is not None:
                say(*since_lines(before, result))
            say(f"report: {folder / 'report.html'}")
            if record is not None:
                say(f"kept as check {number} in {record}")
        raise typer.Exit(EXIT_CODES.get(inspection.verdict, FAIL))


def _contents(
    inspection: Inspection, result: dict[str, Any], shown: Shown, *, blended: bool
) -> dict[str, bytes | str]:
    """The files of a report by their names."""
    from vision.documents.report.report import report_html
    from vision.documents.top_view import top_view
    from vision.units.plain import json_text

    from_above = top_view(inspection, blended=blended)
    made_on = f"{date.today():%d %B %Y}".lstrip("0")
    page = report_html(
        inspection, result, from_above, shown=shown, blended=blended, made_on=made_on
    )
    return {
        "report.html": page,
        "inspection.json": json_text(result),
        "top-view.png": from_above,
    }


def now() -> str:
    """The time here, with its offset from UTC, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")

"""`seamtrue sheet`: the setting-out plan of a job, to print and take to the lot."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug, JobFile
from cli.trouble import printable, reader_may_leave, reported
from vision.units.lengths import FRACTIONS


def sheet(
    job_file: JobFile,
    out: Annotated[Path, typer.Option(help="Folder to write to.", show_default=False)],
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    fraction: Annotated[
        int, typer.Option(help="Finest fraction of an inch to show: 1, 2, 4, 8, 16, 32 or 64.")
    ] = 16,
    debug: Debug = False,
) -> None:
    """Draw the plan of the lot: datum lines, running distances, checks, cut list, order of work.

    Writes sheet.pdf and, page by page, sheet-1.svg and so on. Needs no pictures. Exit code: 0, 5
    bad input, 2 usage.
    """
    if fraction not in FRACTIONS:
        wanted = ", ".join(str(each) for each in FRACTIONS)
        raise typer.BadParameter(f"{fraction} is not one of {wanted}", param_hint="--fraction")
    with reported(debug):
        from vision.documents.sheets.paper import paper_of
        from vision.documents.sheets.printed import documents, job_code
        from vision.documents.sheets.setting_sheets import setting_sheets
        from vision.files import disk
        from vision.planning.setting_out.set_out import set_out

        try:
            chosen = paper_of(paper)
        except ValueError as error:
            raise typer.BadParameter(str(error), param_hint="--paper") from None
        job, _ = disk.read_job(job_file)
        code = job_code(disk.read_bytes(job_file, "a job file", "name the job file"))
        pages = setting_sheets(set_out(job), chosen, code, fraction)
        disk.write_all(out, documents("sheet", pages, f"{job.name}: setting out"))
        with reader_may_leave():
            typer.echo(f"{len(pages)} sheets: {printable(str(out / 'sheet.pdf'))}")
            typer.echo("print at 100 %, without fitting to the page")

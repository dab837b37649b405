"""`seamtrue marks`: the marks of a job, to print true to size."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug, JobFile
from cli.trouble import printable, reader_may_leave, reported


def marks(
    job_file: JobFile,
    out: Annotated[Path, typer.Option(help="Folder to write to.", show_default=False)],
    paper: Annotated[
        str, typer.Option(help="a4, letter, or a roll's width such as roll:60cm or roll:36in.")
    ] = "a4",
    debug: Debug = False,
) -> None:
    """Print crosses, quadrants and boards true to size, in parts where the paper is too small.

    Writes marks.pdf and, page by page, marks-1.svg and so on. Needs no pictures. Exit code: 0, 5
    bad input, 2 usage.
    """
    with reported(debug):
        from vision.documents.sheets.mark_sheets import mark_sheets
        from vision.documents.sheets.paper import paper_of
        from vision.documents.sheets.printed import documents, job_code
        from vision.files import disk

        try:
            chosen = paper_of(paper, rolls=True)
        except ValueError as error:
            raise typer.BadParameter(str(error), param_hint="--paper") from None
        job, _ = disk.read_job(job_file)
        code = job_code(disk.read_bytes(job_file, "a job file", "name the job file"))
        pages = mark_sheets(job, chosen, code, job_file.name)
        disk.write_all(out, documents("marks", pages, f"{job.name}: marks"))
        with reader_may_leave():
            typer.echo(f"{len(pages)} pages: {printable(str(out / 'marks.pdf'))}")
            typer.echo("print at 100 %, without fitting to the page, and check both rulers")

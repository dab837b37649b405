"""`seamtrue marks`: the marks of a job, to print true to size."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.options import Debug, JobFile, OutFolder, Svg, paper_of_size
from cli.printing import reader_may_leave, say
from cli.trouble import reported


def marks(
    job_file: JobFile,
    out: OutFolder,
    paper: Annotated[
        str, typer.Option(help="a4, letter, or a roll's width such as roll:60cm or roll:36in.")
    ] = "a4",
    svg: Svg = False,
    debug: Debug = False,
) -> None:
    """Print crosses, quadrants and boards true to size, in parts where the paper is too small.

    Writes marks.pdf, with --svg also marks-1.svg and so on. Needs no pictures. Exit code: 0, 5
    bad input, 2 usage.
    """
    chosen = paper_of_size(paper, rolls=True)
    with reported(debug):
        from vision.documents.sheets.mark_sheets import mark_sheets
        from vision.documents.sheets.printed import documents, job_code
        from vision.files import disk

        job, _ = disk.read_job(job_file)
        code = job_code(*disk.read_job_texts(job_file))
        pages = mark_sheets(job, chosen, code, job_file.name)
        disk.write_all(out, documents("marks", pages, f"{job.name}: marks", svg=svg))
        with reader_may_leave():
            say(f"{len(pages)} pages: {out / 'marks.pdf'}")
            say("print at 100 %, without fitting to the page, and check both rulers")

"""`seamtrue sheet`: the setting-out plan of a job, to print and take to the lot."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.options import Debug, Fraction, JobFile, OutFolder, paper_of_size
from cli.printing import reader_may_leave, say
from cli.trouble import reported


def sheet(
    job_file: JobFile,
    out: OutFolder,
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    fraction: Fraction = 16,
    debug: Debug = False,
) -> None:
    """Draw the plan of the lot: datum lines, running distances, checks, cut list, order of work.

    Writes sheet.pdf and, page by page, sheet-1.svg and so on. Needs no pictures. Exit code: 0, 5
    bad input, 2 usage.
    """
    chosen = paper_of_size(paper)
    with reported(debug):
        from vision.documents.sheets.printed import documents, job_code
        from vision.documents.sheets.setting_sheets import setting_sheets
        from vision.files import disk
        from vision.planning.setting_out.set_out import set_out

        job, _ = disk.read_job(job_file)
        code = job_code(*disk.read_job_texts(job_file))
        pages = setting_sheets(set_out(job), chosen, code, fraction)
        disk.write_all(out, documents("sheet", pages, f"{job.name}: setting out"))
        with reader_may_leave():
            say(f"{len(pages)} sheets: {out / 'sheet.pdf'}")
            say("print at 100 %, without fitting to the page")

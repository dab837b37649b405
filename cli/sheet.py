"""`seamtrue sheet`: the setting-out plan of a job, to print and take to the lot."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.options import Debug, Fraction, JobFile, OutFolder, Svg, paper_of_size
from cli.printing import reader_may_leave, say
from cli.trouble import reported


def sheet(
    job_file: JobFile,
    out: OutFolder,
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    units: Annotated[
        str | None,
        typer.Option(help="m, ft or both; as in the job if not said.", show_default=False),
    ] = None,
    fraction: Fraction = 16,
    svg: Svg = False,
    debug: Debug = False,
) -> None:
    """Draw the plan of the lot: datum lines, running distances, checks, cut list, order of work.

    Writes sheet.pdf, with --svg also sheet-1.svg and so on. Needs no pictures. Exit code: 0, 5
    bad input, 2 usage.
    """
    from vision.documents.sheets.figures import SYSTEMS

    chosen = paper_of_size(paper)
    if units is not None and units not in SYSTEMS:
        wanted = ", ".join(SYSTEMS)
        raise typer.BadParameter(f"{units!r} is not one of {wanted}", param_hint="--units")
    with reported(debug):
        from vision.documents.sheets.printed import documents, job_code
        from vision.documents.sheets.setting_sheets import setting_sheets
        from vision.files import disk
        from vision.planning.setting_out.set_out import set_out

        job, _ = disk.read_job(job_file)
        code = job_code(*disk.read_job_texts(job_file))
        system = next((each for each in SYSTEMS if each == units), None)
        pages = setting_sheets(set_out(job), chosen, code, fraction, system)
        disk.write_all(out, documents("sheet", pages, f"{job.name}: setting out", svg=svg))
        with reader_may_leave():
            say(f"{len(pages)} sheets: {out / 'sheet.pdf'}")
            say("print at 100 %, without fitting to the page")

"""`seamtrue picks`: where to pick each mark on a screen, and what was picked instead."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug, JobFile
from cli.trouble import FAIL, NOT_JUDGED, printable, reader_may_leave, reported


def picks(
    job_file: JobFile,
    screen: Annotated[
        str,
        typer.Option(help="Size at which the whole picture is shown; else the picture's own."),
    ] = "",
    out: Annotated[
        Path | None, typer.Option(help="Folder for picks.html and picks.csv.", show_default=False)
    ] = None,
    judge: Annotated[
        Path | None,
        typer.Option(metavar="PICKS.csv", help="Judge these: camera, mark, x, y on the screen."),
    ] = None,
    debug: Debug = False,
) -> None:
    """List the marks to pick on each camera's picture, or judge picks one by one.

    Exit code: 0 done, 3 a pick is off, 4 one cannot be judged, 5 bad input, 2 usage, 1 a bug.
    """
    size = re.fullmatch(r"([1-9]\d{1,4})\s*[x×]\s*([1-9]\d{1,4})", screen)  # noqa: RUF001
    if screen and size is None:
        raise typer.BadParameter(f"{screen!r} is no size such as 1920x1080", param_hint="--screen")
    if (out is None) == (judge is None):
        raise typer.BadParameter("give one of --out and --judge", param_hint="--out")
    with reported(debug):
        # Imported here, since they bring OpenCV and SciPy and --help needs neither.
        from cli.pick_work import judge_file, write_list
        from vision.documents.picks import Screen
        from vision.files import disk
        from vision.inspection.inspect import inspect

        shown = Screen(width=int(size[1]), height=int(size[2])) if size else Screen()
        job, pictures = disk.read_inspection_input(job_file)
        text = b"" if judge is None else disk.read_bytes(judge, "a table of picks", "name it")
        inspection = inspect(job, pictures)
        if judge is not None:
            lines, verdicts = judge_file(inspection, shown, text, judge.name)
        else:
            assert out is not None
            lines, verdicts = write_list(inspection, shown, out)
        with reader_may_leave():
            typer.echo(printable("\n".join(lines)))
        raise typer.Exit(
            FAIL if "off" in verdicts else NOT_JUDGED if "not-judged" in verdicts else 0
        )

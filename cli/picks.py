"""`seamtrue picks`: where to pick each mark on a screen, and what was picked instead."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug, JobFile, picture_size
from cli.printing import reader_may_leave, say
from cli.trouble import FAIL, KEEP, NOT_JUDGED, reported


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
    size = picture_size(screen, "--screen", "1920x1080") if screen else None
    if (out is None) == (judge is None):
        raise typer.BadParameter("give one of --out and --judge", param_hint="--out")
    with reported(debug):
        # Imported here, since they bring OpenCV and SciPy and --help needs neither.
        from vision.documents.pick_words import judged_file, listed
        from vision.documents.picks import Screen
        from vision.files import disk
        from vision.inspection.inspect import inspect

        shown = Screen(width=size[0], height=size[1]) if size else Screen()
        job, pictures = disk.read_inspection_input(job_file)
        text = b"" if judge is None else disk.read_bytes(judge, "a table of picks", "name it")
        inspection = inspect(job, pictures)
        if judge is not None:
            lines, verdicts = judged_file(inspection, shown, text, judge.name)
        if out is not None:
            contents, (lines, verdicts) = listed(inspection, shown)
            disk.write_all(out, contents)
            lines.append(f"list: {out / 'picks.html'}")
        with reader_may_leave():
            say(*lines)
        unsure = NOT_JUDGED if "not-judged" in verdicts else KEEP
        raise typer.Exit(FAIL if "off" in verdicts else unsure)

"""`seamtrue record`: list the checks of a record, hand one back, rescue a damaged record."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug
from cli.printing import Lines, printable, reader_may_leave, say, show_table
from cli.trouble import BAD_INPUT, reported


def record(
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="The record, an SQLite file.", show_default=False),
    ],
    result: Annotated[
        int | None,
        typer.Option(metavar="N", help="Print the result file of check N.", show_default=False),
    ] = None,
    job: Annotated[
        int | None,
        typer.Option(metavar="N", help="Print the job file of check N.", show_default=False),
    ] = None,
    rescue: Annotated[
        Path | None,
        typer.Option(
            metavar="NEW", help="Put what can be read into a new record.", show_default=False
        ),
    ] = None,
    debug: Debug = False,
) -> None:
    """List the checks that `seamtrue check --record` kept.

    Exit code: 0, 5 bad input or a damaged record, of which the rest is still listed.
    """
    with reported(debug):
        from vision.comparison.record import chosen
        from vision.files.record_file import read_record, rescue_record
        from vision.units.plain import json_text

        kept = read_record(file)
        say(*map(str, kept.faults), err=True)
        with reader_may_leave():
            if result is not None:
                _hand_back(json_text(chosen(kept.checks, str(result), file.name).result))
            elif job is not None:
                _hand_back(chosen(kept.checks, str(job), file.name).job_text)
            elif rescue is not None:
                say(f"{len(rescue_record(rescue, kept.checks))} checks put into {rescue}")
            else:
                rows = tuple(
                    (str(c.number), c.taken, str(c.result.get("verdict", "")), str(c.result["job"]))
                    for c in kept.checks
                )
                heads = ("check", "taken", "verdict", "job")
                show_table(Lines(heads=heads, rows=rows, words=4, verdicts=False), gap=False)
        if kept.faults:
            raise typer.Exit(BAD_INPUT)


def _hand_back(text: str) -> None:
    """A kept file, to the last byte where it goes into a file; on a terminal what steers none."""
    typer.echo(printable(text) if sys.stdout.isatty() else text.encode("utf-8"), nl=False)

"""`seamtrue record`: list the checks of a record, hand one back, rescue a damaged record."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug
from cli.table import Lines, plain
from cli.trouble import BAD_INPUT, printable, reader_may_leave, reported


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
        from vision.files import disk

        kept = disk.read_record(file)
        for fault in kept.faults:
            typer.echo(printable(str(fault)), err=True)
        with reader_may_leave():
            if result is not None:
                check = chosen(kept.checks, str(result), file.name)
                typer.echo(json.dumps(check.result, indent=1, ensure_ascii=False))
            elif job is not None:
                typer.echo(printable(chosen(kept.checks, str(job), file.name).job_text), nl=False)
            elif rescue is not None:
                numbers = disk.rescue_record(rescue, kept.checks)
                typer.echo(f"{len(numbers)} checks put into {printable(str(rescue))}")
            else:
                rows = [
                    (str(c.number), c.taken, str(c.result.get("verdict", "")), str(c.result["job"]))
                    for c in kept.checks
                ]
                heads = ("check", "taken", "verdict", "job")
                shown = [tuple(printable(cell) for cell in row) for row in rows]
                typer.echo(plain(Lines(heads=heads, rows=tuple(shown)), words=4))
        if kept.faults:
            raise typer.Exit(BAD_INPUT)

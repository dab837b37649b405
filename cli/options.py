"""Arguments and options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from vision.units.lengths import FRACTIONS


def _on_a_tape(fraction: int) -> int:
    if fraction not in FRACTIONS:
        wanted = ", ".join(str(each) for each in FRACTIONS)
        raise typer.BadParameter(f"{fraction} is not one of {wanted}", param_hint="--fraction")
    return fraction


Fraction = Annotated[
    int,
    typer.Option(
        help="Finest fraction of an inch to show: 1, 2, 4, 8, 16, 32 or 64.", callback=_on_a_tape
    ),
]
"""The finest fraction of an inch; a usage error where no tape has it."""

JobFile = Annotated[
    Path, typer.Argument(metavar="JOB.toml", help="The job file.", show_default=False)
]

ReportFolder = Annotated[
    Path | None,
    typer.Option(help="Folder to write to; by default seamtrue-report beside the job file."),
]

Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of a bug.")]
"""Lets what is unexpected through, see `cli.trouble.reported`."""

"""Arguments and options that several commands share."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from vision.units.lengths import FRACTIONS

if TYPE_CHECKING:
    from vision.documents.sheets.paper import Paper

REPORT_FOLDER = "seamtrue-report"
SMALLEST_SIDE_PX = 64
"""Of a picture or a screen, as `vision.files.pictures` has it."""


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

OutFolder = Annotated[Path, typer.Option(help="Folder to write to.", show_default=False)]

ReportFolder = Annotated[
    Path | None,
    typer.Option(help="Folder to write to; by default seamtrue-report beside the job file."),
]

Svg = Annotated[bool, typer.Option("--svg", help="Write an SVG of every page as well.")]

Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of a bug.")]
"""Lets what is unexpected through, see `cli.trouble.reported`."""


def paper_of_size(text: str, *, rolls: bool = False) -> Paper:
    """The paper that `--paper` names, a roll of it where `rolls` allows; a usage error for none."""
    from vision.documents.sheets.paper import paper_of

    try:
        return paper_of(text, rolls=rolls)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--paper") from None


def picture_size(text: str, option: str, example: str) -> tuple[int, int]:
    """Width and height from 1280x720; a usage error for anything else."""
    found = re.fullmatch(r"\s*(\d{2,5})\s*[x×]\s*(\d{2,5})\s*", text)  # noqa: RUF001
    if found is None or min(int(found[1]), int(found[2])) < SMALLEST_SIDE_PX:
        raise typer.BadParameter(f"{text!r} is no size such as {example}", param_hint=option)
    return int(found[1]), int(found[2])

"""The option `--fraction`, the same wherever lengths are read."""

from __future__ import annotations

from typing import Annotated

import typer

from vision.lengths import FRACTIONS


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

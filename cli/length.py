"""`seamtrue length`: one length, or a sum of lengths, in metric and in feet and inches."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.options import Fraction
from vision.units.lengths import LengthError, both_systems, metric
from vision.units.sums import Sum, parse_sum, slips

FAIL = 3
BAD_INPUT = 5


def length(
    expression: Annotated[
        str,
        typer.Argument(help="A length, or a sum: '2.5 m + 3.25 m = 5.75 m'.", show_default=False),
    ],
    fraction: Fraction = 16,
) -> None:
    """Show a length in metric and in feet and inches, and check a sum."""
    try:
        checked = parse_sum(expression)
    except LengthError as error:
        typer.echo(f"no length: {error}", err=True)
        raise typer.Exit(BAD_INPUT) from None
    typer.echo(both_systems(checked.total_m, fraction))
    if checked.stated is not None:
        typer.echo(judgement(checked))
        if not checked.adds_up:
            raise typer.Exit(FAIL)


def judgement(checked: Sum) -> str:
    """Whether a sum adds up, by how much not, and the slip that would explain it."""
    assert checked.stated is not None
    size = metric(abs(checked.off_m))
    direction = "long" if checked.off_m > 0 else "short"
    if checked.adds_up:
        rounding = f", rounded: {size} too {direction}" if checked.off_m else ""
        return f"adds up to the stated {checked.stated.text}{rounding}"
    lines = [f"does not add up: the stated {checked.stated.text} is {size} too {direction}"]
    named = slips(checked)
    lines += [f"slip: {slip}" for slip in named[:1]] + [f"or: {slip}" for slip in named[1:]]
    if not named:
        lines.append("no one slip explains it: measure or add again")
    return "\n".join(lines)

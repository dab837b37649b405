"""`seamtrue length`: one length, or a sum of lengths, in metric and in feet and inches."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.options import Fraction
from cli.printing import say
from cli.trouble import BAD_INPUT, FAIL
from vision.units.lengths import LengthError, both_systems
from vision.units.sums import judgement, parse_sum


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
        say(f"no length: {error}", err=True)
        raise typer.Exit(BAD_INPUT) from None
    say(both_systems(checked.total_m, fraction))
    if checked.stated is not None:
        say(judgement(checked))
    if not checked.adds_up:
        raise typer.Exit(FAIL)

"""The section [display] of a job file: when it was set, and photographs of its screen."""

from __future__ import annotations

import contextlib
import re
from datetime import date, datetime

from vision.units.tables import Table

ASPECTS = (1.0, 3.0)
"""Least and most width over height of a screen."""
_SIDE = r"\s*(\d{1,5}(?:\.\d{1,5})?)\s*"
_SIDES = re.compile(f"{_SIDE}[:x/]{_SIDE}")


def display_of(table: Table) -> tuple[date | None, float | None]:
    """The day on which a display was set, and the shape of its screen where it was photographed.

    None for what nobody says.
    """
    found = _set_on(table), _photographed(table)
    table.close()
    return found


def _set_on(table: Table) -> date | None:
    """With or without quotes, and with or without a time."""
    if not table.has("set_on"):
        return None
    value = table.values["set_on"]
    with contextlib.suppress(ValueError):
        value = datetime.fromisoformat(value) if isinstance(value, str) else value
    if isinstance(value, date):
        return value.date() if isinstance(value, datetime) else value
    table.wrong("not-a-day", "set_on", "a day, such as 2026-03-03", "write year, month and day so")
    return None


def _photographed(table: Table) -> float | None:
    """Width over height of the screen, such as "16:9"."""
    if not table.has("photographed"):
        return None
    value = table.values["photographed"]
    sides = _SIDES.fullmatch(str(value))
    if isinstance(value, str) and sides and float(sides[2]) > 0:
        aspect = float(sides[1]) / float(sides[2])
        if ASPECTS[0] <= aspect <= ASPECTS[1]:
            return aspect
    expected = 'width to height of the lit screen, such as "16:9", "4:3" or "1024x600"'
    table.wrong("wrong-aspect", "photographed", expected, "measure the lit part of the screen")
    return None

"""The sections of a job file, however they are spelled, and the unit of its bare lengths."""

from __future__ import annotations

from vision.units.cures import nearest
from vision.units.lengths import SPELLINGS, UNITS
from vision.units.tables import Table

SECTIONS = (
    *("job", "vehicle", "lens", "camera", "strip", "mark", "seam", "reading", "panes", "tolerance"),
    *("lot", "tape", "display"),
)


def respell_sections(top: Table) -> None:
    """Note sections whose names are misspelt, and read them as what was meant.

    Else everything that names a table in there would be a fault as well.
    """
    for name in [each for each in top.values if each not in SECTIONS]:
        values, meant = top.values[name], nearest(name, SECTIONS)
        expected = f"one of {', '.join(SECTIONS)}"
        if meant is not None:
            top.fault("unknown-key", name, "an unknown key", expected, f"did you mean `{meant}`?")
            own = top.values.setdefault(meant, type(values)())
            if isinstance(own, dict) and isinstance(values, dict):
                top.values[meant] = values | own
            elif isinstance(own, list) and isinstance(values, list):
                top.values[meant] = own + values
        elif isinstance(values, dict):
            step = f"say what it is before its name, as in [camera.{name}] or [strip.{name}]"
            top.fault("unknown-key", name, "an unknown key", expected, step)
        else:
            top.fault(
                "unknown-key",
                name,
                "an unknown key",
                expected,
                "put it below its [table], or remove it",
            )
        del top.values[name]


def unit_of(head: Table) -> str | None:
    """The unit of bare lengths, in whatever spelling after noting that; None where none is said."""
    if not head.has("units"):
        return None
    typed = str(head.values["units"])
    if typed in UNITS:
        return typed
    meant = SPELLINGS.get(typed.casefold())
    step = "give bare numbers in one of them; any length may carry its own"
    step = f"did you mean `{meant}`?" if meant else step
    head.wrong("unknown-choice", "units", "one of " + ", ".join(UNITS), step)
    return meant or "m"

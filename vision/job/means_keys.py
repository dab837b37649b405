"""What a plan may be made with: brackets that can be turned, the lot, and the tape at hand.

These keys of a job file are for planning alone; an inspection reads them and takes no notice.
"""

from __future__ import annotations

import math

from vision.job.job import Bracket, Means
from vision.job.settings import SETTINGS
from vision.units.tables import Table


def bracket_of(table: Table, pan_deg: float) -> Bracket | None:
    """What can be turned, and how far; None where the table says nothing of it."""
    ranges = {
        "pan": (pan_deg - SETTINGS.pan_reach_deg, pan_deg + SETTINGS.pan_reach_deg),
        "tilt": SETTINGS.tilt_range_deg,
    }
    free: list[object] = []
    if table.has("adjustable"):
        value = table.values["adjustable"]
        if isinstance(value, list) and value and all(each in ("pan", "tilt") for each in value):
            free = value
        else:
            expected = 'a list of what the bracket lets be turned: "tilt", "pan" or both'
            table.wrong("wrong-kind", "adjustable", expected)
    found: dict[str, tuple[float, float]] = {}
    for name, default in ranges.items():
        key = f"{name}_range_deg"
        reach = 90.0 if name == "tilt" else 360.0
        low, high = default
        if table.has(key):
            given = table.numbers(key, 2)
            if given and not -reach <= given[0] < given[1] <= reach:
                expected = f"[lowest, highest] in degrees, from -{reach:g} to {reach:g}"
                table.wrong("wrong-range", key, expected, "put the lower one first")
            elif name not in free:
                step = f'add `adjustable = ["{name}"]`, or remove the range'
                table.fault(
                    "range-of-fixed", key, f"a range of {name}, which is fixed", "no range", step
                )
            low, high = given or default
        if name in free:
            found[name] = (math.radians(low), math.radians(high))
    return Bracket(pan_rad=found.get("pan"), tilt_rad=found.get("tilt")) if found else None


def means_of(top: Table) -> Means:
    """What there is to lay a layout with; nobody needs to say."""
    lot, tape = top.table("lot", required=False), top.table("tape", required=False)
    means = Means(
        lot_length_m=lot.length("length") if lot.has("length") else None,
        lot_width_m=lot.length("width") if lot.has("width") else None,
        tape_longest_m=tape.length("longest") if tape.has("longest") else None,
        tape_width_m=tape.length("width") if tape.has("width") else None,
    )
    lot.close()
    tape.close()
    return means

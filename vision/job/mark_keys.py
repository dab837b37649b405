"""The sections [strip.NAME] and [mark.NAME] of a job file: what lies on the ground."""

from __future__ import annotations

import math

import numpy as np

from vision.job.job import SingleMark, Strip
from vision.job.kinds.every import KINDS
from vision.job.kinds.mark_shape import MarkShape
from vision.job.settings import SETTINGS
from vision.units.arrays import Array
from vision.units.length_words import LengthWords
from vision.units.lengths import IMPERIAL
from vision.units.tables import Table


def ends(table: Table) -> tuple[Array | None, Array | None, float]:
    """Both ends (2,) of a line on the ground and its length, NaN after noting a fault."""
    start, end = table.point("from", 2), table.point("to", 2)
    if start is None or end is None:
        return start, end, math.nan
    length = float(np.linalg.norm(end - start))
    if length == 0:
        table.wrong("same-place", "to", "another place than `from`", "give the two ends")
        return start, end, math.nan
    return start, end, length


def strip_of(name: str, table: Table) -> Strip | None:
    """One strip from its table; None after noting a fault."""
    before = len(table.faults)
    start, end, length = ends(table)
    at = _along(table, length)
    shape = _shape(table, "mark", tuple(n for n, kind in KINDS.items() if kind.on_strips))
    tape_width = table.length("tape_width")
    ink = table.choice("ink", ("dark", "light"), "dark")
    sigma = table.length("position_sigma", SETTINGS.strip_sigma_m)
    mark_sigma = table.length("mark_sigma", SETTINGS.mark_sigma_m)
    table.close()
    if len(table.faults) > before or start is None or end is None or shape is None:
        return None
    return Strip(
        name=name,
        from_m=start,
        to_m=end,
        at_m=at,
        shape=shape,
        tape_width_m=tape_width,
        ink="light" if ink == "light" else "dark",
        position_sigma_m=sigma,
        mark_sigma_m=mark_sigma,
    )


def _along(table: Table, length_m: float) -> Array:
    """Distances of the marks from the first; empty after noting a fault."""
    counted, listed = table.has("count"), table.has("at")
    if counted == listed:
        expected = "either count or at"
        if counted:
            step = "keep one of them"
            table.fault("one-of-two", "count", "both count and at", expected, step)
        else:
            step = "add `count`, or `at` with the distances"
            table.lacking("one-of-two", "count", "neither count nor at", expected, step)
        return np.zeros(0)
    if counted:
        count = table.whole("count", 2, SETTINGS.most_marks)
        return np.linspace(0, length_m, count) if math.isfinite(length_m) else np.zeros(0)
    words = f"a list of 2 to {SETTINGS.most_marks} distances from the first mark"
    at: Array = np.array(
        table.lengths("at", tuple(range(2, SETTINGS.most_marks + 1)), words), dtype=np.float64
    )
    if not at.size:
        return at
    said = LengthWords(imperial=table.units.name in IMPERIAL)
    if at[0] != 0:
        found = said.m(float(at[0]), spec="g")
        table.fault(
            "first-distance", "at[0]", found, "0: the first mark itself", "measure from the mark"
        )
    falls = np.flatnonzero(np.diff(at) <= 0)
    if falls.size:
        i = int(falls[0]) + 1
        found = f"{said.m(float(at[i]), spec='g')} after {said.m(float(at[i - 1]), spec='g')}"
        table.fault(
            "wrong-order", f"at[{i}]", found, "distances that increase", "put them in order"
        )
    elif abs(at[-1] - length_m) > SETTINGS.strip_agreement_m:
        last, apart = said.m(float(at[-1]), spec="g"), said.m(length_m, spec=".3f")
        found = f"{last} to the last mark, but {apart} from `from` to `to`"
        step = "correct `at`, `from` or `to`"
        expected = f"the two to agree within {said.cm(SETTINGS.strip_agreement_m, spec='g')}"
        table.fault("lengths-differ", f"at[{at.size - 1}]", found, expected, step)
    return at


def _shape(table: Table, key: str, kinds: tuple[str, ...]) -> MarkShape | None:
    """Read the mark's kind with its sizes; None after noting a fault."""
    before = len(table.faults)
    kind = KINDS.get(table.choice(key, kinds))
    if kind is None:
        # The kind is at fault already: its size keys would only be a second, false fault.
        for each in KINDS.values():
            table.known.extend(each.keys)
        return None
    shape = kind.read(table)
    return None if len(table.faults) > before else shape


def mark_of(name: str, table: Table) -> SingleMark | None:
    """One single mark from its table; None after noting a fault."""
    before = len(table.faults)
    place = table.values.get("at")
    flat = isinstance(place, list) and len(place) == 2
    at = table.point("at", 2 if flat else 3)
    if at is not None and flat:
        at = np.append(at, 0.0)
    shape = _shape(table, "kind", tuple(n for n, kind in KINDS.items() if kind.alone))
    if at is not None and (at[2] < 0 or (at[2] == 0 and shape is not None and not shape.drawn)):
        expected = "z above 0: a carton's top" if at[2] == 0 else "z of 0 or more"
        table.wrong("wrong-height", "at", expected, "measure its height above the ground")
    ink = table.choice("ink", ("dark", "light"), "dark")
    sigma = table.length("position_sigma", SETTINGS.strip_sigma_m)
    table.close()
    if len(table.faults) > before or at is None or shape is None:
        return None
    return SingleMark(
        name=name,
        at_m=at,
        shape=shape,
        position_sigma_m=sigma,
        ink="light" if ink == "light" else "dark",
    )

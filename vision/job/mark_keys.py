"""The sections [strip.NAME] and [mark.NAME] of a job file: what lies on the ground."""

from __future__ import annotations

import math

import numpy as np

from vision.job.job import (
    Board,
    BoxCorner,
    Cross,
    MarkShape,
    Quadrant,
    SingleMark,
    SingleShape,
    Strip,
)
from vision.units.arrays import Array
from vision.units.length_words import LengthWords
from vision.units.lengths import IMPERIAL
from vision.units.tables import LENGTH, Table

MOST_MARKS = 1000
"""On one strip: a slip in `count` must not fill the memory."""

MOST_CORNERS = 50
STRIP_AGREEMENT_M = 0.01
"""How far the last `at` may be from the strip's length: as a tape is read in a yard."""

STRIP_SIGMA_M = 0.01
MARK_SIGMA_M = 0.003
"""How well tape is laid along a string, and a mark on it: common practice, no source."""

SIZE_KEYS = {
    "cross": ("arm", "line"),
    "quadrant": ("radius",),
    "board": ("square", "corners"),
    "box_corner": ("size", "turn_deg"),
}


def ends(table: Table) -> tuple[Array | None, Array | None, float]:
    """Both ends (2,) of a line on the ground and its length, NaN after noting a fault."""
    start, end = table.point("from", 2), table.point("to", 2)
    if start is None or end is None:
        return start, end, math.nan
    length = float(np.linalg.norm(end - start))
    if length == 0:
        table.wrong("to", "another place than `from`", "give the two ends")
        return start, end, math.nan
    return start, end, length


def strip_of(name: str, table: Table) -> Strip | None:
    """One strip from its table; None after noting a fault."""
    before = len(table.faults)
    start, end, length = ends(table)
    at = _along(table, length)
    shape = _shape(table, "mark", ("cross", "quadrant", "board"))
    tape_width = table.length("tape_width")
    ink = table.choice("ink", ("dark", "light"), "dark")
    sigma = table.length("position_sigma", STRIP_SIGMA_M)
    mark_sigma = table.length("mark_sigma", MARK_SIGMA_M)
    table.close()
    if len(table.faults) > before or start is None or end is None:
        return None
    assert isinstance(shape, (Cross, Quadrant, Board))
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
        found = "both count and at" if counted else "neither count nor at"
        table.fault("count", found, "either count or at", "keep one of them")
        return np.zeros(0)
    if counted:
        count = table.whole("count", 2, MOST_MARKS)
        return np.linspace(0, length_m, count) if math.isfinite(length_m) else np.zeros(0)
    words = f"a list of 2 to {MOST_MARKS} distances from the first mark"
    at: Array = np.array(
        table.lengths("at", tuple(range(2, MOST_MARKS + 1)), words), dtype=np.float64
    )
    if not at.size:
        return at
    said = LengthWords(imperial=table.units.name in IMPERIAL)
    if at[0] != 0:
        found = said.m(float(at[0]), spec="g")
        table.fault("at[0]", found, "0: the first mark itself", "measure from the mark")
    falls = np.flatnonzero(np.diff(at) <= 0)
    if falls.size:
        i = int(falls[0]) + 1
        found = f"{said.m(float(at[i]), spec='g')} after {said.m(float(at[i - 1]), spec='g')}"
        table.fault(f"at[{i}]", found, "distances that increase", "put them in order")
    elif abs(at[-1] - length_m) > STRIP_AGREEMENT_M:
        last, apart = said.m(float(at[-1]), spec="g"), said.m(length_m, spec=".3f")
        found = f"{last} to the last mark, but {apart} from `from` to `to`"
        step = "correct `at`, `from` or `to`"
        expected = f"the two to agree within {said.cm(STRIP_AGREEMENT_M, spec='g')}"
        table.fault(f"at[{at.size - 1}]", found, expected, step)
    return at


def _shape(table: Table, key: str, kinds: tuple[str, ...]) -> MarkShape | SingleShape | None:
    """Read the mark's kind with its sizes; None after noting a fault."""
    before = len(table.faults)
    kind = table.choice(key, kinds)
    shape: MarkShape | SingleShape | None = None
    if kind == "cross":
        shape = _cross(table)
    elif kind == "quadrant":
        shape = Quadrant(radius_m=table.length("radius"))
    elif kind == "board":
        shape = _board(table)
    elif kind == "box_corner":
        shape = _box_corner(table)
    else:
        # The kind is at fault already: its size keys would only be a second, false fault.
        for sizes in SIZE_KEYS.values():
            table.known.extend(sizes)
    return None if len(table.faults) > before else shape


def _cross(table: Table) -> Cross:
    arms: tuple[float, ...] = ()
    words = f"{LENGTH}; or [along, across]"
    if isinstance(table.values.get("arm"), list):
        arms = table.lengths("arm", (2,), words)
        arms = tuple(table.above_zero("arm", arm) for arm in arms)
    elif table.needs("arm", words):
        arms = (table.length("arm"),) * 2
    line = table.length("line")
    along, across = arms or (math.nan, math.nan)
    if line >= 2 * min(along, across):
        table.wrong("line", "a line thinner than its arms are long", "measure from the centre")
    return Cross(arm_along_m=along, arm_across_m=across, line_m=line)


def _board(table: Table) -> Board:
    square = table.length("square")
    expected = f"[along, across], from 2 to {MOST_CORNERS}, one odd and one even"
    along, across = 0, 0
    if table.needs("corners", expected):
        value = table.values["corners"]
        if (
            isinstance(value, list)
            and len(value) == 2
            and all(type(each) is int and 2 <= each <= MOST_CORNERS for each in value)
            and sum(value) % 2
        ):
            along, across = value
        else:
            table.wrong("corners", expected, "count the inner corners")
    return Board(square_m=square, corners_along=along, corners_across=across)


def _box_corner(table: Table) -> BoxCorner:
    size: tuple[float, float] | None = None
    if table.has("size"):
        sides = table.lengths("size", (2,), f"[long, short], each {LENGTH}")
        sides = tuple(table.above_zero("size", side) for side in sides)
        if sides:
            size = (sides[0], sides[1])
            if sides[0] < sides[1]:
                table.wrong("size", "[long, short]", "swap the two; turn_deg is of the long side")
    turn = table.number("turn_deg", -360, 360) if table.has("turn_deg") else None
    return BoxCorner(size_m=size, turn_rad=None if turn is None else math.radians(turn))


def mark_of(name: str, table: Table) -> SingleMark | None:
    """One single mark from its table; None after noting a fault."""
    before = len(table.faults)
    place = table.values.get("at")
    flat = isinstance(place, list) and len(place) == 2
    at = table.point("at", 2 if flat else 3)
    if at is not None and flat:
        at = np.append(at, 0.0)
    shape = _shape(table, "kind", ("cross", "quadrant", "box_corner"))
    if at is not None and (at[2] < 0 or (at[2] == 0 and isinstance(shape, BoxCorner))):
        expected = "z above 0: a carton's top" if at[2] == 0 else "z of 0 or more"
        table.wrong("at", expected, "measure its height above the ground")
    ink = table.choice("ink", ("dark", "light"), "dark")
    sigma = table.length("position_sigma", STRIP_SIGMA_M)
    table.close()
    if len(table.faults) > before or at is None:
        return None
    assert isinstance(shape, (Cross, Quadrant, BoxCorner))
    return SingleMark(
        name=name,
        at_m=at,
        shape=shape,
        position_sigma_m=sigma,
        ink="light" if ink == "light" else "dark",
    )

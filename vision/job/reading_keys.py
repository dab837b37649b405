"""The tables [[reading]] of a job file: what somebody measured with a tape or a gauge.

A tape of an accuracy class may be wrong by no more than a + b L millimetres, L the length rounded
up to whole metres (OIML R 35-1, the classes of EU directive 2014/32/EU annex VIII, both from
memory): a limit, so a uniform error, of sigma limit / sqrt(3). Where a reading names its tape, the
part that grows with the length is common to every reading of that tape.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

from vision.job.job import (
    AngleReading,
    Camera,
    LengthReading,
    LevelReading,
    Reading,
    SingleMark,
    Strip,
)
from vision.job.mark_id import MarkId, PlaceId
from vision.job.settings import SETTINGS
from vision.units.cures import nearest_step
from vision.units.tables import Table, describe

TAPE_CLASSES_MM = {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4)}
"""a and b of the limit a + b L in mm, L in whole metres."""

KINDS = ("distance", "diagonal", "offset", "angle", "level")


def readings_of(
    top: Table,
    strips: Mapping[str, Strip | None],
    marks: Mapping[str, SingleMark | None],
    cameras: Mapping[str, Camera | None],
) -> tuple[Reading, ...]:
    """Every reading of the file; those with a fault are left out after noting it.

    `strips`, `marks` and `cameras` by name, None for one that is itself faulty: naming it is then
    no second fault.
    """
    if not top.has("reading"):
        return ()
    value = top.values["reading"]
    if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
        top.wrong(
            "wrong-kind", "reading", "tables [[reading]]", "write the name in two pairs of brackets"
        )
        return ()
    places = _Places(strips, marks, cameras)
    classes: dict[str, str] = {}
    found: list[Reading | None] = []
    _no_value(top, value)
    for i, values in enumerate(value):
        if values.get("value") == "":
            continue
        table = Table(top.faults, top.file, f"reading[{i}]", values, top.units)
        kind = table.choice("kind", KINDS)
        before = len(table.faults)
        match kind:
            case "angle":
                reading: Reading | None = _angle(table, cameras)
                table.close()
            case "level":
                reading = _level(table)
                table.close()
            case "distance" | "diagonal" | "offset":
                reading = _length(table, kind, places, classes)
                table.close()
            case _:
                continue
        found.append(reading if len(table.faults) == before else None)
    return tuple(reading for reading in found if reading is not None)


def _no_value(top: Table, tables: list[dict[str, object]]) -> None:
    """One fault for all tables that `seamtrue measure --wanted` printed and nobody filled in."""
    empty = [str(number) for number, each in enumerate(tables, 1) if each.get("value") == ""]
    if empty:
        which = f"reading {empty[0]}" if len(empty) == 1 else f"readings {', '.join(empty)}"
        step = (
            "put in what the tape showed, or take the whole table out: lines [[reading]] to value"
        )
        top.fault("no-value", "reading", f"no value in {which}", "a length in each", step)


class _Places:
    """The names that a reading may give: marks as `strip/index` or by name, and cameras."""

    def __init__(
        self,
        strips: Mapping[str, Strip | None],
        marks: Mapping[str, SingleMark | None],
        cameras: Mapping[str, Camera | None],
    ) -> None:
        self.side: dict[PlaceId, float] = {}
        self.strips = tuple(strips)
        self.ambiguous = set(marks) & set(cameras)
        self.broken = {name for name, strip in strips.items() if strip is None}
        for name, camera in cameras.items():
            self.side[name] = math.nan if camera is None else float(camera.position_m[1])
        for name, mark in marks.items():
            self.side[MarkId(name)] = math.nan if mark is None else float(mark.at_m[1])
        for name, strip in strips.items():
            if strip is not None:
                for index, at in enumerate(strip.at_m):
                    y = strip.from_m[1] + at * strip.along[1]
                    self.side[MarkId(name, index)] = float(y)

    def read(self, name: object, table: Table, key: str) -> PlaceId | None:
        """The place of the job called `name`; None after noting a fault under `key`."""
        expected = "a mark such as `left/0`, or a camera"
        if isinstance(name, str) and name in self.ambiguous:
            table.fault(
                "name-twice", key, f"{describe(name)}, a mark and a camera", expected, "rename one"
            )
            return None
        if isinstance(name, str):
            mark_id = MarkId.parse(name, self.strips)
            place = mark_id if mark_id in self.side else name
            if place in self.side:
                return place
            if mark_id.strip in self.broken:
                return mark_id
        known = list(map(str, self.side))
        step = nearest_step(str(name)[:60], known, "name a mark or a camera of this job")
        table.fault("unknown-name", key, describe(name), expected, step)
        return None


def _length(
    table: Table,
    kind: Literal["distance", "diagonal", "offset"],
    places: _Places,
    classes: dict[str, str],
) -> LengthReading | None:
    between = _offset_end(table, places) if kind == "offset" else _two_ends(table, places)
    value_m = table.length("value")
    tape = table.text("tape", "the tape's name") if table.has("tape") else None
    tape_class = table.choice("tape_class", tuple(TAPE_CLASSES_MM), "II") or "II"
    if tape and classes.setdefault(tape, tape_class) != tape_class:
        found = f"class {tape_class} for the tape {tape!r}, which is class {classes[tape]} above"
        table.fault(
            "tape-class-differs",
            "tape_class",
            found,
            "one class for each tape",
            "correct one of them",
        )
    if table.has("sigma") and "tape_class" in table.values and not tape:
        table.fault(
            "one-of-two", "sigma", "both sigma and tape_class", "either", "remove one of them"
        )
    # A named tape's error by length is one unknown for all its readings, not part of each.
    alone_m = 0.0 if tape or not math.isfinite(value_m) else value_m
    sigma_m = table.length("sigma", tape_sigma_m(tape_class, alone_m))
    if between is None:
        return None
    return LengthReading(
        kind=kind,
        between=between,
        value_m=value_m,
        sigma_m=sigma_m,
        tape=tape or None,
        scale_sigma=1e-3 * TAPE_CLASSES_MM[tape_class][1] / math.sqrt(3) if tape else 0.0,
    )


def tape_sigma_m(tape_class: str, length_m: float) -> float:
    """Sigma of a length read with a tape of this class: its limit as uniform, and holding it."""
    a, b = (1e-3 * each / math.sqrt(3) for each in TAPE_CLASSES_MM[tape_class])
    return math.hypot(a + b * math.ceil(length_m), SETTINGS.holding_sigma_m)


def _two_ends(table: Table, places: _Places) -> tuple[PlaceId, ...] | None:
    expected = "two places, each a mark such as `left/0` or a camera"
    if not table.needs("between", expected):
        return None
    value = table.values["between"]
    if not isinstance(value, list) or len(value) != 2 or value[0] == value[1]:
        table.wrong("wrong-places", "between", expected, "name both ends of what was measured")
        return None
    ends = [places.read(each, table, f"between[{i}]") for i, each in enumerate(value)]
    return None if None in ends else tuple(end for end in ends if end is not None)


def _offset_end(table: Table, places: _Places) -> tuple[PlaceId, ...] | None:
    expected = "the place whose offset from the body's centre line was measured"
    if not table.needs("of", expected):
        return None
    place = places.read(table.values["of"], table, "of")
    if place is None:
        return None
    if abs(places.side.get(place, math.nan)) < SETTINGS.centre_line_m:
        table.wrong(
            "on-centre-line",
            "of",
            "a place to one side of the centre line",
            "measure to another place",
        )
        return None
    return (place,)


def _angle(table: Table, cameras: Mapping[str, Camera | None]) -> AngleReading | None:
    before = len(table.faults)
    camera = table.choice("camera", tuple(cameras))
    angles = {
        name: math.radians(table.number(name, -limit, limit)) if table.has(name) else None
        for name, limit in (("tilt_deg", 90), ("roll_deg", 180))
    }
    if set(angles.values()) == {None}:
        table.fault(
            "missing",
            "",
            "neither tilt_deg nor roll_deg",
            "one of them or both",
            "add what was read",
        )
    intended = cameras.get(camera)
    if (
        angles["roll_deg"] is not None
        and intended
        and abs(intended.aim.tilt_rad) > SETTINGS.steep_rad
    ):
        found = "the roll of a camera that looks straight down"
        table.fault(
            "roll-undefined",
            "roll_deg",
            found,
            "a camera that looks less than 80 degrees down",
            "remove it",
        )
    against = table.choice("against", ("gravity", "ground"))
    tool = table.choice("tool", tuple(SETTINGS.tool_sigma_deg), "gauge") or "gauge"
    sigma_deg = table.number("sigma_deg", 0, 45, SETTINGS.tool_sigma_deg[tool], exclusive=True)
    if len(table.faults) > before:
        return None
    return AngleReading(
        camera=camera,
        tilt_rad=angles["tilt_deg"],
        roll_rad=angles["roll_deg"],
        against="ground" if against == "ground" else "gravity",
        sigma_rad=math.radians(sigma_deg),
    )


def _level(table: Table) -> LevelReading | None:
    before = len(table.faults)
    on = table.choice("on", ("ground", "floor"))
    along = table.choice("along", ("ahead", "left"))
    if table.has("angle_deg") == table.has("percent"):
        found = "both angle_deg and percent" if table.has("percent") else "no angle_deg or percent"
        table.fault(
            "one-of-two", "", found, "one of the two", "write what was read, above 0 for a rise"
        )
    most, most_percent = SETTINGS.steepest_deg, SETTINGS.steepest_percent
    rise = math.tan(math.radians(table.number("angle_deg", -most, most, 0.0)))
    rise += 0.01 * table.number("percent", -most_percent, most_percent, 0.0)
    sigma_deg = table.number("sigma_deg", 0, most, SETTINGS.level_sigma_deg, exclusive=True)
    if len(table.faults) > before:
        return None
    return LevelReading(
        on="ground" if on == "ground" else "floor",
        along="ahead" if along == "ahead" else "left",
        rise=rise,
        sigma=math.radians(sigma_deg),
    )

"""A proposed layout as the text of a job file, beside everything that the vehicle's file says.

The vehicle's own tables are written again as they were typed, units and all; only comments are
lost. What is new is written in the file's own kind of unit.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterable, Mapping

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
from vision.planning.proposal import Proposal
from vision.planning.settings import SETTINGS
from vision.units.arrays import Array
from vision.units.lengths import IMPERIAL, UNITS, decimal_text, feet_inches
from vision.views.seams.lines import SeamLine, seam_lines

LAYOUT_SECTIONS = ("strip", "mark", "seam")
BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
FINEST_FRACTION = 16

HEAD = """\
# Proposed by `seamtrue plan`: ready but for the pictures, which go beside this file.
# {size}; {marks} marks on {strips} strips, {raised} raised marks.
# Lopsided on purpose: the right and the rear strip lie {lopsided} farther out, and every strip has
# one mark more near its rear or left end. On a layout that is the same from front and rear, or
# from left and right, two swapped pictures would fit as well as the right ones.
# Once it is laid, `seamtrue measure --wanted` with this file prints which lengths to tape.
"""


def job_text(vehicle_text: str | bytes, proposal: Proposal) -> str:
    """The whole job file: what the vehicle's file says, then seams, strips and marks.

    `vehicle_text` must be one that `job_from_text` read for planning.
    """
    tables = _tables(vehicle_text)
    job = proposal.job
    write = _Lengths(_units(tables))
    head = HEAD.format(
        size=_size(job.strips[0], write),
        marks=sum(len(strip.at_m) for strip in job.strips),
        strips=len(job.strips),
        raised=len(job.marks),
        lopsided=write.words(SETTINGS.lopsided_m),
    )
    pictures = {camera.name: camera.picture for camera in job.cameras}
    parts = [head, *_sections(tables, pictures, write.unit)]
    # Numbered, since names of cameras joined together may be alike.
    lines = enumerate(seam_lines(job), start=1)
    parts += [_seam(f"{number}_{'_'.join(line.between)}", line, write) for number, line in lines]
    parts += [_strip(strip, write) for strip in job.strips]
    parts += [_mark(mark, write) for mark in job.marks]
    return "\n".join(parts)


def _tables(text: str | bytes) -> dict[str, object]:
    plain = text.decode("utf-8-sig") if isinstance(text, bytes) else text
    return tomllib.loads(plain.removeprefix("\ufeff"))


def _units(tables: Mapping[str, object]) -> str:
    """The unit of bare lengths; metres where the file has none, since it then needs none."""
    head = tables.get("job")
    found = head.get("units") if isinstance(head, dict) else None
    return found if isinstance(found, str) and found in UNITS else "m"


class _Lengths:
    """Writes lengths in a file's unit: bare numbers where it is metric, else feet and inches."""

    def __init__(self, unit: str) -> None:
        self.unit = unit
        self.imperial = unit in IMPERIAL

    def one(self, metres: float) -> str:
        """A length as a value of TOML, to a tenth of a millimetre or a sixteenth of an inch."""
        if self.imperial:
            return json.dumps(self.words(metres))
        return decimal_text(round(metres, 6) / float(UNITS[self.unit]), 4)

    def words(self, metres: float) -> str:
        """A length as a person says it."""
        if self.imperial:
            return feet_inches(float(metres), FINEST_FRACTION).text
        return f"{decimal_text(round(metres, 6) / float(UNITS[self.unit]), 4)} {self.unit}"

    def many(self, metres: Iterable[float] | Array) -> str:
        """A list of lengths."""
        return "[" + ", ".join(self.one(float(each)) for each in np.asarray(metres)) + "]"


def _size(strip: Strip, write: _Lengths) -> str:
    """What the marks are, with their size, in words."""
    shape = strip.shape
    match shape:
        case Cross():
            longer, shorter = sorted((shape.arm_along_m, shape.arm_across_m), reverse=True)
            return f"Crosses of {write.words(2 * longer)} by {write.words(2 * shorter)}"
        case Quadrant():
            return f"Quadrants of {write.words(2 * shape.radius_m)}"
        case Board():
            squares = sorted((shape.corners_along + 1, shape.corners_across + 1), reverse=True)
            return (
                f"Boards of {squares[0]} by {squares[1]} squares of {write.words(shape.square_m)}"
            )


def _shape(shape: MarkShape | SingleShape, write: _Lengths) -> dict[str, str]:
    """The kind of a mark and the keys of its size, as values of TOML."""
    match shape:
        case Cross():
            arms = [shape.arm_along_m, shape.arm_across_m]
            arm = write.one(arms[0]) if arms[0] == arms[1] else write.many(arms)
            return {"kind": '"cross"', "arm": arm, "line": write.one(shape.line_m)}
        case Quadrant():
            return {"kind": '"quadrant"', "radius": write.one(shape.radius_m)}
        case Board():
            corners = f"[{shape.corners_along}, {shape.corners_across}]"
            return {"kind": '"board"', "square": write.one(shape.square_m), "corners": corners}
        case BoxCorner():
            raise ValueError("no carton is ever proposed")


def _seam(name: str, line: SeamLine, write: _Lengths) -> str:
    between = ", ".join(json.dumps(each, ensure_ascii=False) for each in line.between)
    return (
        f"{_heading('seam', name)}\nbetween = [{between}]\n"
        f"from = {write.many(line.start_m)}\nto = {write.many(line.end_m)}\n"
    )


def _strip(strip: Strip, write: _Lengths) -> str:
    shape = _shape(strip.shape, write)
    keys = {
        "from": write.many(strip.from_m),
        "to": write.many(strip.to_m),
        "at": write.many(strip.at_m),
        "mark": shape.pop("kind"),
        **shape,
        "tape_width": write.one(strip.tape_width_m),
        "position_sigma": write.one(strip.position_sigma_m),
        "mark_sigma": write.one(strip.mark_sigma_m),
    }
    return _written(_heading("strip", strip.name), keys)


def _mark(mark: SingleMark, write: _Lengths) -> str:
    keys = {
        "at": write.many(mark.at_m),
        **_shape(mark.shape, write),
        "position_sigma": write.one(mark.position_sigma_m),
    }
    return _written(_heading("mark", mark.name), keys)


def _written(heading: str, keys: Mapping[str, str]) -> str:
    return "\n".join([heading, *(f"{key} = {value}" for key, value in keys.items()), ""])


# ---------------------------------------------------------------------------- the vehicle's tables


def _sections(tables: Mapping[str, object], pictures: Mapping[str, str], unit: str) -> list[str]:
    """Every table as it was typed, cameras with the name of their picture."""
    found = []
    for section, value in tables.items():
        if section in LAYOUT_SECTIONS or not isinstance(value, dict):
            continue
        if section in ("lens", "camera"):
            for name, table in value.items():
                named = {"picture": pictures[name]} if section == "camera" else {}
                found.append(_table(_heading(section, name), {**named, **table}))
        else:
            units = {"units": unit} if section == "job" else {}
            found.append(_table(_heading(section), {**value, **units}))
    return found


def _heading(*names: str) -> str:
    return "[" + ".".join(_key(name) for name in names) + "]"


def _table(heading: str, values: Mapping[str, object]) -> str:
    lines = [f"{_key(key)} = {_value(value)}" for key, value in values.items()]
    return "\n".join([heading, *lines, ""])


def _key(name: str) -> str:
    return name if BARE_KEY.fullmatch(name) else json.dumps(name, ensure_ascii=False)


def _value(value: object) -> str:
    """A value of TOML: what a job file may hold, texts, numbers, flags and lists of them."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ", ".join(_value(each) for each in value) + "]"
    return str(value)

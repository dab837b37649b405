"""Picks as a table of text: the list that is written, and what a person typed or pasted."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence

import numpy as np

from vision.documents.picks import Pick, Picked
from vision.units.errors import BadInputError, Fault, bad_input, fault_of

COLUMNS = ("camera", "mark", "x", "y")
EXPECTED = "a table with the columns camera, mark, x and y, in pixels of the screen"
LARGEST_PX = 100_000


def picks_csv(lists: Mapping[str, Sequence[Pick]]) -> str:
    """The list as CSV: camera, number, mark, x, y on the screen, and how its place is known."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["camera", "number", "mark", "x", "y", "place"])
    for picks in lists.values():
        for pick in picks:
            x, y = (f"{value:.0f}" for value in pick.screen_px)
            place = "expected" if pick.expected else "measured"
            table.writerow([pick.camera, pick.number, pick.mark, x, y, place])
    return out.getvalue()


def picks_from_text(
    data: bytes, file: str, marks: Mapping[str, Sequence[str]]
) -> tuple[Picked, ...]:
    """Picks from a table with commas, semicolons or tabs; with a heading, or camera, mark, x, y.

    `marks` names what may be picked on each camera: ids and numbers. With semicolons or tabs a
    decimal comma is one. Raises BadInputError with every fault.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise bad_input(
            "not-text", file, "text that is not UTF-8", EXPECTED, "save it as UTF-8"
        ) from None
    if "\0" in text:
        raise bad_input(
            "not-text", file, "a file that is not text", EXPECTED, "save the table as CSV"
        )
    first = text.lstrip().split("\n", 1)[0]
    mark = next((each for each in ("\t", ";") if each in first), ",")
    lines = list(csv.reader(io.StringIO(text), delimiter=mark))
    rows = [(n, [cell.strip() for cell in line]) for n, line in enumerate(lines, 1) if any(line)]
    if not rows:
        raise bad_input("no-picks", file, "an empty table", EXPECTED, "put a pick on each line")
    order = {name: index for index, name in enumerate(COLUMNS)}
    heading = [cell.lower() for cell in rows[0][1]]
    if "x" in heading or "camera" in heading:
        absent = [name for name in COLUMNS if name not in heading]
        if absent == ["mark"] and "number" in heading:
            heading[heading.index("number")], absent = "mark", []
        if absent:
            found = f"no column {' or '.join(absent)}"
            raise bad_input("missing", file, found, EXPECTED, "name the columns so", key="line 1")
        order = {name: heading.index(name) for name in COLUMNS}
        rows = rows[1:]
    faults: list[Fault] = []
    picks = []
    for number, cells in rows:
        picked = _row(file, f"line {number}", cells, order, mark, marks, faults)
        picks += [picked] if picked is not None else []
    if faults:
        raise BadInputError(faults)
    if not picks:
        raise bad_input(
            "no-picks", file, "a heading and no picks", EXPECTED, "put a pick on each line"
        )
    return tuple(picks)


def _row(
    file: str,
    key: str,
    cells: Sequence[str],
    order: Mapping[str, int],
    delimiter: str,
    marks: Mapping[str, Sequence[str]],
    faults: list[Fault],
) -> Picked | None:
    """One line's pick; what is wrong with it goes to `faults`."""
    before = len(faults)
    cell = {name: cells[i] if i < len(cells) else "" for name, i in order.items()}

    def wrong(code: str, found: str, expected: str, next_step: str) -> None:
        faults.append(fault_of(code, file, found, expected, next_step, key=key))

    camera, mark = cell["camera"], cell["mark"]
    if camera not in marks:
        wrong(
            "unknown-name",
            f"camera {camera!r}",
            f"one of {', '.join(marks)}",
            "name a camera of the job",
        )
    elif mark not in marks[camera]:
        wrong(
            "unknown-name",
            f"mark {mark!r}",
            "a mark of the job, or its number in the list",
            "correct it",
        )
    place = []
    for name in ("x", "y"):
        typed = cell[name].replace(",", ".") if delimiter != "," else cell[name]
        try:
            value = float(typed)
        except ValueError:
            value = math.nan
        if not abs(value) < LARGEST_PX:
            wrong("not-a-number", f"{name} {cell[name]!r}", "a number of pixels", "type it again")
        place.append(value)
    if len(faults) > before:
        return None
    return Picked(camera=camera, mark=mark, screen_px=np.array(place))

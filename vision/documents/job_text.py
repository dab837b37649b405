"""A proposed layout as the text of a job file, beside everything that the vehicle's file says.

What the vehicle's file says stays as it was typed, comments, units and all. What is new is written
in the file's own kind of unit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from vision.documents.check_words.saying import several
from vision.job.job import Job, SingleMark, Strip
from vision.planning.proposal import Proposal
from vision.planning.settings import SETTINGS
from vision.units.arrays import Array
from vision.units.lengths import IMPERIAL, UNITS, decimal_text, feet_inches
from vision.views.seams.lines import seam_lines

FINEST_FRACTION = 16

HEAD = """\
# Proposed by `seamtrue plan`: ready but for the pictures, which go beside this file.
# {size}; {marks} marks on {strips} strips, {raised} raised marks.
# Lopsided on purpose: the right and the rear strip lie {lopsided} farther out, and every strip has
# one mark more near its rear or left end. On a layout that is the same from front and rear, or
# from left and right, two swapped pictures would fit as well as the right ones.
# Once it is laid, `seamtrue measure --wanted` with this file prints which lengths to tape.

"""

LAYOUT_HEAD = """\
# Where the tape lies, proposed by `seamtrue init`; the job file names this file.
# {size}; {marks} marks on {strips} strips, {raised} raised marks.
# Lopsided on purpose: the right and the rear strip lie {lopsided} farther out, and every strip has
# one mark more near its rear or left end. On a layout that is the same from front and rear, or
# from left and right, two swapped pictures would fit as well as the right ones.

"""

Keys = dict[str, Any]


def job_text(vehicle_text: str | bytes, proposal: Proposal) -> str:
    """The whole job file: what the vehicle's file says, then seams, strips and marks.

    `vehicle_text` must be one that `job_from_text` read for planning, and lay nothing.
    """
    import tomlkit  # nothing else writes TOML

    text = vehicle_text if isinstance(vehicle_text, str) else vehicle_text.decode("utf-8-sig")
    document: Any = tomlkit.parse(text.removeprefix("\ufeff").replace("\r\n", "\n"))
    job, unit = proposal.job, document["job"].get("units")
    write = WrittenLengths(unit if unit in UNITS else "m")
    _put_first(document, "job", "units", write.unit)
    _add_laid(document, job, write)
    return _head(HEAD, job, write) + tomlkit.dumps(document)


def layout_text(proposal: Proposal, unit: str) -> str:
    """The layout alone, for a job that names its file in `job.layout`; lengths in `unit`."""
    import tomlkit

    job, write = proposal.job, WrittenLengths(unit)
    document: Any = tomlkit.document()
    document.add("job", _table({"units": unit}))
    body = {"length": write.one(job.vehicle.length_m), "width": write.one(job.vehicle.width_m)}
    document.add("vehicle", _table(body))
    _add_laid(document, job, write)
    return _head(LAYOUT_HEAD, job, write) + tomlkit.dumps(document)


def _table(keys: Mapping[str, Any]) -> Any:
    import tomlkit

    table = tomlkit.table()
    table.update(keys)
    table.add(tomlkit.nl())
    return table


def _add_laid(document: Any, job: Job, write: WrittenLengths) -> None:
    """Add what lies on the ground, and the seams that were not stated."""
    laid = {
        "seam": _seams(job, write),
        "strip": {strip.name: _strip(strip, write) for strip in job.strips},
        "mark": {mark.name: _mark(mark, write) for mark in job.marks},
    }
    for section, tables in laid.items():
        for name, keys in tables.items():
            _add(document, section, name, keys)


def _head(text: str, job: Job, write: WrittenLengths) -> str:
    return text.format(
        size=_size(job.strips[0], write),
        marks=sum(len(strip.at_m) for strip in job.strips),
        strips=len(job.strips),
        raised=len(job.marks),
        lopsided=write.words(SETTINGS.lopsided_m),
    )


def _put_first(parent: Any, name: str, key: str, value: str) -> None:
    """Set a key that a table lacks, before its others: at its end stand comments on the next."""
    from tomlkit.items import Table

    table: Any = parent[name]
    has_lines = isinstance(table, Table)
    body = list(table.value.body) if has_lines and key not in table else []
    for typed in [typed for typed, _ in body if typed is not None]:
        table.remove(typed)
    if body:
        table.value.body.clear()
    table.setdefault(key, value)
    for typed, item in body:
        table.add(*(each for each in (typed, item) if each is not None))


def _add(document: Any, section: str, name: str, keys: Mapping[str, Any]) -> None:
    import tomlkit
    from tomlkit.items import InlineTable

    if section not in document:
        document.add(section, tomlkit.table(is_super_table=True))
    within = document[section]
    inline = isinstance(within, InlineTable)
    table = tomlkit.inline_table() if inline else tomlkit.table()
    table.update(keys)
    if not inline:
        table.add(tomlkit.nl())
    within[name] = table


class WrittenLengths:
    """Writes lengths in a file's unit: bare numbers where it is metric, else feet and inches."""

    def __init__(self, unit: str) -> None:
        self.unit = unit
        self.imperial = unit in IMPERIAL

    def one(self, metres: float) -> str | float:
        """A length as a value of TOML, to a tenth of a millimetre or a sixteenth of an inch."""
        if self.imperial:
            return self.words(metres)
        value = float(self._decimals(metres))
        return int(value) if value.is_integer() else value

    def words(self, metres: float) -> str:
        """A length as a person says it."""
        if self.imperial:
            return feet_inches(float(metres), FINEST_FRACTION).text
        return f"{self._decimals(metres)} {self.unit}"

    def many(self, metres: Iterable[float] | Array) -> list[str | float]:
        """A list of lengths."""
        return [self.one(float(each)) for each in np.asarray(metres)]

    def _decimals(self, metres: float) -> str:
        return decimal_text(round(metres, 6) / float(UNITS[self.unit]), 4)


def _size(strip: Strip, write: WrittenLengths) -> str:
    """What the marks are, with their size, in words."""
    size = strip.shape.size
    lengths = [write.words(each) for each in size.arguments.values() if isinstance(each, float)]
    counts = [str(each) for each in size.arguments.values() if isinstance(each, int)]
    of = f"{' by '.join(counts)} squares of " if counts else ""
    return f"{several(size.code).capitalize()} of {of}{' by '.join(dict.fromkeys(lengths))}"


def _seams(job: Job, write: WrittenLengths) -> dict[str, Keys]:
    """The seams that the vehicle's file does not state."""
    stated = {frozenset(seam.between) for seam in job.seams}
    # Numbered, since names of cameras joined together may be alike.
    return {
        f"{number}_{'_'.join(line.between)}": {
            "between": list(line.between),
            "from": write.many(line.start_m),
            "to": write.many(line.end_m),
        }
        for number, line in enumerate(seam_lines(job), start=1)
        if frozenset(line.between) not in stated
    }


def _strip(strip: Strip, write: WrittenLengths) -> Keys:
    return {
        "from": write.many(strip.from_m),
        "to": write.many(strip.to_m),
        "at": write.many(strip.at_m),
        "mark": strip.shape.kind,
        **strip.shape.written(write.one),
        "tape_width": write.one(strip.tape_width_m),
        "position_sigma": write.one(strip.position_sigma_m),
        "mark_sigma": write.one(strip.mark_sigma_m),
    }


def _mark(mark: SingleMark, write: WrittenLengths) -> Keys:
    return {
        "at": write.many(mark.at_m),
        "kind": mark.shape.kind,
        **mark.shape.written(write.one),
        "position_sigma": write.one(mark.position_sigma_m),
    }

"""`job.layout`: strips, marks and seams that a job takes from another file.

That file is one that `seamtrue plan --propose` or `seamtrue init` wrote, or any other job file: of
it the tables of what lies on the ground are read, and the vehicle, which has to be the job's own,
since every place is told from the middle of its body.
"""

from __future__ import annotations

from collections.abc import Mapping

from vision.job.camera_keys import file_name
from vision.job.job import Vehicle
from vision.job.settings import SETTINGS
from vision.units.errors import BadInputError, Fault
from vision.units.length_words import LengthWords
from vision.units.lengths import IMPERIAL, UNITS
from vision.units.tables import Table, Units, describe
from vision.units.toml_text import toml_values


def layout_tables(
    top: Table, head: Table, texts: Mapping[str, bytes | None], vehicle: Vehicle | None
) -> tuple[Table, ...]:
    """The tables that say what lies on the ground: the job's, and those of its layout's file."""
    file = file_name(head, "layout") if head.has("layout") else ""
    if not file:
        return (top,)
    text = texts.get(file)
    if text is None:
        step = "put it beside the job file, or correct the name"
        head.fault(
            "no-such-file",
            "layout",
            f"no readable file {describe(file)}",
            "a file with a layout",
            step,
        )
        return (top,)
    try:
        values = toml_values(text, file, "file with a layout")
    except BadInputError as error:
        top.faults.extend(error.faults)
        return (top,)
    laid = Table(top.faults, file, "", values, Units())
    own = laid.table("job", required=False)
    if own.has("units"):
        laid.units.name = own.choice("units", tuple(UNITS)) or "m"
    if own.has("layout"):
        step = f"name the file that strips and marks stand in, instead of {file}"
        own.fault(
            "layout-of-layout",
            "layout",
            "another file again",
            "strips and marks in this file",
            step,
        )
    _same_body(laid, vehicle, top.file)
    return top, laid


def _same_body(laid: Table, vehicle: Vehicle | None, job_file: str) -> None:
    """Note a layout that was made for another body; one that states none is taken as it is."""
    values = laid.values.get("vehicle")
    if vehicle is None or not isinstance(values, dict):
        return
    faults: list[Fault] = []
    body = Table(faults, laid.file, "vehicle", values, laid.units)
    said = LengthWords(imperial=laid.units.name in IMPERIAL)
    for key, size_m in (("length", vehicle.length_m), ("width", vehicle.width_m)):
        if not body.has(key):
            continue
        planned_m = body.length(key)
        if not abs(planned_m - size_m) <= SETTINGS.strip_agreement_m and not faults:
            expected = f"{said.m(size_m)}, as {job_file} says"
            body.fault(
                "other-body",
                key,
                said.m(planned_m),
                expected,
                "have a layout made for this vehicle",
            )
    laid.faults.extend(faults)

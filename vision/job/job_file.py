"""From the text of a job file to a `Job`, or to every fault in it. No disk access.

Two steps, since a job may name lens files and the file of a layout: `named_files` lists the files
that a job needs, and `job_from_text` takes their contents. Both work on a file that is faulty
elsewhere.

One pass meets every fault: values come from `tables`, which notes what is wrong and goes on, and
nothing is made of a table in which a fault was met.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from typing import NamedTuple, TypeGuard, TypeVar

from vision.job.camera_keys import camera_of, file_name_fault, lens_of
from vision.job.display_keys import display_of
from vision.job.job import Job, StatedSeam, Tolerances, Vehicle, VehicleState
from vision.job.layout_keys import layout_tables
from vision.job.mark_keys import ends, mark_of, strip_of
from vision.job.means_keys import means_of
from vision.job.panes_keys import panes_of
from vision.job.plausible import note_impossible, unit_step
from vision.job.reading_keys import readings_of
from vision.job.sections import respell_sections, unit_of
from vision.job.settings import SETTINGS
from vision.units.errors import BadInputError, Fault
from vision.units.length_words import LengthWords
from vision.units.lengths import IMPERIAL
from vision.units.tables import Table, Units
from vision.units.toml_places import placed
from vision.units.toml_text import toml_values


class NamedPictures(NamedTuple):
    """A camera's picture as a job names it, or its several `shots`, names or patterns each.

    `picture` is None where it is left to the camera's name.
    """

    camera: str
    picture: str | None
    mirrored: bool
    shots: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedFiles:
    """The files that a job names.

    `layout` is the file that strips and marks come from, if they come from another.
    """

    lens_files: tuple[str, ...]
    pictures: tuple[NamedPictures, ...]
    layout: str | None = None

    @property
    def picture_names(self) -> tuple[str, ...]:
        """Every name and pattern of a picture."""
        every = ((each.picture, *each.shots) for each in self.pictures)
        return tuple(name for names in every for name in names if name)

    @property
    def texts(self) -> tuple[str, ...]:
        """Every file whose text belongs to the job's."""
        return tuple(dict.fromkeys((*self.lens_files, *filter(None, [self.layout]))))


def named_files(text: str | bytes) -> NamedFiles:
    """List what a job file names, as far as it can be read; never raises for a faulty file."""
    try:
        tables = toml_values(text, "", "job file")
    except BadInputError:
        tables = {}
    lenses = [table.get("file") for table in _tables_in(tables.get("lens"))]
    cameras, head = tables.get("camera"), tables.get("job")
    pictures = [
        NamedPictures(name, table.get("picture"), table.get("mirrored") is True, _shots(table))
        for name, table in (cameras.items() if isinstance(cameras, dict) else ())
        if isinstance(table, dict)
    ]
    layout = head.get("layout") if isinstance(head, dict) else None
    return NamedFiles(
        lens_files=tuple(dict.fromkeys(each for each in lenses if _is_file_name(each))),
        pictures=tuple(each for each in pictures if each[1] is None or _is_file_name(each[1])),
        layout=layout if _is_file_name(layout) else None,
    )


def _shots(table: dict[str, object]) -> tuple[str, ...]:
    those = table.get("pictures")
    return tuple(each for each in those if _is_file_name(each)) if isinstance(those, list) else ()


def _is_file_name(value: object) -> TypeGuard[str]:
    return isinstance(value, str) and file_name_fault(value) is None


def job_from_text(
    text: str | bytes,
    file: str,
    other_texts: Mapping[str, bytes | None] | None = None,
    *,
    planning: bool = False,
) -> Job:
    """Read and check a job.

    Parameters
    ----------
    text
        The job file's contents.
    file
        Its name, for messages.
    other_texts
        The contents of each file in `named_files(text).texts`; None for one that is missing.
    planning
        Whether the job is only being planned: then nothing needs to lie on the ground.

    Raises
    ------
    BadInputError
        With every fault of the job, its lens files and its layout.
    """
    faults: list[Fault] = []
    tables = toml_values(text, file, "job file")
    job = _job(Table(faults, file, "", tables, Units()), other_texts or {}, planning)
    if faults or job is None:
        layout = named_files(text).layout
        laid = (other_texts or {}).get(layout) if layout else None
        raise BadInputError(placed(faults, {layout or "": laid or "", file: text}))
    return job


def _tables_in(value: object) -> list[dict[str, object]]:
    values = value.values() if isinstance(value, dict) else ()
    return [table for table in values if isinstance(table, dict)]


# --------------------------------------------------------------------------------------- sections


def _job(top: Table, other_texts: Mapping[str, bytes | None], planning: bool) -> Job | None:
    respell_sections(top)
    head = top.table("job", required=True)
    name = head.text("name", "the job's name")
    # A wrong unit is one fault, not one for each bare length; and none where [job] is not there.
    top.units.name = unit_of(head)
    top.units.reported = not head.values
    vehicle = _vehicle(top.table("vehicle", required=True))
    laid = layout_tables(top, head, other_texts, vehicle)
    recheck = head.whole("recheck_days", *SETTINGS.recheck_days, 0)
    head.close()
    lenses = [lens_of(each, table, other_texts) for each, table in top.tables("lens")]
    lens_names = _names(top, "lens")
    cameras = {each: camera_of(each, table, lens_names) for each, table in top.tables("camera")}
    if not _names(top, "camera"):
        expected = "at least one table [camera.NAME]"
        top.lacking("no-camera", "camera", "no camera", expected, "add a camera")
    strips = _each(laid, "strip", strip_of)
    marks = _each(laid, "mark", mark_of)
    if not (planning or strips or marks):
        expected = "at least one table [strip.NAME] or [mark.NAME]"
        step = "add what lies on the ground"
        top.lacking("nothing-laid", "strip", "no strip and no mark", expected, step)
    seams = _seams(laid, _names(top, "camera"))
    readings = readings_of(top, strips, marks, cameras)
    tolerances = _tolerances(top.table("tolerance", required=False))
    means = means_of(top)
    set_on, photographed = display_of(top.table("display", required=False))
    panes = panes_of(top, tuple(cameras))
    for table in laid:
        own_strips = [strips[each] for each in _names(table, "strip")]
        own_marks = [marks[each] for each in _names(table, "mark")]
        mounted = cameras.values() if table is top else ()
        note_impossible(table, vehicle, mounted, own_strips, own_marks)
    top.close()
    if top.faults:
        return None
    assert vehicle is not None
    return Job(
        name=name,
        vehicle=vehicle,
        lenses=tuple(each for each in lenses if each),
        cameras=tuple(each for each in cameras.values() if each),
        strips=tuple(each for each in strips.values() if each),
        marks=tuple(each for each in marks.values() if each),
        seams=seams,
        readings=readings,
        tolerances=tolerances,
        means=means,
        panes=panes,
        lengths=LengthWords(imperial=top.units.name in IMPERIAL),
        display_set_on=set_on,
        recheck_days=recheck or None,
        photographed_aspect=photographed,
    )


_Laid = TypeVar("_Laid")


def _each(
    laid: tuple[Table, ...], section: str, read: Callable[[str, Table], _Laid | None]
) -> dict[str, _Laid | None]:
    """What lies on the ground, by name, of the job's own and of its layout's tables.

    None for what has a fault.
    """
    found: dict[str, _Laid | None] = {}
    for source in laid:
        for name, table in source.tables(section):
            if name in found:
                expected = f"each {section} in one of the two files"
                table.fault(
                    "name-twice",
                    "",
                    "a name that the job has as well",
                    expected,
                    "rename one of them",
                )
            found[name] = read(name, table)
    # A table that is none is at fault already, and so is nothing of what it lacks.
    return dict.fromkeys((n for t in laid for n in _names(t, section)), None) | found


def _names(top: Table, section: str) -> tuple[str, ...]:
    values = top.values.get(section)
    return tuple(values) if isinstance(values, dict) else ()


def _vehicle(table: Table) -> Vehicle | None:
    before = len(table.faults)
    length, width = (_size(table, name) for name in ("length", "width"))
    height = _size(table, "height") if table.has("height") else None
    state = _vehicle_state(table.table("state", required=False))
    known_as = table.text("id", "what the vehicle is called") if table.has("id") else None
    table.close()
    if len(table.faults) > before:
        return None
    return Vehicle(length_m=length, width_m=width, height_m=height, state=state, id=known_as)


def _size(table: Table, name: str) -> float:
    """One of the body's sizes; NaN after noting a fault."""
    size_m, (least_m, most_m) = table.length(name), SETTINGS.body_m[name]
    if size_m < least_m or size_m > most_m:
        expected = f"a length from {least_m:g} to {most_m:g} m"
        table.wrong("out-of-range", name, expected, unit_step(table.values.get(name), name))
        return math.nan
    return size_m


def _vehicle_state(table: Table) -> VehicleState:
    def words(name: str) -> str | None:
        expected = (
            f"one line of words, at most {SETTINGS.longest_state} characters, such as `as driven`"
        )
        if not table.has(name):
            return None
        text = table.text(name, expected)
        if len(text) > SETTINGS.longest_state:
            table.wrong("wrong-text", name, expected, "shorten it")
        return text.strip()

    state = VehicleState(**{each.name: words(each.name) for each in fields(VehicleState)})
    table.close()
    return state


def _seams(laid: tuple[Table, ...], cameras: tuple[str, ...]) -> tuple[StatedSeam, ...]:
    seams: list[StatedSeam] = []
    pairs: dict[frozenset[str], str] = {}
    for name, table in (each for source in laid for each in source.tables("seam")):
        before = len(table.faults)
        pair = _between(table, cameras)
        if pair and frozenset(pair) in pairs:
            found = f"the cameras of [seam.{pairs[frozenset(pair)]}] again"
            table.fault(
                "seam-twice",
                "between",
                found,
                "one seam for each two cameras",
                "remove one of them",
            )
        elif pair:
            pairs[frozenset(pair)] = name
        start, end, _ = ends(table)
        table.close()
        if len(table.faults) == before and pair and start is not None and end is not None:
            seams.append(StatedSeam(name=name, between=pair, from_m=start, to_m=end))
    return tuple(seams)


def _between(table: Table, cameras: tuple[str, ...]) -> tuple[str, str] | None:
    expected = "the names of two cameras: " + ", ".join(cameras)
    if not table.needs("between", expected):
        return None
    value = table.values["between"]
    if (
        isinstance(value, list)
        and len(value) == 2
        and all(isinstance(each, str) and each in cameras for each in value)
        and value[0] != value[1]
    ):
        return value[0], value[1]
    table.wrong("wrong-cameras", "between", expected, "name the two neighbours")
    return None


def _tolerances(table: Table) -> Tolerances:
    default = Tolerances()

    def angle(key: str, default_rad: float) -> float:
        return math.radians(table.number(key, 0, 180, math.degrees(default_rad), exclusive=True))

    tolerances = Tolerances(
        seam_gap_m=table.length("seam_gap", default.seam_gap_m),
        strip_m=table.length("strip", default.strip_m),
        aim_rad=angle("aim_deg", default.aim_rad),
        roll_rad=angle("roll_deg", default.roll_rad),
        overlap_m=table.length("overlap", default.overlap_m),
        nearest_ground_m=table.length("nearest_ground", default.nearest_ground_m),
        blur_px=table.number("blur_px", 0, 1000, default.blur_px, exclusive=True),
    )
    table.close()
    return tolerances

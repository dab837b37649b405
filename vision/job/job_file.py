"""From the text of a job file to a `Job`, or to every fault in it. No disk access.

Two steps, since a job may name lens files: `named_files` lists the files that a job needs, and
`job_from_text` takes their contents. Both work on a file that is faulty elsewhere.

One pass meets every fault: values come from `tables`, which notes what is wrong and goes on, and
nothing is made of a table in which a fault was met.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

from vision.camera.geometry import Aim
from vision.camera.lens_formats import read_lens
from vision.camera.pixel_shape import NAMED, SQUARE, PixelShape, shape_named
from vision.camera.stated_lens import StatedLens
from vision.job.job import Camera, Job, StatedSeam, Tolerances, Vehicle, VehicleState
from vision.job.mark_keys import ends, mark_of, strip_of
from vision.job.means_keys import bracket_of, means_of
from vision.job.plausible import note_impossible, unit_step
from vision.job.reading_keys import readings_of
from vision.job.settings import SETTINGS
from vision.units.errors import BadInputError, Fault
from vision.units.length_words import LengthWords
from vision.units.lengths import IMPERIAL, UNITS
from vision.units.tables import Table, Units, describe, has_control, is_number
from vision.units.toml_text import toml_values


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedFiles:
    """The files that a job names; `pictures` holds (camera, picture, mirrored)."""

    lens_files: tuple[str, ...]
    pictures: tuple[tuple[str, str, bool], ...]


def named_files(text: str | bytes) -> NamedFiles:
    """List what a job file names, as far as it can be read; never raises for a faulty file."""
    try:
        tables = toml_values(text, "", "job file")
    except BadInputError:
        tables = {}
    lenses = [table.get("file") for table in _tables_in(tables.get("lens"))]
    cameras = tables.get("camera")
    pictures = [
        (name, table["picture"], table.get("mirrored") is True)
        for name, table in (cameras.items() if isinstance(cameras, dict) else ())
        if isinstance(table, dict) and isinstance(table.get("picture"), str)
    ]
    files = [file for file in lenses if isinstance(file, str) and file_name_fault(file) is None]
    return NamedFiles(
        lens_files=tuple(dict.fromkeys(files)),
        pictures=tuple(each for each in pictures if file_name_fault(each[1]) is None),
    )


def job_from_text(
    text: str | bytes,
    file: str,
    lens_texts: Mapping[str, bytes | None] | None = None,
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
    lens_texts
        The contents of each file in `named_files(text).lens_files`; None for one that is missing.
    planning
        Whether the job is only being planned: then it needs no pictures, and nothing on the ground.
        A picture that is not named is called after its camera.

    Raises
    ------
    BadInputError
        With every fault of the job and its lens files.
    """
    faults: list[Fault] = []
    tables = toml_values(text, file, "job file")
    job = _job(Table(faults, file, "", tables, Units()), lens_texts or {}, planning)
    if faults or job is None:
        raise BadInputError(faults)
    return job


def file_name_fault(name: str) -> str | None:
    """Say what a file named in a job ought to be, or None when `name` will do."""
    if not name.strip() or len(name) > 255 or has_control(name):
        return "a file name beside the job file"
    if (
        name.startswith(("/", "\\"))
        or name[1:2] == ":"
        or ".." in name.replace("\\", "/").split("/")
    ):
        return "a file name beside the job file, without a folder above it"
    return None


def _tables_in(value: object) -> list[dict[str, object]]:
    values = value.values() if isinstance(value, dict) else ()
    return [table for table in values if isinstance(table, dict)]


# --------------------------------------------------------------------------------------- sections


def _job(top: Table, lens_texts: Mapping[str, bytes | None], planning: bool) -> Job | None:
    head = top.table("job", required=True)
    name = head.text("name", "the job's name")
    if head.has("units"):
        # A wrong unit is one fault, not one for each bare length.
        top.units.name = head.choice("units", tuple(UNITS)) or "m"
    head.close()
    vehicle = _vehicle(top.table("vehicle", required=True))
    lenses = [_lens(each, table, lens_texts) for each, table in top.tables("lens")]
    lens_names = _names(top, "lens")
    cameras = {
        each: _camera(each, table, lens_names, planning) for each, table in top.tables("camera")
    }
    if not _names(top, "camera"):
        top.fault("camera", "no camera", "at least one table [camera.NAME]", "add a camera")
    strips = {each: strip_of(each, table) for each, table in top.tables("strip")}
    marks = {each: mark_of(each, table) for each, table in top.tables("mark")}
    if not (planning or _names(top, "strip") or _names(top, "mark")):
        expected = "at least one table [strip.NAME] or [mark.NAME]"
        top.fault("strip", "no strip and no mark", expected, "add what lies on the ground")
    seams = _seams(top)
    readings = readings_of(top, strips, marks, cameras)
    tolerances = _tolerances(top.table("tolerance", required=False))
    means = means_of(top)
    note_impossible(top, vehicle, cameras.values(), strips.values(), marks.values())
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
        lengths=LengthWords(imperial=top.units.name in IMPERIAL),
    )


def _names(top: Table, section: str) -> tuple[str, ...]:
    values = top.values.get(section)
    return tuple(values) if isinstance(values, dict) else ()


def _vehicle(table: Table) -> Vehicle | None:
    before = len(table.faults)
    length, width = (_size(table, name) for name in ("length", "width"))
    height = _size(table, "height") if table.has("height") else None
    state = _vehicle_state(table.table("state", required=False))
    table.close()
    if len(table.faults) > before:
        return None
    return Vehicle(length_m=length, width_m=width, height_m=height, state=state)


def _size(table: Table, name: str) -> float:
    """One of the body's sizes; NaN after noting a fault."""
    size_m, (least_m, most_m) = table.length(name), SETTINGS.body_m[name]
    if size_m < least_m or size_m > most_m:
        expected = f"a length from {least_m:g} to {most_m:g} m"
        table.wrong(name, expected, unit_step(table.values.get(name), name))
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
            table.wrong(name, expected, "shorten it")
        return text.strip()

    state = VehicleState(**{each.name: words(each.name) for each in fields(VehicleState)})
    table.close()
    return state


def _lens(name: str, table: Table, lens_texts: Mapping[str, bytes | None]) -> StatedLens | None:
    before = len(table.faults)
    stated, from_file = table.has("field_of_view_deg"), table.has("file")
    pixels = _pixels(table) if table.has("pixel_aspect") else None
    table.close()
    if stated == from_file:
        found = "both field_of_view_deg and file" if stated else "neither"
        step = "remove one of them" if stated else "add `field_of_view_deg`"
        table.fault("", found, "either field_of_view_deg or file", step)
    degrees = math.nan
    if stated:
        degrees = table.number("field_of_view_deg", *SETTINGS.field_of_view_deg, exclusive=True)
    fitted = _lens_in_file(name, table, lens_texts) if from_file else None
    if from_file and pixels is not None:
        step = "remove `pixel_aspect`"
        table.wrong("pixel_aspect", "nothing beside a file, whose fx and fy say it", step)
    if len(table.faults) > before:
        return None
    return fitted or StatedLens(name=name, field_of_view_rad=math.radians(degrees), pixels=pixels)


def _pixels(table: Table) -> PixelShape | None:
    """The shape of a lens's pixels, a number or a standard's name; None after noting a fault."""
    value = table.values["pixel_aspect"]
    low, high = SETTINGS.pixel_aspect
    if is_number(value) and low <= float(value) <= high:
        return SQUARE if value == 1 else PixelShape(aspect=float(value))
    if isinstance(value, str) and (named := shape_named(value)) is not None:
        return named
    expected = (
        f"width over height of a pixel, from {low:g} to {high:g}, or one of "
        + "; ".join(name for name in NAMED if "samples" not in name)
        + "; with `, 720 samples` or `, 704 samples` behind it where that is known"
    )
    near = difflib.get_close_matches(str(value), NAMED, n=1)
    table.wrong(
        "pixel_aspect", expected, f"did you mean `{near[0]}`?" if near else "correct the value"
    )
    return None


def _lens_in_file(
    name: str, table: Table, lens_texts: Mapping[str, bytes | None]
) -> StatedLens | None:
    file = _file_name(table, "file")
    if not file:
        return None
    text = lens_texts.get(file)
    if text is None:
        step = "put it beside the job file, or write it with `seamtrue lens`"
        table.fault("file", f"no readable file {describe(file)}", "a lens file", step)
        return None
    return read_lens(text, file, name, table.faults)


def _file_name(table: Table, key: str) -> str:
    name = table.text(key, "a file name beside the job file")
    expected = file_name_fault(name) if name else None
    if expected:
        table.wrong(key, expected, "move the file there and name it")
    return "" if expected else name


def _camera(name: str, table: Table, lenses: tuple[str, ...], planning: bool) -> Camera | None:
    before = len(table.faults)
    unnamed = planning and not table.has("picture")
    picture = f"{name}.jpg" if unnamed else _file_name(table, "picture")
    lens = table.text("lens", "the name of a lens")
    if lens and lens not in lenses:
        near = difflib.get_close_matches(lens, lenses, n=1)
        step = f"did you mean `{near[0]}`?" if near else f"add [lens.{lens}]"
        known = ", ".join(lenses) if lenses else "a lens, of which there is none"
        table.wrong("lens", f"the name of a lens: {known}", step)
    position = table.point("position", 3)
    if position is not None and position[2] <= 0:
        table.wrong("position", "a height above the ground, z > 0", "measure the camera's height")
    sigma = table.length("position_sigma", SETTINGS.camera_sigma_m)
    pan = table.number("pan_deg", -360, 360)
    tilt = table.number("tilt_deg", -90, 90)
    roll = table.number("roll_deg", -360, 360)
    mirrored = table.flag("mirrored")
    bracket = bracket_of(table, pan)
    table.close()
    if len(table.faults) > before or position is None:
        return None
    return Camera(
        name=name,
        picture=picture,
        lens=lens,
        position_m=position,
        position_sigma_m=sigma,
        aim=Aim.from_degrees(pan, tilt, roll),
        mirrored=mirrored,
        bracket=bracket,
    )


def _seams(top: Table) -> tuple[StatedSeam, ...]:
    cameras = _names(top, "camera")
    seams: list[StatedSeam] = []
    pairs: dict[frozenset[str], str] = {}
    for name, table in top.tables("seam"):
        before = len(table.faults)
        pair = _between(table, cameras)
        if pair and frozenset(pair) in pairs:
            found = f"the cameras of [seam.{pairs[frozenset(pair)]}] again"
            table.fault("between", found, "one seam for each two cameras", "remove one of them")
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
    table.wrong("between", expected, "name the two neighbours")
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

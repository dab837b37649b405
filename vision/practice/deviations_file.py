"""What is to be drawn otherwise than the job says, from a TOML file. No disk access.

The file has one table of general matters and one for each thing that deviates; every key is
optional and all faults are met in one pass, as in a job file:

    [scene]
    units = "m"                  # unit of bare lengths in this file; metres without it
    width = 1280                 # of pictures whose lens is not fitted, px
    height = 720
    pixel_aspect = 1             # width over height of a pixel, where the job does not say
    exact_lenses = false         # true: the guess that a field of view gives, and nothing else
    fittings = false             # true: bumpers, sills, trim and mirrors stand out of the body
    small_errors = 0             # share of every stated sigma that is drawn at random, 1 is all

    [light]
    sun_elevation_deg = 30       # no sun, and so no shadow, without it
    sun_azimuth_deg = 140        # where the sun stands, counter-clockwise from straight ahead
    level = 1                    # share of daylight: 0.3 is dusk
    blur_px = 0.7                # sigma, beside the pixel's own square
    noise = 2                    # sigma, in levels of 255
    bands = 0                    # amplitude of bands by lamps on the mains, in levels of 255
    vignetting = 0.3             # share of light lost at the corners
    jpeg_quality = 92
    curved = false               # true: levels as usual cameras give them, not the light itself

    [ground]
    wet = 0                      # 0 dry to 1: darker, and mirrors body and sky
    gloss = 0                    # 0 to 1: how well the body's windows and paint mirror the yard
    lines = 0                    # painted lines across the yard, beside those of its bays
    cracks = 5
    covers = 2                   # of manholes
    leaves = 0                   # along the tapes
    turn_deg = 0                 # of the wall round the yard, so that it is another yard

    [person.anna]                # somebody who stands there
    at = [2.5, 1.5]
    height = 1.75
    facing_deg = 0               # counter-clockwise from straight ahead

    [cover.bin]                  # a thing that stands or lies there, and hides what is behind
    at = [1.5, 2.2]
    size = ["60 cm", "70 cm"]    # its length and width
    height = "1 m"               # of its top
    foot = "1 cm"                # of its lower end; on the ground without it
    turn_deg = 0                 # counter-clockwise, of its length
    colour = [40, 90, 50]        # red, green and blue, levels of 255
    bands = 0                    # light bands round it
    mottled = 0                  # 0 to 1: how strongly its colour varies
    outline = [[-1, -1], [1, -1], [0, 1]]  # a card instead of a box: its corners, in half sizes of
                                 # the two longer of length, width and height, from its middle

    [camera.front]
    pan_deg = 0                  # added to the intended angles
    tilt_deg = 5
    roll_deg = 0
    shift = [0, "1 cm", 0]       # added to the place, along x, y and z of the ground
    comb = ["2 cm", 0, 0]        # odd rows are seen later, from a place so much further on
    row_shift_px = 0.5           # odd rows lie this far to the right

    [strip.right]
    shift = [0, "-6 cm"]         # along x and y of the ground
    turn_deg = 0.2               # counter-clockwise, about the strip's middle
    bow = "2 cm"                 # its middle lies this far to the left of the line between its ends
    wrinkles = "3 mm"            # sigma of its waviness to both sides

    [mark."left/3"]              # one mark of a strip, or a single mark by its name
    shift = ["1 cm", 0]          # along x and y of the ground; a single mark may have z as well
    leaves = 2                   # on it
    torn = 0.4                   # share of its length that is torn off, at its far end
    smeared = 0.5                # share of its contrast that is rubbed away over half of it
    covered = 0.5                # share of its length under a piece of cardboard, at its near end
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, TypeVar

import numpy as np

from vision.job.job import Job
from vision.job.layout import planned_layout
from vision.practice.deviations import (
    USUAL_COLOUR,
    USUAL_HEIGHT_M,
    Cover,
    Damage,
    Deviations,
    Ground,
    Light,
    Moved,
    Person,
)
from vision.units.arrays import Array
from vision.units.errors import BadInputError, Fault
from vision.units.lengths import UNITS
from vision.units.tables import Table, Units, is_number
from vision.units.toml_text import toml_values

Ranges = Mapping[str, tuple[float, float]]
"""Keys that are numbers, from and to; whole ones where the value's own default is."""

SCENE: Ranges = {"width": (64, 4096), "height": (64, 4096), "small_errors": (0, 10)}
LIGHT: Ranges = {
    "level": (0.01, 2),
    "blur_px": (0, 20),
    "noise": (0, 100),
    "bands": (0, 100),
    "vignetting": (0, 0.95),
    "jpeg_quality": (1, 100),
}
GROUND: Ranges = {
    "wet": (0, 1),
    "gloss": (0, 1),
    "lines": (0, 100),
    "cracks": (0, 100),
    "covers": (0, 100),
    "leaves": (0, 1000),
}
DAMAGE: Ranges = {"leaves": (0, 100), "torn": (0, 1), "smeared": (0, 1), "covered": (0, 1)}
PIXEL_ASPECT = (0.5, 2.0)
LARGEST_TURN_DEG = 180.0
LARGEST_SHIFT_M = 20.0
LARGEST_BOW_M = 1.0
MOST_ROW_SHIFT_PX = 8.0
PERSON_M = (0.5, 2.5)
"""Beyond these a unit is wrong: no fault that anybody makes in a yard is so large."""

_Value = TypeVar("_Value")


def deviations_from_text(text: bytes, file: str, job: Job) -> Deviations:
    """Read and check a file of deviations for `job`; BadInputError with every fault in it."""
    faults: list[Fault] = []
    top = Table(faults, file, "", toml_values(text, file, "file of deviations"), Units())
    head = top.table("scene", required=False)
    top.units.name = head.choice("units", tuple(UNITS), "m") or "m"
    flags = {key: head.flag(key) for key in ("exact_lenses", "fittings")}
    scene = {**flags, **_figures(head, Deviations(), SCENE)}
    if head.has("pixel_aspect"):
        scene["pixel_aspect"] = head.number("pixel_aspect", *PIXEL_ASPECT)
    head.close()
    light = _light(top.table("light", required=False))
    lot = top.table("ground", required=False)
    ground = Ground(**_figures(lot, Ground(), GROUND), turn_rad=_turn(lot, "turn_deg"))
    lot.close()
    people = _each(top, "person", None, _person)
    covers = _each(top, "cover", None, _cover)
    cameras = _each(top, "camera", [camera.name for camera in job.cameras], _camera)
    for camera in job.cameras:
        if camera.name in cameras and camera.position_m[2] + cameras[camera.name].shift_m[2] <= 0:
            expected = "a camera that stays above the ground"
            key = f"camera.{camera.name}.shift"
            top.fault(
                "below-ground",
                key,
                "a shift to below the ground",
                expected,
                "correct its third number",
            )
    strips = _each(top, "strip", [strip.name for strip in job.strips], _strip)
    single = {mark.name: not mark.shape.drawn for mark in job.marks}
    ids = {str(mark_id): mark_id for mark_id in planned_layout(job).ids}
    marks = _each(top, "mark", ids, partial(_mark, single=single))
    top.close()
    if faults:
        raise BadInputError(faults)
    return Deviations(
        **scene,
        light=light,
        ground=ground,
        cameras=cameras,
        strips=strips,
        marks={ids[name]: moved for name, (moved, _) in marks.items()},
        damages={ids[name]: done for name, (_, done) in marks.items() if done != Damage()},
        people=tuple(people.values()),
        covers=tuple(covers.values()),
    )


def _figures(table: Table, usual: object, ranges: Ranges) -> dict[str, Any]:
    """Numbers of a table, by key; what it does not say is as `usual` has it."""
    found: dict[str, Any] = {}
    for key, (low, high) in ranges.items():
        default = getattr(usual, key)
        if isinstance(default, int):
            found[key] = table.whole(key, int(low), int(high), default)
        else:
            found[key] = table.number(key, low, high, default)
    return found


def _each(
    top: Table, section: str, names: Collection[str] | None, read: Callable[[str, Table], _Value]
) -> dict[str, _Value]:
    """Read every table of a section; the names are free, or must be those of the job."""
    found = {}
    for name, table in top.tables(section, names):
        found[name] = read(name, table)
        table.close()
    return found


def _light(table: Table) -> Light:
    light = Light(**_figures(table, Light(), LIGHT), curved=table.flag("curved"))
    azimuth = math.radians(table.number("sun_azimuth_deg", -360, 360, 0.0))
    if table.has("sun_elevation_deg"):
        elevation = math.radians(table.number("sun_elevation_deg", 1, 90))
        light = replace(light, sun_elevation_rad=elevation, sun_azimuth_rad=azimuth)
    elif "sun_azimuth_deg" in table.values:
        expected = "the sun's elevation with its azimuth"
        table.fault("missing", "sun_elevation_deg", "nothing", expected, "add `sun_elevation_deg`")
    table.close()
    return light


def _person(name: str, table: Table) -> Person:
    at = table.lengths("at", (2,), "[x, y], each a length") or (0.0, 0.0)
    tall = table.length("height", USUAL_HEIGHT_M)
    if table.has("height") and not PERSON_M[0] <= tall <= PERSON_M[1]:
        table.wrong(
            "out-of-range", "height", f"{PERSON_M[0]:g} m to {PERSON_M[1]:g} m", "check the unit"
        )
    _within(table, "at", at, LARGEST_SHIFT_M, " away")
    return Person(
        name=name,
        at_m=(at[0], at[1]),
        height_m=tall,
        facing_rad=_turn(table, "facing_deg"),
    )


def _cover(name: str, table: Table) -> Cover:
    at = table.lengths("at", (2,), "[x, y], each a length") or (0.0, 0.0)
    size = table.lengths("size", (2,), "[length, width], each a length") or (1.0, 1.0)
    top, foot = table.length("height"), table.length("foot", 0.0)
    if min(size) <= 0:
        table.wrong("not-above-zero", "size", "lengths above zero", "write what was measured")
    if foot >= top:
        table.wrong("wrong-order", "foot", "a foot below the top", "correct it")
    for key, values in (("at", at), ("size", size), ("height", (top,))):
        _within(table, key, values, LARGEST_SHIFT_M)
    colour = USUAL_COLOUR
    if table.has("colour"):
        red, green, blue = table.numbers("colour", 3) or (0.0, 0.0, 0.0)
        colour = (blue, green, red)
        if not 0 <= min(colour) <= max(colour) <= 255:
            table.wrong("out-of-range", "colour", "levels from 0 to 255")
    return Cover(
        name=name,
        at_m=(at[0], at[1]),
        size_m=(size[0], size[1]),
        height_m=top,
        foot_m=foot,
        turn_rad=_turn(table, "turn_deg"),
        outline=_outline(table) if table.has("outline") else None,
        colour=colour,
        bands=table.whole("bands", 0, 20, 0),
        mottled=table.number("mottled", 0, 1, 0.0),
    )


def _outline(table: Table) -> Array | None:
    """The corners (n, 2) of a card; None after noting a fault."""
    value = table.values["outline"]
    corners = [
        corner
        for corner in (value if isinstance(value, list) else [])
        if isinstance(corner, list) and len(corner) == 2 and all(map(is_number, corner))
    ]
    if corners == value and len(corners) >= 3 and np.abs(corners).max() <= 1:
        return np.array(corners, dtype=np.float64)
    expected = "three corners or more, each two numbers from -1 to 1"
    table.wrong("wrong-outline", "outline", expected, "write it in half sizes from the middle")
    return None


def _within(
    table: Table, key: str, values: Sequence[float] | Array, largest_m: float, words: str = ""
) -> None:
    if np.abs(values).max() > largest_m:
        table.wrong("out-of-range", key, f"at most {largest_m:g} m{words}", "check the unit")


def _turn(table: Table, key: str) -> float:
    turn = table.number(key, -LARGEST_TURN_DEG, LARGEST_TURN_DEG, 0.0)
    return math.radians(np.nan_to_num(turn))


def _shift(table: Table, sizes: tuple[int, ...], key: str = "shift") -> Array:
    """A shift (3,) in m along the ground's axes; what is not given is 0."""
    shift = np.zeros(3)
    if table.has(key):
        words = " or ".join("[x, y]" if size == 2 else "[x, y, z]" for size in sizes)
        given = table.lengths(key, sizes, f"{words}, each a length")
        shift[: len(given)] = given
        _within(table, key, shift, LARGEST_SHIFT_M)
    return shift


def _camera(name: str, table: Table) -> Moved:
    turns = [_turn(table, key) for key in ("pan_deg", "tilt_deg", "roll_deg")]
    row_shift = table.number("row_shift_px", -MOST_ROW_SHIFT_PX, MOST_ROW_SHIFT_PX, 0.0)
    return Moved(
        shift_m=_shift(table, (3,)),
        turn_rad=np.array(turns),
        comb_m=_shift(table, (3,), "comb"),
        row_shift_px=row_shift,
    )


def _strip(name: str, table: Table) -> Moved:
    turn = _turn(table, "turn_deg")
    bow = table.metres("bow", table.values["bow"]) if table.has("bow") else 0.0
    wrinkles = table.length("wrinkles", 0.0)
    for key, value in (("bow", bow), ("wrinkles", wrinkles)):
        _within(table, key, [value], LARGEST_BOW_M)
    return Moved(
        shift_m=_shift(table, (2,)),
        turn_rad=np.array([turn, 0.0, 0.0]),
        bow_m=bow,
        wrinkles_m=wrinkles,
    )


def _mark(name: str, table: Table, single: Mapping[str, bool]) -> tuple[Moved, Damage]:
    """How a mark is moved and what was done to it; `single` tells which are a carton's corner."""
    done = [key for key in DAMAGE if key in table.values]
    if done and single.get(name):
        expected = "a mark that is drawn on something; a carton's corner is not"
        table.fault("not-drawn", done[0], "a box corner", expected, f"remove `{done[0]}`")
    damage = Damage(**_figures(table, Damage(), DAMAGE))
    return Moved(shift_m=_shift(table, (2, 3) if name in single else (2,))), damage

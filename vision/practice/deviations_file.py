"""What is to be drawn otherwise than the job says, from a TOML file. No disk access.

The file has one table of general matters and one for each thing that deviates; every key is
optional and all faults are met in one pass, as in a job file:

    [scene]
    units = "m"                  # unit of bare lengths in this file; metres without it
    width = 1280                 # of pictures whose lens is not fitted, px
    height = 720
    exact_lenses = false         # true: the guess that a field of view gives, and nothing else
    small_errors = 0             # share of every stated sigma that is drawn at random, 1 is all

    [light]
    sun_elevation_deg = 30       # no sun, and so no shadow, without it
    sun_azimuth_deg = 140        # where the sun stands, counter-clockwise from straight ahead
    level = 1                    # share of daylight: 0.3 is dusk
    blur_px = 0.7                # sigma, beside the pixel's own square
    noise = 2                    # sigma, in levels of 255
    vignetting = 0.3             # share of light lost at the corners
    jpeg_quality = 92

    [ground]
    wet = 0                      # 0 dry to 1: darker, and mirrors body and sky
    gloss = 0                    # 0 to 1: how well the body's windows and paint mirror the yard
    lines = 0                    # painted lines across the yard, beside those of its bays
    cracks = 5
    covers = 2                   # of manholes
    leaves = 0                   # along the tapes

    [person.anna]                # somebody who stands there
    at = [2.5, 1.5]
    height = 1.75
    facing_deg = 0               # counter-clockwise from straight ahead

    [camera.front]
    pan_deg = 0                  # added to the intended angles
    tilt_deg = 5
    roll_deg = 0
    shift = [0, "1 cm", 0]       # added to the place, along x, y and z of the ground

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

import difflib
import math
import tomllib
from collections.abc import Callable, Iterable

import numpy as np

from vision.job.job import BoxCorner, Job
from vision.job.layout import planned_layout
from vision.practice.deviations import (
    HEIGHT_PX,
    WIDTH_PX,
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
from vision.units.tables import Table, Units

LARGEST_BYTES = 1_000_000
SMALLEST_SIDE_PX, LARGEST_SIDE_PX = 64, 4096
LARGEST_TURN_DEG = 180.0
LARGEST_SHIFT_M = 20.0
"""Further away is a slip in the unit, not a fault anybody makes in a yard."""
LARGEST_BOW_M = 1.0
MOST_THINGS, MOST_LEAVES = 100, 1000
PERSON_M = (0.5, 2.5)


def deviations_from_text(text: bytes, file: str, job: Job) -> Deviations:
    """Read and check a file of deviations for `job`; BadInputError with every fault in it."""
    faults: list[Fault] = []
    top = Table(faults, file, "", _toml(text, file), Units())
    head = top.table("scene", required=False)
    if head.has("units"):
        top.units.name = head.choice("units", tuple(UNITS)) or "m"
    head.units.name = top.units.name or "m"
    size = [
        head.whole(name, SMALLEST_SIDE_PX, LARGEST_SIDE_PX) if head.has(name) else default
        for name, default in (("width", WIDTH_PX), ("height", HEIGHT_PX))
    ]
    exact, small = head.flag("exact_lenses"), head.number("small_errors", 0, 10, 0.0)
    head.close()
    light = _light(top.table("light", required=False))
    ground = _ground(top.table("ground", required=False))
    people = _people(top)
    cameras = _each(top, "camera", (camera.name for camera in job.cameras), _camera)
    for camera in job.cameras:
        if camera.name in cameras and camera.position_m[2] + cameras[camera.name].shift_m[2] <= 0:
            expected = "a camera that stays above the ground"
            key = f"camera.{camera.name}.shift"
            top.fault(key, "a shift to below the ground", expected, "correct its third number")
    strips = _each(top, "strip", (strip.name for strip in job.strips), _strip)
    marks, damages = _marks(top, job)
    top.close()
    if faults:
        raise BadInputError(faults)
    return Deviations(
        width=size[0],
        height=size[1],
        exact_lenses=exact,
        small_errors=small,
        light=light,
        ground=ground,
        cameras=cameras,
        strips=strips,
        marks=marks,
        damages=damages,
        people=people,
    )


def _marks(top: Table, job: Job) -> tuple[dict[str, Moved], dict[str, Damage]]:
    """How marks are moved, and what was done to them, by their ids."""
    single = {mark.name for mark in job.marks}
    bare = {mark.name for mark in job.marks if isinstance(mark.shape, BoxCorner)}
    damages: dict[str, Damage] = {}

    def mark(table: Table) -> Moved:
        name = table.path.removeprefix("mark.")
        damage = _damage(table, name in bare)
        if damage != Damage():
            damages[name] = damage
        return _mark(table, name in single)

    return _each(top, "mark", planned_layout(job).ids, mark), damages


def _toml(text: bytes, file: str) -> dict[str, object]:
    found = ""
    if len(text) > LARGEST_BYTES:
        found = f"{len(text) / 1e6:.1f} MB"
    else:
        try:
            return tomllib.loads(text.decode("utf-8-sig"))
        except RecursionError:
            found = "brackets nested too deeply"
        except ValueError as error:
            found = f"text that is not TOML in UTF-8 ({str(error)[:200]})"
    expected = "a file of deviations in TOML"
    raise BadInputError(
        [Fault(file=file, key="", found=found, expected=expected, next_step="correct the file")]
    )


def _light(table: Table) -> Light:
    default = Light()
    elevation = None
    if table.has("sun_elevation_deg"):
        elevation = math.radians(table.number("sun_elevation_deg", 1, 90))
    azimuth = table.number("sun_azimuth_deg", -360, 360, 0.0)
    if elevation is None and "sun_azimuth_deg" in table.values:
        expected = "the sun's elevation with its azimuth"
        table.fault("sun_elevation_deg", "nothing", expected, "add `sun_elevation_deg`")
    quality = table.whole("jpeg_quality", 1, 100) if table.has("jpeg_quality") else None
    light = Light(
        sun_elevation_rad=elevation,
        sun_azimuth_rad=math.radians(azimuth),
        level=table.number("level", 0.01, 2, default.level),
        blur_px=table.number("blur_px", 0, 20, default.blur_px),
        noise=table.number("noise", 0, 100, default.noise),
        vignetting=table.number("vignetting", 0, 0.95, default.vignetting),
        jpeg_quality=default.jpeg_quality if quality is None else quality,
    )
    table.close()
    return light


def _ground(table: Table) -> Ground:
    default = Ground()

    def count(key: str, most: int = MOST_THINGS) -> int:
        given = table.whole(key, 0, most) if table.has(key) else None
        return int(getattr(default, key)) if given is None else given

    ground = Ground(
        wet=table.number("wet", 0, 1, default.wet),
        gloss=table.number("gloss", 0, 1, default.gloss),
        lines=count("lines"),
        cracks=count("cracks"),
        covers=count("covers"),
        leaves=count("leaves", MOST_LEAVES),
    )
    table.close()
    return ground


def _people(top: Table) -> tuple[Person, ...]:
    """Read every [person.NAME]; the names are free."""
    if not top.has("person"):
        return ()
    values = top.values["person"]
    if not isinstance(values, dict):
        top.wrong("person", "tables [person.NAME]")
        return ()
    people = []
    for name, inner in values.items():
        table = Table(top.faults, top.file, f"person.{name}", {}, top.units)
        if not isinstance(inner, dict):
            table.fault("", "no table", f"a table [person.{name}]", "give it keys")
            continue
        table.values = inner
        at = table.lengths("at", (2,), "[x, y], each a length")
        tall = table.length("height", 1.75)
        if table.has("height") and not PERSON_M[0] <= tall <= PERSON_M[1]:
            table.wrong("height", f"{PERSON_M[0]:g} m to {PERSON_M[1]:g} m", "check the unit")
        if at and max(map(abs, at)) > LARGEST_SHIFT_M:
            table.wrong("at", f"at most {LARGEST_SHIFT_M:g} m away", "check the unit")
        facing = np.nan_to_num(_turn(table, "facing_deg"))
        table.close()
        if len(at) == 2:
            place = (at[0], at[1])
            people.append(Person(name=name, at_m=place, height_m=tall, facing_rad=float(facing)))
    return tuple(people)


def _each(
    top: Table, section: str, names: Iterable[str], read: Callable[[Table], Moved]
) -> dict[str, Moved]:
    """Read every table of a section, whose names must be those of the job."""
    if not top.has(section):
        return {}
    values = top.values[section]
    if not isinstance(values, dict):
        top.wrong(section, f"tables [{section}.NAME]")
        return {}
    known, moved = tuple(names), {}
    for name, inner in values.items():
        table = Table(top.faults, top.file, f"{section}.{name}", {}, top.units)
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            step = f"did you mean `{near[0]}`?" if near else "name one of the job's"
            table.fault("", "a name that the job does not have", f"a {section} of the job", step)
        elif not isinstance(inner, dict):
            table.fault("", "no table", f"a table [{section}.{name}]", "give it keys")
        else:
            table.values = inner
            moved[name] = read(table)
            table.close()
    return moved


def _turn(table: Table, key: str) -> float:
    return math.radians(table.number(key, -LARGEST_TURN_DEG, LARGEST_TURN_DEG, 0.0))


def _shift(table: Table, sizes: tuple[int, ...]) -> Array:
    """A shift (3,) in m along the ground's axes; what is not given is 0."""
    shift = np.zeros(3)
    if table.has("shift"):
        words = " or ".join("[x, y]" if size == 2 else "[x, y, z]" for size in sizes)
        given = table.lengths("shift", sizes, f"{words}, each a length")
        shift[: len(given)] = given
        if np.abs(shift).max() > LARGEST_SHIFT_M:
            table.wrong("shift", f"at most {LARGEST_SHIFT_M:g} m", "check the unit")
    return shift


def _camera(table: Table) -> Moved:
    turns = [_turn(table, key) for key in ("pan_deg", "tilt_deg", "roll_deg")]
    return Moved(shift_m=_shift(table, (3,)), turn_rad=np.nan_to_num(turns))


def _strip(table: Table) -> Moved:
    turn = np.nan_to_num(_turn(table, "turn_deg"))
    bow = table.metres("bow", table.values["bow"]) if table.has("bow") else 0.0
    wrinkles = table.length("wrinkles", 0.0)
    for key, value in (("bow", bow), ("wrinkles", wrinkles)):
        if abs(value) > LARGEST_BOW_M:
            table.wrong(key, f"at most {LARGEST_BOW_M:g} m", "check the unit")
    return Moved(
        shift_m=_shift(table, (2,)),
        turn_rad=np.array([turn, 0.0, 0.0]),
        bow_m=float(np.nan_to_num(bow)),
        wrinkles_m=float(np.nan_to_num(wrinkles)),
    )


def _damage(table: Table, bare: bool) -> Damage:
    """What was done to a mark; nothing can be done to a carton's corner."""
    keys = [key for key in ("leaves", "torn", "smeared", "covered") if key in table.values]
    if bare and keys:
        expected = "a mark that is drawn on something; a carton's corner is not"
        table.fault(keys[0], "a box corner", expected, f"remove `{keys[0]}`")
    return Damage(
        leaves=(table.whole("leaves", 0, MOST_THINGS) or 0) if table.has("leaves") else 0,
        torn=float(np.nan_to_num(table.number("torn", 0, 1, 0.0))),
        smeared=float(np.nan_to_num(table.number("smeared", 0, 1, 0.0))),
        covered=float(np.nan_to_num(table.number("covered", 0, 1, 0.0))),
    )


def _mark(table: Table, single: bool) -> Moved:
    return Moved(shift_m=_shift(table, (2, 3) if single else (2,)))

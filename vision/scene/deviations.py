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
    blur_px = 0.7                # sigma, beside the pixel's own square
    noise = 2                    # sigma, in levels of 255
    vignetting = 0.3             # share of light lost at the corners
    jpeg_quality = 92

    [camera.front]
    pan_deg = 0                  # added to the intended angles
    tilt_deg = 5
    roll_deg = 0
    shift = [0, "1 cm", 0]       # added to the place, along x, y and z of the ground

    [strip.right]
    shift = [0, "-6 cm"]         # along x and y of the ground
    turn_deg = 0.2               # counter-clockwise, about the strip's middle

    [mark."left/3"]              # one mark of a strip, or a single mark by its name
    shift = ["1 cm", 0]          # along x and y of the ground; a single mark may have z as well
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from vision.errors import BadInputError, Fault
from vision.geometry import Array, frozen_array
from vision.job import Job
from vision.layout import planned_layout
from vision.lengths import UNITS
from vision.tables import Table, Units

LARGEST_BYTES = 1_000_000
SMALLEST_SIDE_PX, LARGEST_SIDE_PX = 64, 4096
LARGEST_TURN_DEG = 180.0
LARGEST_SHIFT_M = 20.0
"""Further away is a slip in the unit, not a fault anybody makes in a yard."""
WIDTH_PX, HEIGHT_PX = 1280, 720


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Light and camera electronics.

    The sun's azimuth is the direction in which it stands, counter-clockwise from straight ahead;
    its elevation is None where there is none. `blur_px` is a sigma beside the pixel's own square,
    `noise` a sigma in levels of 255, `vignetting` the share of light lost in the corners.
    """

    sun_elevation_rad: float | None = None
    sun_azimuth_rad: float = 0.0
    blur_px: float = 0.7
    noise: float = 2.0
    vignetting: float = 0.3
    jpeg_quality: int = 92

    @property
    def to_sun(self) -> Array | None:
        """Unit vector (3,) towards the sun in ground coordinates; None where there is none."""
        if self.sun_elevation_rad is None:
            return None
        up, turn = self.sun_elevation_rad, self.sun_azimuth_rad
        return np.array([np.cos(up) * np.cos(turn), np.cos(up) * np.sin(turn), np.sin(up)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moved:
    """How one thing deviates: a shift (3,) along the ground's axes in m and turns in radians.

    A camera has three turns, added to pan, tilt and roll; a strip has one, about its middle, in the
    first place; a mark has none.
    """

    shift_m: Array = field(default_factory=lambda: np.zeros(3))
    turn_rad: Array = field(default_factory=lambda: np.zeros(3))

    def __post_init__(self) -> None:
        for name in ("shift_m", "turn_rad"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (3,), name))


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviations:
    """Everything that is to be drawn otherwise than planned; by default nothing is."""

    width: int = WIDTH_PX
    height: int = HEIGHT_PX
    exact_lenses: bool = False
    small_errors: float = 0.0
    light: Light = field(default_factory=Light)
    cameras: Mapping[str, Moved] = field(default_factory=dict)
    strips: Mapping[str, Moved] = field(default_factory=dict)
    marks: Mapping[str, Moved] = field(default_factory=dict)


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
    cameras = _each(top, "camera", (camera.name for camera in job.cameras), _camera)
    for camera in job.cameras:
        if camera.name in cameras and camera.position_m[2] + cameras[camera.name].shift_m[2] <= 0:
            expected = "a camera that stays above the ground"
            key = f"camera.{camera.name}.shift"
            top.fault(key, "a shift to below the ground", expected, "correct its third number")
    strips = _each(top, "strip", (strip.name for strip in job.strips), _strip)
    raised = {mark.name for mark in job.marks}
    ids = planned_layout(job).ids
    marks = _each(top, "mark", ids, lambda table: _mark(table, table.path[5:] in raised))
    top.close()
    if faults:
        raise BadInputError(faults)
    return Deviations(
        width=size[0],
        height=size[1],
        exact_lenses=exact,
        small_errors=small,
        light=light,
        cameras=cameras,
        strips=strips,
        marks=marks,
    )


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
        blur_px=table.number("blur_px", 0, 20, default.blur_px),
        noise=table.number("noise", 0, 100, default.noise),
        vignetting=table.number("vignetting", 0, 0.95, default.vignetting),
        jpeg_quality=default.jpeg_quality if quality is None else quality,
    )
    table.close()
    return light


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
    return Moved(shift_m=_shift(table, (2,)), turn_rad=np.array([turn, 0.0, 0.0]))


def _mark(table: Table, single: bool) -> Moved:
    return Moved(shift_m=_shift(table, (2, 3) if single else (2,)))

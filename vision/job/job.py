"""What a person tells about the job, as values: vehicle, cameras, strips, marks, tolerances.

Everything is in SI units and radians here; degrees, feet and inches stay in the file. Reading and
checking a job file is the work of `job_file`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal

import numpy as np

from vision.camera.geometry import Aim
from vision.camera.stated_lens import StatedLens
from vision.job.kinds.mark_shape import MarkShape
from vision.job.mark_id import PlaceId
from vision.units.arrays import Array, frozen_array
from vision.units.length_words import METRIC, LengthWords
from vision.units.plain import written

Ink = Literal["dark", "light"]


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleState:
    """How the vehicle stood when marks and pictures were made, in the person's own words.

    None where nothing was written. A camera moves with the body: other load, air or doors, and the
    same layout gives another aim.
    """

    load: str | None = written(missing="not-said", default=None)
    suspension_height: str | None = written(missing="not-said", default=None)
    tyre_pressure: str | None = written(missing="not-said", default=None)
    doors: str | None = written(missing="not-said", default=None)
    mirrors: str | None = written(missing="not-said", default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """The body as a box on the ground, centred on the origin; `height_m` may be unknown.

    `id` is what the vehicle is called among others; None where nobody says.
    """

    length_m: float = written(5)
    width_m: float = written(5)
    height_m: float | None = written(5, missing="no-height", default=None)
    state: VehicleState = field(default_factory=VehicleState)
    id: str | None = written(optional=True, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bracket:
    """What a camera's bracket lets be turned: lowest and highest aim; None for what is fixed."""

    pan_rad: tuple[float, float] | None = None
    tilt_rad: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Camera:
    """A camera as mounted and as intended to look. `picture` is a file name or a pattern.

    `shots` are the names or patterns of all its pictures where several are given, else none.
    `bracket` is for planning alone: it says which other aims could be had. `mounted_on` names the
    part of the body that carries it, where that is not the body itself; `moving_px` (left, top,
    width, height of each) are the parts of its picture, as delivered, in which things move.
    """

    name: str
    picture: str
    lens: str
    position_m: Array
    position_sigma_m: float
    aim: Aim
    mirrored: bool = False
    bracket: Bracket | None = None
    shots: tuple[str, ...] = ()
    mounted_on: str = ""
    moving_px: tuple[tuple[float, float, float, float], ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen_array(self.position_m, (3,), "position"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Panes:
    """Pictures that stand for several cameras are cut into panes.

    `stated_px`: by camera left, top, width and height in px; empty where they are to be found.
    """

    stated_px: Mapping[str, tuple[int, int, int, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """A straight length of tape with marks; `at_m` (n,) are distances from the first mark."""

    name: str
    from_m: Array
    to_m: Array
    at_m: Array
    shape: MarkShape
    tape_width_m: float
    ink: Ink = "dark"
    position_sigma_m: float
    mark_sigma_m: float = 0.003

    def __post_init__(self) -> None:
        for name, shape in (("from_m", (2,)), ("to_m", (2,)), ("at_m", (None,))):
            object.__setattr__(self, name, frozen_array(getattr(self, name), shape, name))

    @property
    def length_m(self) -> float:
        """Distance from the first mark to the last as planned."""
        return float(np.linalg.norm(self.to_m - self.from_m))

    @property
    def along(self) -> Array:
        """Unit vector (2,) from the first mark to the last."""
        return (self.to_m - self.from_m) / self.length_m


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SingleMark:
    """A mark of its own; with z above 0 it is a raised mark, facing up."""

    name: str
    at_m: Array
    shape: MarkShape
    position_sigma_m: float
    ink: Ink = "dark"

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_m", frozen_array(self.at_m, (3,), "at"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StatedSeam:
    """A seam that the job states: a line on the ground between two views, near end first."""

    name: str
    between: tuple[str, str]
    from_m: Array
    to_m: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "from_m", frozen_array(self.from_m, (2,), "from"))
        object.__setattr__(self, "to_m", frozen_array(self.to_m, (2,), "to"))


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthReading:
    """A length that somebody taped: between two places, or from one to the body's centre line.

    `between` names marks or cameras, two of them, or one where `kind` is "offset". `sigma_m` is
    the reading's own; with `tape`, all readings of that tape share one more error, a scale of
    sigma `scale_sigma` (metres in a metre).
    """

    kind: Literal["distance", "diagonal", "offset"]
    between: tuple[PlaceId, ...]
    value_m: float
    sigma_m: float
    tape: str | None = None
    scale_sigma: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleReading:
    """A camera's tilt or roll, or both, as a tool showed them on its housing.

    A bubble or an electronic gauge reads `against` gravity, a square that stands on the ground
    reads against the ground; None for an angle that was not read.
    """

    camera: str
    tilt_rad: float | None
    roll_rad: float | None
    against: Literal["gravity", "ground"]
    sigma_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelReading:
    """How much the ground under the vehicle, or the body's floor, rises ahead or to the left.

    A bubble or a phone shows it against gravity; `rise` is the tangent, positive where that end is
    the higher one, `sigma` its standard deviation.
    """

    on: Literal["ground", "floor"]
    along: Literal["ahead", "left"]
    rise: float
    sigma: float


Reading = LengthReading | AngleReading | LevelReading


@dataclass(frozen=True, slots=True, kw_only=True)
class Means:
    """What there is to lay a layout with, for planning alone; None where there is no limit.

    The lot is a rectangle along and across the vehicle, centred on it; `tape_longest_m` the longest
    strip that is laid in one piece, and `tape_width_m` the widest tape.
    """

    lot_length_m: float | None = None
    lot_width_m: float | None = None
    tape_longest_m: float | None = None
    tape_width_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """What the person accepts; the defaults, the job file's, are common practice, no source."""

    seam_gap_m: float = written(6, default=0.05)
    strip_m: float = written(6, default=0.03)
    aim_rad: float = written(6, degrees=True, default=float(np.radians(3)))
    roll_rad: float = written(6, degrees=True, default=float(np.radians(2)))
    overlap_m: float = written(6, default=0.5)
    nearest_ground_m: float = written(6, default=0.5)
    blur_px: float = written(6, default=2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """The whole job. Tuples keep the order of the file; names are unique within each.

    `lengths` writes lengths for whoever reads about the job, as its `units` say. `display_set_on`
    is the day on which the display was last set; None where nobody says. `recheck_days` is how long
    a check is good for; None where nobody says. `photographed_aspect` is the width over the height
    of its screen where the pictures are photographs of that.
    """

    name: str
    vehicle: Vehicle
    lenses: tuple[StatedLens, ...]
    cameras: tuple[Camera, ...]
    strips: tuple[Strip, ...]
    marks: tuple[SingleMark, ...] = ()
    seams: tuple[StatedSeam, ...] = ()
    readings: tuple[Reading, ...] = ()
    tolerances: Tolerances = field(default_factory=Tolerances)
    means: Means = field(default_factory=Means)
    lengths: LengthWords = METRIC
    display_set_on: date | None = None
    recheck_days: int | None = None
    panes: Panes | None = None
    photographed_aspect: float | None = None

    def to_fraction(self, fraction: int) -> Job:
        """The same job with inches no finer than 1/`fraction`."""
        return replace(self, lengths=replace(self.lengths, fraction=fraction))

    def camera(self, name: str) -> Camera:
        """The camera called `name`."""
        return next(camera for camera in self.cameras if camera.name == name)

    def set_up_for(self, place_m: Array) -> Camera:
        """The camera that a carton with its corner at a place was set up for: the nearest."""
        return min(self.cameras, key=lambda each: float(np.hypot(*(each.position_m - place_m)[:2])))

    def lens_of(self, camera: Camera) -> StatedLens:
        """The stated lens that `camera` names."""
        return next(lens for lens in self.lenses if lens.name == camera.lens)

    def strip(self, name: str) -> Strip:
        """The strip called `name`."""
        return next(strip for strip in self.strips if strip.name == name)

    def mark(self, name: str) -> SingleMark:
        """The single mark called `name`."""
        return next(mark for mark in self.marks if mark.name == name)

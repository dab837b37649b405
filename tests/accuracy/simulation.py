"""Simulated jobs: their truth drawn from what they state, their marks seen without pictures.

Jobs like sample_frames/clear_day: its layout, cameras and stated fields of view. Each job draws its
truth from the sigmas that the job states (lens curve and centre, mountings, strip ends and bow,
every mark's own place) and pixel noise; marks that the body hides, that lie outside the picture or
would be too small to find are left out. Readings get an error of their stated sigma.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.spatial.transform import Rotation

from vision.adjustment.adjusted import AdjustedCamera, CameraObservations
from vision.adjustment.groups import Group
from vision.adjustment.plan_fit import PlanFit, Points, fit_plan
from vision.adjustment.settings import SETTINGS as ADJUSTMENT
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import SAME_TYPE_ROWS, LensPrior, lens_prior
from vision.camera.settings import SETTINGS
from vision.camera.solver import NoFit
from vision.camera.stated_lens import StatedLens
from vision.job.job import AngleReading, Camera, Job, LengthReading, LevelReading, Reading
from vision.job.layout import place_sigma_m, planned_layout
from vision.job.mark_id import MarkId
from vision.job.visibility import sees
from vision.units.arrays import Array
from vision.views.ground import ground_map

WIDTH, HEIGHT = 1280, 720
PIXEL_SIGMA_PX = (0.06, 0.1)
AIM_SIGMA_DEG = 3.0
START_SIGMA = 0.02
"""Of the six steps, m and rad, by which a camera's own fit starts beside its true pose."""

HALF_EXTENT_M = (0.12, 0.082)
LEAST_EXTENT_PX = 12.0
"""The sample's crosses along and across, and the size in the picture below which none is found."""

LEAST_LIMIT_DEG = 95.0
"""A drawn lens whose curve turns over in its field is no lens: draw again."""

TAPE_SCALE_SIGMA = 1.2e-4


def drawn_lens(prior: LensPrior, rng: np.random.Generator) -> Lens:
    """Draw a lens from the prior on its curve."""
    assert prior.curve_rows is not None
    spread = np.linalg.inv(prior.curve_rows.T @ prior.curve_rows)
    powers = prior.edge_rad ** np.array([2, 4, 6, 8])
    mean = np.array([1.0, *(prior.guess.k * powers)])
    while True:
        a = rng.multivariate_normal(mean, spread)
        k = a[1:] / a[0] / powers
        focal = float(np.sqrt(prior.guess.fx * prior.guess.fy)) * a[0]
        aspect = np.sqrt(prior.guess.fx / prior.guess.fy) * np.exp(
            rng.normal(0, SETTINGS.aspect_sigma) / 2
        )
        off_px = rng.normal(0, prior.centre_sigma_px, 2)
        cx, cy = np.array([prior.guess.cx, prior.guess.cy]) + off_px
        if focal <= 0:
            continue
        lens = replace(prior.guess, fx=focal * aspect, fy=focal / aspect, cx=cx, cy=cy, k=k)
        if lens.monotone_limit_rad > np.radians(LEAST_LIMIT_DEG):
            return lens


@dataclass(kw_only=True)
class Truth:
    """One simulated job: what is true, and what is seen of it."""

    job: Job
    poses: dict[str, Pose] = field(default_factory=dict)
    lenses: dict[str, Lens] = field(default_factory=dict)
    types: dict[str, Lens] = field(default_factory=dict)
    ends: dict[str, Array] = field(default_factory=dict)
    places: dict[MarkId, Array] = field(default_factory=dict)
    observations: tuple[CameraObservations, ...] = ()
    fits: dict[str, PlanFit] = field(default_factory=dict)
    setting: Setting = field(default_factory=lambda: SQUARE)


@dataclass(frozen=True, kw_only=True, eq=False)
class Setting:
    """How the body stands turned against the ground, and how well each camera is set on it."""

    turn_rad: Array = field(default_factory=lambda: np.zeros(3))
    aim_sigma_deg: float = AIM_SIGMA_DEG

    @property
    def ground_from_body(self) -> Array:
        """Rotation (3, 3)."""
        return Rotation.from_rotvec(self.turn_rad).as_matrix()


SQUARE = Setting()


@dataclass(frozen=True, kw_only=True)
class Hump:
    """A hump of the ground, below 0 a dip: where along a strip, how far it reaches, how high."""

    middle_m: float
    reach_m: float
    height_m: float

    def at_m(self, along_m: Array) -> Array:
        """Heights (n,) along the strip: a bell that ends at its reach."""
        away = np.minimum(np.abs(along_m - self.middle_m) / self.reach_m, 1.0)
        return np.asarray(0.5 * self.height_m * (1 + np.cos(np.pi * away)))


@dataclass(frozen=True, kw_only=True)
class Faults:
    """What is wrong beyond what the job states, by group of the adjustment.

    `shift` in m (rad for a gauge), `turn_rad` of strips, the field of view of the lens that a
    camera really has, and what the ground under a strip does.
    """

    shift: Mapping[Group, Array] = field(default_factory=dict)
    turn_rad: Mapping[Group, float] = field(default_factory=dict)
    field_rad: Mapping[Group, float] = field(default_factory=dict)
    humps: Mapping[Group, Hump] = field(default_factory=dict)


LEVEL = Hump(middle_m=0.0, reach_m=1.0, height_m=0.0)
NO_FAULTS = Faults()


def simulate(
    job: Job,
    rng: np.random.Generator,
    faults: Faults = NO_FAULTS,
    setting: Setting = SQUARE,
) -> Truth | None:
    """Draw one job; None where a camera has no fit."""
    truth = Truth(job=job, setting=setting)
    lay(truth, rng, faults)
    seen = []
    for camera in job.cameras:
        one = _observe(truth, camera, rng, faults)
        if one is None:
            return None
        seen.append(one)
    truth.observations = tuple(seen)
    truth.job = replace(job, readings=_read(truth, rng, faults))
    return truth


def lay(
    truth: Truth, rng: np.random.Generator, faults: Faults = NO_FAULTS, *, bowed: bool = True
) -> None:
    """Lay strips and set up single marks as well as the job states."""
    job, bows = truth.job, {}
    for strip in job.strips:
        ends = np.stack([strip.from_m, strip.to_m]) + rng.normal(0, strip.position_sigma_m, (2, 2))
        group = Group("strip", strip.name)
        half = 0.5 * (ends[1] - ends[0]) * faults.turn_rad.get(group, 0.0)
        swing = np.array([-half[1], half[0]])
        truth.ends[strip.name] = ends + faults.shift.get(group, np.zeros(2)) + [-swing, swing]
        bows[strip.name] = rng.normal(0, strip.mark_sigma_m) if bowed else 0.0
    for mark in planned_layout(job).marks:
        if mark.strip is None:
            own = rng.normal(0, place_sigma_m(job, mark), 3)
            off = faults.shift.get(Group("mark", mark.id.name), np.zeros(3))
            truth.places[mark.id] = mark.centre_m + own + off
            continue
        strip = job.strip(mark.strip)
        first, last = truth.ends[strip.name]
        share = strip.at_m[mark.index] / strip.length_m
        across = np.array([-strip.along[1], strip.along[0]])
        bow = 4 * share * (1 - share) * bows[strip.name] * across
        xy = first + share * (last - first) + bow
        hump = faults.humps.get(Group("ground", strip.name), LEVEL)
        height = hump.at_m(strip.at_m[mark.index])
        truth.places[mark.id] = np.array([*(xy + rng.normal(0, strip.mark_sigma_m, 2)), height])


def _read(truth: Truth, rng: np.random.Generator, faults: Faults) -> tuple[Reading, ...]:
    """Fill the readings of the job with what is true, each with an error of its own sigma."""
    scale = 1 + rng.normal(0, TAPE_SCALE_SIGMA)
    slope = rng.normal(0, ADJUSTMENT.slope_sigma, 2)
    out: list[Reading] = []
    for number, reading in enumerate(truth.job.readings, 1):
        fault = faults.shift.get(Group.of_reading(number), np.zeros(2))
        if isinstance(reading, AngleReading):
            R = truth.poses[reading.camera].R
            x, y, z = R @ np.array([*slope, -1.0]) / np.hypot(1, np.hypot(*slope))
            noise = rng.normal(0, reading.sigma_rad, 2)
            tilt, roll = np.array([np.arcsin(z), np.arctan2(x, y)]) + noise + fault
            out.append(replace(reading, tilt_rad=tilt, roll_rad=roll))
            continue
        if isinstance(reading, LevelReading):
            axes = np.eye(3) if reading.on == "ground" else truth.setting.ground_from_body
            up = np.array([*-slope, 1.0]) / np.hypot(1, np.hypot(*slope))
            rise = np.tan(np.arcsin(axes[:, 0 if reading.along == "ahead" else 1] @ up))
            out.append(replace(reading, rise=float(rise + rng.normal(0, reading.sigma))))
            continue
        places = [truth.places[name] for name in reading.between]
        if reading.kind == "offset":
            length = abs(float(places[0][1]))
        else:
            length = scale * float(np.linalg.norm(places[0] - places[1]))
        value = length + rng.normal(0, reading.sigma_m) + float(fault[0])
        out.append(replace(reading, value_m=value))
    return tuple(out)


def _observe(
    truth: Truth, camera: Camera, rng: np.random.Generator, faults: Faults
) -> CameraObservations | None:
    """Draw one camera and what it sees, and fit it alone."""
    prior = lens_prior(truth.job.lens_of(camera), WIDTH, HEIGHT)
    truth.lenses[camera.name] = _lens_of(truth, camera, prior, rng, faults)
    off_m = faults.shift.get(Group("mounting", camera.name), np.zeros(3))
    place = camera.position_m + rng.normal(0, camera.position_sigma_m, 3) + off_m
    body = truth.setting.ground_from_body
    aimed = Pose.at(body @ place, camera.aim.rotation() @ body.T)
    set_rad = np.radians(rng.normal(0, truth.setting.aim_sigma_deg, 3))
    pose = aimed.perturbed(np.r_[0, 0, 0, set_rad])
    truth.poses[camera.name] = pose
    points = seen_points(truth, camera.name, rng)
    return fitted_alone(truth, camera, prior, points, pose.perturbed(rng.normal(0, START_SIGMA, 6)))


def _lens_of(
    truth: Truth, camera: Camera, prior: LensPrior, rng: np.random.Generator, faults: Faults
) -> Lens:
    """Draw a camera's lens: of the stated field, of another one, or near the type it shares."""
    field_rad = faults.field_rad.get(Group("lens", camera.name))
    if field_rad is not None:
        other = StatedLens(name=camera.lens, field_of_view_rad=field_rad)
        return drawn_lens(lens_prior(other, WIDTH, HEIGHT), rng)
    if [each.lens for each in truth.job.cameras].count(camera.lens) == 1:
        return drawn_lens(prior, rng)
    shared = truth.types.setdefault(camera.lens, drawn_lens(prior, rng))
    of_type = replace(shared, cx=prior.guess.cx, cy=prior.guess.cy)
    return drawn_lens(replace(prior, guess=of_type, curve_rows=SAME_TYPE_ROWS), rng)


def seen_points(truth: Truth, camera: str, rng: np.random.Generator, most: int = 0) -> Points:
    """The marks a camera sees, measured with noise; at most so many of them, spread out."""
    job, pose, lens = truth.job, truth.poses[camera], truth.lenses[camera]
    places = np.array(list(truth.places.values()))
    pixels = lens.project(pose.transform(places))
    shown = sees(job.vehicle, pose, lens, places)
    shown &= _extent_px(pose, lens, places) > LEAST_EXTENT_PX
    rows = np.flatnonzero(shown)
    if most and len(rows) > most:
        order = rows[np.argsort(pixels[rows, 0])]
        rows = np.sort(order[np.linspace(0, len(order) - 1, most).round().astype(int)])
    every = planned_layout(job).marks
    marks = [every[row] for row in rows]
    sigma_px = rng.uniform(*PIXEL_SIGMA_PX, len(marks))
    return Points(
        ids=tuple(mark.id for mark in marks),
        planned_m=np.array([mark.centre_m for mark in marks]).reshape(-1, 3),
        mark_sigma_m=np.array([place_sigma_m(job, mark) for mark in marks]),
        pixels_px=pixels[rows] + rng.normal(0, 1, (len(marks), 2)) * sigma_px[:, None],
        covariance_px2=sigma_px[:, None, None] ** 2 * np.eye(2),
    )


def _extent_px(pose: Pose, lens: Lens, places_m: Array) -> Array:
    """Shorter extent (n,) in the picture of a mark that lies on its place."""
    out = []
    for step in np.diag([*HALF_EXTENT_M, 0.0])[:2]:
        ends = [lens.project(pose.transform(places_m + sign * step)) for sign in (-1, 1)]
        out.append(np.linalg.norm(ends[1] - ends[0], axis=1))
    return np.nan_to_num(np.minimum(*out))


def fitted_alone(
    truth: Truth, camera: Camera, prior: LensPrior, points: Points, start: Pose
) -> CameraObservations | None:
    """One camera's own fit, noted in the truth, and what it brings to the network."""
    fit = fit_plan(camera, prior, points, (start, prior.guess))
    if isinstance(fit, NoFit):
        return None
    truth.fits[camera.name] = fit
    return CameraObservations(
        name=camera.name, prior=prior, points=points, start=(fit.pose, fit.lens)
    )


def drawn_apart(
    truth: Truth,
    between: tuple[str, str],
    fits: Mapping[str, PlanFit] | Mapping[str, AdjustedCamera],
    ground_m: Array,
) -> Array:
    """How far apart (n, 2) two views draw what truly lies at `ground_m` (n, 2), by these fits."""
    first, second = (
        ground_map(fits[name].pose, fits[name].lens).ground_from_pixel(
            ground_map(truth.poses[name], truth.lenses[name]).pixel_from_ground(ground_m)
        )
        for name in between
    )
    return np.asarray(first - second)


# ---------------------------------------------------------------------------------- kinds of job

DISTANCES = (
    (MarkId("left", 16), MarkId("front", 8)),
    (MarkId("right", 16), MarkId("front", 0)),
    (MarkId("left", 0), MarkId("rear", 8)),
    (MarkId("right", 0), MarkId("rear", 0)),
    (MarkId("left", 0), MarkId("left", 16)),
    (MarkId("right", 0), MarkId("right", 16)),
    (MarkId("front", 0), MarkId("front", 8)),
    (MarkId("rear", 0), MarkId("rear", 8)),
)
OFFSETS = (MarkId("left", 0), MarkId("left", 16), MarkId("right", 0), MarkId("right", 16))
KNOWN_K = (-0.04, 0.005, -0.001, 0.0001)


def with_readings(job: Job) -> Job:
    """The job with what a careful person would tape and gauge; the values are filled later."""
    lengths = [
        LengthReading(
            kind="distance",
            between=pair,
            value_m=1.0,
            sigma_m=0.002,
            tape="yellow",
            scale_sigma=TAPE_SCALE_SIGMA,
        )
        for pair in DISTANCES
    ]
    offsets = [
        LengthReading(kind="offset", between=(mark,), value_m=1.0, sigma_m=0.003)
        for mark in OFFSETS
    ]
    gauges = [
        AngleReading(
            camera=camera.name,
            tilt_rad=0.0,
            roll_rad=0.0,
            against="gravity",
            sigma_rad=float(np.radians(0.2)),
        )
        for camera in job.cameras
    ]
    return replace(job, readings=(*lengths, *offsets, *gauges))


def sharing(job: Job) -> Job:
    """The job with one type of lens for all cameras."""
    wide = StatedLens(name="wide", field_of_view_rad=float(np.radians(186)))
    cameras = tuple(replace(camera, lens="wide") for camera in job.cameras)
    return replace(job, cameras=cameras, lenses=(wide,))


def known_lenses(job: Job) -> Job:
    """The job with lens files that state no covariance: half a per cent, and 2 px on the centre."""
    lenses = []
    for stated in job.lenses:
        guess = lens_prior(stated, WIDTH, HEIGHT).guess
        curve = 1 + sum(
            k * (0.5 * WIDTH / guess.fx) ** power
            for k, power in zip(KNOWN_K, (2, 4, 6, 8), strict=True)
        )
        focal = guess.fx / curve
        fitted = replace(guess, fx=focal, fy=focal, k=np.array(KNOWN_K))
        lenses.append(StatedLens(name=stated.name, fitted=fitted))
    return replace(job, lenses=tuple(lenses))


def known_wrong(job: Job, name: str) -> Job:
    """The job with one strip of which it is known that its stated place says nothing."""
    strips = tuple(
        replace(strip, position_sigma_m=1.0) if strip.name == name else strip
        for strip in job.strips
    )
    return replace(job, strips=strips)


def dense(job: Job, spacing_m: float) -> Job:
    """The job with marks this close on every strip."""
    strips = tuple(
        replace(s, at_m=np.linspace(0, s.length_m, round(s.length_m / spacing_m) + 1))
        for s in job.strips
    )
    return replace(job, strips=strips)

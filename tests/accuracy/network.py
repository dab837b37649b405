"""Print, on simulated jobs, whether the stated uncertainties are true and faults rightly named.

    python -m tests.accuracy.network [--jobs 1000] [--faults 100] [--seed 1] [--sparse 300]

Jobs like sample_frames/clear_day: its layout, cameras and stated fields of view. Each job draws its
truth from the sigmas that the job states (lens curve and centre, mountings, strip ends and bow,
every mark's own place) and pixel noise; marks that the body hides, that lie outside the picture or
would be too small to find are left out. Every camera is fitted alone (`fit_plan`) and all together
(`adjust`), as in an inspection. Three kinds of job: with pictures only; the same with cameras that
share one type of lens; and with what a careful person would tape and gauge, on which single faults
are tried. No pictures are drawn: how well marks are measured is not tested here, and neither is
tape that deviates otherwise than the model has it.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from vision.adjustment import (
    AdjustedCamera,
    AdjustedStrip,
    Adjustment,
    CameraObservations,
    GroupTest,
    adjust,
)
from vision.adjustment.world import SLOPE_SIGMA
from vision.body import body_hides
from vision.geometry import Array, Pose, rotation_angle
from vision.ground import ground_map
from vision.job import AngleReading, Camera, Job, LengthReading, StatedLens, Strip
from vision.job_file import job_from_text
from vision.layout import planned_layout
from vision.lens import Lens
from vision.lens_prior import ASPECT_SIGMA, SAME_TYPE_ROWS, LensPrior, lens_prior
from vision.plan_fit import PlanFit, Points, fit_plan
from vision.seams import seam_gaps
from vision.solver import NoFit
from vision.verdict.standing import Standing, standings

SAMPLE = Path(__file__).resolve().parents[2] / "sample_frames" / "clear_day" / "job.toml"
WIDTH, HEIGHT = 1280, 720
PIXEL_SIGMA_PX = (0.06, 0.1)
AIM_SIGMA_DEG = 3.0
LEAST_EXTENT_PX = 12.0
LEAST_LIMIT_DEG = 95.0
"""A drawn lens whose curve turns over in its field is no lens: draw again."""

COVER = 1.959964
CLEAR = 1.5
"""A fault of this many times its minimal detectable bias should be named."""

SEAM_EVERY = 5
"""Seam points are 5 cm apart and go together; every fifth is judged."""


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
        aspect = np.sqrt(prior.guess.fx / prior.guess.fy) * np.exp(rng.normal(0, ASPECT_SIGMA) / 2)
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
    bows: dict[str, float] = field(default_factory=dict)
    places: dict[str, Array] = field(default_factory=dict)
    observations: tuple[CameraObservations, ...] = ()
    fits: dict[str, PlanFit] = field(default_factory=dict)


def simulate(
    job: Job,
    rng: np.random.Generator,
    shift: dict[str, Array],
    turn_rad: dict[str, float],
    field_rad: dict[str, float] | None = None,
) -> Truth | None:
    """Draw one job; `shift`, `turn_rad` and `field_rad` are faults by group.

    The last is the field of view of the lens that a camera really has. None where a camera has no
    fit.
    """
    truth, layout = Truth(job=job), planned_layout(job)
    for strip in job.strips:
        ends = np.stack([strip.from_m, strip.to_m]) + rng.normal(0, strip.position_sigma_m, (2, 2))
        group = f"strip {strip.name}"
        half = 0.5 * (ends[1] - ends[0]) * turn_rad.get(group, 0.0)
        swing = np.array([-half[1], half[0]])
        truth.ends[strip.name] = ends + shift.get(group, np.zeros(2)) + [-swing, swing]
        truth.bows[strip.name] = rng.normal(0, strip.mark_sigma_m)
    single = {mark.name: mark for mark in job.marks}
    for mark in layout.marks:
        if mark.strip is None:
            own = rng.normal(0, single[mark.id].position_sigma_m, 3)
            truth.places[mark.id] = mark.centre_m + own + shift.get(f"mark {mark.id}", np.zeros(3))
            continue
        strip = job.strip(mark.strip)
        first, last = truth.ends[strip.name]
        share = strip.at_m[mark.index] / strip.length_m
        across = np.array([-strip.along[1], strip.along[0]])
        xy = (
            first
            + share * (last - first)
            + 4 * share * (1 - share) * truth.bows[strip.name] * across
        )
        truth.places[mark.id] = np.array([*(xy + rng.normal(0, strip.mark_sigma_m, 2)), 0.0])
    seen = []
    for camera in job.cameras:
        off_m = shift.get(f"mounting {camera.name}", np.zeros(3))
        field_of_view = (field_rad or {}).get(f"lens {camera.name}")
        one = _observe(truth, camera, rng, off_m, field_of_view)
        if one is None:
            return None
        seen.append(one)
    truth.observations = tuple(seen)
    truth.job = replace(job, readings=_read(truth, rng, shift))
    return truth


def _read(
    truth: Truth, rng: np.random.Generator, off: dict[str, Array]
) -> tuple[LengthReading | AngleReading, ...]:
    """Fill the readings of the job with what is true, each with an error of its own sigma."""
    scale = 1 + rng.normal(0, TAPE_SCALE_SIGMA)
    slope = rng.normal(0, SLOPE_SIGMA, 2)
    out: list[LengthReading | AngleReading] = []
    for number, reading in enumerate(truth.job.readings, 1):
        fault = off.get(f"reading {number}", np.zeros(2))
        if isinstance(reading, AngleReading):
            R = truth.poses[reading.camera].R
            x, y, z = R @ np.array([*slope, -1.0]) / np.hypot(1, np.hypot(*slope))
            noise = rng.normal(0, reading.sigma_rad, 2)
            tilt, roll = np.array([np.arcsin(z), np.arctan2(x, y)]) + noise + fault
            out.append(replace(reading, tilt_rad=tilt, roll_rad=roll))
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
    truth: Truth, camera: Camera, rng: np.random.Generator, off_m: Array, field_rad: float | None
) -> CameraObservations | None:
    """Draw one camera and what it sees, and fit it alone."""
    job, layout = truth.job, planned_layout(truth.job)
    prior = lens_prior(job.lens_of(camera), WIDTH, HEIGHT)
    lens = _lens_of(truth, camera, prior, rng, field_rad)
    place = camera.position_m + rng.normal(0, camera.position_sigma_m, 3) + off_m
    aimed = Pose.at(place, camera.aim.rotation())
    pose = aimed.perturbed(np.r_[0, 0, 0, np.radians(rng.normal(0, AIM_SIGMA_DEG, 3))])
    truth.poses[camera.name], truth.lenses[camera.name] = pose, lens
    true_m = np.array(list(truth.places.values()))
    pixels = lens.project(pose.transform(true_m))
    shown = lens.contains(pixels) & ~body_hides(job.vehicle, place, true_m)
    shown &= _extent_px(pose, lens, true_m) > LEAST_EXTENT_PX
    marks = [mark for mark, yes in zip(layout.marks, shown, strict=True) if yes]
    sigma_px = rng.uniform(*PIXEL_SIGMA_PX, len(marks))
    single = {mark.name: mark.position_sigma_m for mark in job.marks}
    points = Points(
        ids=tuple(mark.id for mark in marks),
        planned_m=np.array([mark.centre_m for mark in marks]).reshape(-1, 3),
        mark_sigma_m=np.array(
            [single[m.id] if m.strip is None else _place_sigma_m(job.strip(m.strip)) for m in marks]
        ),
        pixels_px=pixels[shown] + rng.normal(0, 1, (len(marks), 2)) * sigma_px[:, None],
        covariance_px2=sigma_px[:, None, None] ** 2 * np.eye(2),
    )
    start = (pose.perturbed(rng.normal(0, 0.02, 6)), prior.guess)
    fit = fit_plan(camera, prior, points, start)
    if isinstance(fit, NoFit):
        return None
    truth.fits[camera.name] = fit
    return CameraObservations(
        name=camera.name, prior=prior, points=points, start=(fit.pose, fit.lens)
    )


def _lens_of(
    truth: Truth,
    camera: Camera,
    prior: LensPrior,
    rng: np.random.Generator,
    field_rad: float | None,
) -> Lens:
    """Draw a camera's lens: of the stated field, of another one, or near the type it shares."""
    if field_rad is not None:
        other = StatedLens(name=camera.lens, field_of_view_rad=field_rad)
        return drawn_lens(lens_prior(other, WIDTH, HEIGHT), rng)
    if [each.lens for each in truth.job.cameras].count(camera.lens) == 1:
        return drawn_lens(prior, rng)
    shared = truth.types.setdefault(camera.lens, drawn_lens(prior, rng))
    of_type = replace(shared, cx=prior.guess.cx, cy=prior.guess.cy)
    return drawn_lens(replace(prior, guess=of_type, curve_rows=SAME_TYPE_ROWS), rng)


def _place_sigma_m(strip: Strip) -> float:
    return float(np.hypot(strip.position_sigma_m, strip.mark_sigma_m))


def _extent_px(pose: Pose, lens: Lens, places_m: Array) -> Array:
    """Shorter extent (n,) in the picture of a mark 24 cm by 16 cm lying on its place."""
    out = []
    for step in ([0.12, 0, 0], [0, 0.082, 0]):
        ends = [lens.project(pose.transform(places_m + sign * np.array(step))) for sign in (-1, 1)]
        out.append(np.linalg.norm(ends[1] - ends[0], axis=1))
    return np.nan_to_num(np.minimum(*out))


# ------------------------------------------------------------------------------------- figures


@dataclass(kw_only=True)
class Figures:
    """Errors over sigmas by kind, errors of single and joint fits, and what was named."""

    over_sigma: dict[str, list[float]] = field(default_factory=dict)
    errors: dict[str, list[float]] = field(default_factory=dict)
    named: Counter[str] = field(default_factory=Counter)
    open: list[float] = field(default_factory=list)
    sure: list[bool] = field(default_factory=list)
    rejected: int = 0
    points: int = 0
    chi2: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    times: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def note(self, kind: str, over: Array) -> None:
        """Add errors over their sigmas."""
        self.over_sigma.setdefault(kind, []).extend(np.ravel(over).tolist())

    def error(self, kind: str, value: float) -> None:
        """Add one error."""
        self.errors.setdefault(kind, []).append(value)


def measure(truth: Truth, result: Adjustment, figures: Figures) -> None:
    """Compare one adjustment with the truth."""
    for camera in result.cameras:
        pose, fit = truth.poses[camera.name], truth.fits[camera.name]
        sigma = np.sqrt(np.diag(camera.aim_covariance_rad2))
        figures.note("aim", camera.aim.minus(pose.aim) / sigma)
        off = camera.pose.camera_in_ground_m - pose.camera_in_ground_m
        figures.note("place", off / camera.position_sigma_m)
        for kind, found in (("joint", camera.pose), ("single", fit.pose)):
            figures.error(f"aim {kind} (deg)", np.degrees(rotation_angle(found.R, pose.R)))
            place = found.camera_in_ground_m - pose.camera_in_ground_m
            figures.error(f"place {kind} (cm)", 100 * float(np.linalg.norm(place)))
        figures.rejected += int((~camera.used).sum())
        figures.points += len(camera.used)
    for strip in result.strips:
        planned = truth.job.strip(strip.name)
        off_m = _shift_off_m(truth, strip)
        figures.note("strip shift", off_m / strip.shift_sigma_m)
        along = np.diff(truth.ends[strip.name], axis=0)[0]
        turned = np.arctan2(along[1], along[0]) - np.arctan2(*planned.along[::-1])
        off_rad = np.angle(np.exp(1j * (strip.turn_rad - turned)))
        figures.note("strip turn", off_rad / strip.turn_sigma_rad)
        figures.error("strip shift (cm)", 100 * float(np.linalg.norm(off_m)))
    _measure_seams(truth, result, figures)
    figures.chi2.append(result.chi2 / result.degrees_of_freedom)


def _measure_seams(truth: Truth, result: Adjustment, figures: Figures) -> None:
    """Gaps against those of the true poses and lenses, the plan fits' maps being given."""
    for seam in seam_gaps(truth.job, truth.fits, result):
        known = np.flatnonzero(np.isfinite(seam.gaps_m).all(axis=1))[::SEAM_EVERY]
        if not len(known):
            continue
        ground = seam.points_m[known]
        pixels = [
            ground_map(truth.poses[n], truth.lenses[n]).pixel_from_ground(ground)
            for n in seam.between
        ]
        fits = [truth.fits[n] for n in seam.between]
        true_gap = _drawn_apart(fits, pixels)
        sigma = np.sqrt(np.diagonal(seam.covariances_m2[known], axis1=1, axis2=2))
        fine = np.isfinite(true_gap).all(axis=1)
        figures.note("seam gap", ((seam.gaps_m[known] - true_gap) / sigma)[fine])
        joint = _drawn_apart([result.camera(n) for n in seam.between], pixels)
        for kind, gap in (("joint", joint), ("single", true_gap)):
            length = np.linalg.norm(gap, axis=1)
            figures.error(f"seam {kind} (cm)", 100 * float(np.nanmedian(length)))


def _drawn_apart(fits: list[PlanFit] | list[AdjustedCamera], pixels: list[Array]) -> Array:
    """How far apart two views are drawn by these poses and lenses, (n, 2) m."""
    drawn = [
        ground_map(fit.pose, fit.lens).ground_from_pixel(px)
        for fit, px in zip(fits, pixels, strict=True)
    ]
    return np.asarray(drawn[0] - drawn[1])


def outcome(job: Job, result: Adjustment, cause: str) -> str:
    """In one word, what was said where `cause` is at fault ('' for nothing).

    'open' where nothing was named and the cause is among what cannot be told; 'missed' where it was
    taken for sound.
    """
    freed, ties = result.freed, result.freed_alternatives
    if not freed and not ties:
        if not cause:
            return "none"
        open_ = any(each.group == cause for each in undecided(job, result))
        return "open" if open_ else "missed"
    if any(g != cause for g in freed) or any(cause not in tie for tie in ties):
        return "wrong"
    return "right" if freed else "tie"


def undecided(job: Job, result: Adjustment) -> list[Standing]:
    """Groups of which it cannot be told whether they are as stated."""
    return [each for each in standings(job, result) if each.word == "cannot-tell"]


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One gross fault: a group shifted some way or turned, or a lens of another field of view."""

    label: str = ""
    cause: str = ""
    shift_m: float = 0.0
    turn_rad: float = 0.0
    field_rad: float | None = None
    numbers: int = 3

    def drawn(
        self, rng: np.random.Generator
    ) -> tuple[dict[str, Array], dict[str, float], dict[str, float]]:
        """Shift, turn and field of view by group."""
        direction = rng.normal(size=self.numbers)
        shift = self.shift_m * direction / np.linalg.norm(direction)
        fields = {} if self.field_rad is None else {self.cause: self.field_rad}
        return {self.cause: shift}, {self.cause: self.turn_rad * float(rng.choice([-1, 1]))}, fields

    def times(self, test: GroupTest, shift_m: Array, truth: Truth) -> float:
        """How many times its minimal detectable bias the fault is."""
        if self.turn_rad:
            return self.turn_rad / test.faults["turn"].detectable()
        bias, numbers = np.zeros(len(test.rows.redundancy)), shift_m
        if self.field_rad is not None:
            name = self.cause.partition(" ")[2]
            seen = next(each for each in truth.observations if each.name == name)
            numbers = seen.prior.residuals(truth.lenses[name])[0][: len(bias)]
        elif self.cause.startswith("strip"):
            numbers = np.tile(shift_m, 2)
        bias[: len(numbers)] = numbers
        return test.times_detectable(bias)

    def surely_named(self, test: GroupTest, shift_m: Array) -> bool | None:
        """Whether the job says that it surely names the fault alone; None where it says nothing."""
        if self.turn_rad:
            return self.turn_rad >= test.faults["turn"].named
        kind = next(iter(test.faults))
        if kind == "scale":
            return None
        size, numbers = float(np.linalg.norm(shift_m)), len(test.faults[kind].estimate)
        return size >= test.faults[kind].named_along(shift_m[:numbers] / size)


NO_FAULT = Fault()


def run_jobs(job: Job, count: int, rng: np.random.Generator, fault: Fault = NO_FAULT) -> Figures:
    """Simulate, solve and compare `count` jobs with one fault, or with none."""
    figures, cause = Figures(), fault.cause
    while len(figures.seconds) < count:
        shift, turn, fields = fault.drawn(rng)
        truth = simulate(job, rng, shift, turn, fields)
        if truth is None:
            figures.named["no plan fit"] += 1
            continue
        start = time.process_time()
        result = adjust(truth.job, planned_layout(job), truth.observations)
        figures.seconds.append(time.process_time() - start)
        if isinstance(result, NoFit):
            figures.named[f"no adjustment: {result.code}"] += 1
            continue
        word = outcome(job, result, cause)
        if cause:
            times = fault.times(result.groups[cause], shift[cause], truth)
            figures.times.append(times)
            figures.named[f"{'clear' if times > CLEAR else 'unclear'} {word}"] += 1
            if fault.surely_named(result.groups[cause], shift[cause]):
                figures.sure.append(word == "right")
            if word == "wrong":
                figures.wrong.append(f"{' + '.join(result.freed)} {result.freed_alternatives}")
        else:
            figures.named[word] += 1
            figures.open.append(len(undecided(job, result)) / len(result.groups))
            measure(truth, result, figures)
        if cause.startswith("strip"):
            _measure_found(truth, result, cause.partition(" ")[2], figures)
    return figures


def known_wrong(job: Job, name: str) -> Job:
    """The job with one strip of which it is known that its stated place says nothing."""
    strips = tuple(
        replace(strip, position_sigma_m=1.0) if strip.name == name else strip
        for strip in job.strips
    )
    return replace(job, strips=strips)


def strip_of(result: Adjustment, name: str) -> AdjustedStrip:
    """One adjusted strip."""
    return next(strip for strip in result.strips if strip.name == name)


def _shift_off_m(truth: Truth, found: AdjustedStrip) -> Array:
    """How far off the shift of a strip was found (2,)."""
    planned = truth.job.strip(found.name)
    true = truth.ends[found.name].mean(axis=0) - 0.5 * (planned.from_m + planned.to_m)
    return found.shift_m - true


def _measure_found(truth: Truth, result: Adjustment, name: str, figures: Figures) -> None:
    """How far off the shift and the turn of the strip at fault are, whether it was named or not."""
    found = strip_of(result, name)
    off = _shift_off_m(truth, found)
    figures.note("found", off / found.shift_sigma_m)
    figures.error("shift off (cm)", 100 * float(np.linalg.norm(off)))
    known = adjust(known_wrong(truth.job, name), planned_layout(truth.job), truth.observations)
    if isinstance(known, Adjustment):
        off = _shift_off_m(truth, strip_of(known, name))
        figures.error("known off (cm)", 100 * float(np.linalg.norm(off)))
    true_along = np.diff(truth.ends[name], axis=0)[0]
    found_along = np.diff(found.ends_m, axis=0)[0]
    turned = np.arctan2(*true_along[::-1]) - np.arctan2(*found_along[::-1])
    figures.error("turn off (deg)", abs(float(np.degrees(np.angle(np.exp(1j * turned))))))


def print_coverage(label: str, figures: Figures) -> None:
    """Print shares of 95 % intervals that hold the truth, and single against joint fits."""
    jobs = sum(figures.named.values())
    alarms = 1 - figures.named["none"] / jobs
    print(f"{label}: {jobs} jobs without a fault")
    print(f"  a group named in {alarms:.1%} (wanted: at most 2 %)")
    print(
        f"  of {np.mean(figures.open):.0%} of what was stated it cannot be told whether it is sound"
    )
    print(f"  marks rejected {figures.rejected} of {figures.points}")
    print(f"  variance factor mean {np.mean(figures.chi2):.3f}, sd {np.std(figures.chi2):.3f}")
    print("  95 % intervals that hold the truth (wanted: 93 to 97 %)")
    for kind, over in figures.over_sigma.items():
        share = np.mean(np.abs(over) < COVER)
        rms = np.sqrt(np.mean(np.square(over)))
        print(f"    {kind:12s} {share:6.1%}  RMS over sigma {rms:.2f}")
    print("  median error       joint   single    95 % joint   single")
    for kind, unit in (("aim", "deg"), ("place", "cm"), ("seam", "cm")):
        both = [figures.errors[f"{kind} {k} ({unit})"] for k in ("joint", "single")]
        (j50, j95), (s50, s95) = (np.percentile(each, [50, 95]) for each in both)
        print(f"    {kind + ' (' + unit + ')':14s} {j50:7.2f} {s50:8.2f} {j95:13.2f} {s95:8.2f}")
    sys.stdout.flush()


def print_fault(label: str, figures: Figures) -> None:
    """Print what was named for one kind of fault, and how far off the found shift is."""
    named, words = figures.named, ("right", "tie", "open", "missed", "wrong")
    sizes = [[named[f"{size} {word}"] for word in words] for size in ("clear", "unclear")]
    counts = "   ".join(" ".join(f"{count:5d}" for count in row) for row in sizes)
    print(f"  {label:21s} {np.median(figures.times):8.2f}   {counts}")
    if figures.sure:
        print(f"      said to be surely named {len(figures.sure)}, named {sum(figures.sure)}")
    for text in figures.wrong:
        print(f"      wrong: {text}")
    for kind in ("shift off (cm)", "turn off (deg)"):
        if kind in figures.errors:
            p50, p95 = np.percentile(figures.errors[kind], [50, 95])
            print(f"      {kind}: median {p50:.2f}, 95 % {p95:.2f}")
    if figures.over_sigma.get("found"):
        within, known = (
            np.mean(np.array(figures.errors[kind]) < 1.0)
            for kind in ("shift off (cm)", "known off (cm)")
        )
        rms = np.sqrt(np.mean(np.square(figures.over_sigma["found"])))
        print(f"      within 1 cm: {within:.0%}, RMS over the stated sigma {rms:.2f};")
        print(
            f"      within 1 cm where it is known from the start which strip is wrong: {known:.0%}"
        )
    sys.stdout.flush()


TAPE_SCALE_SIGMA = 1.2e-4
DISTANCES = (
    ("left/16", "front/8"),
    ("right/16", "front/0"),
    ("left/0", "rear/8"),
    ("right/0", "rear/0"),
    ("left/0", "left/16"),
    ("right/0", "right/16"),
    ("front/0", "front/8"),
    ("rear/0", "rear/8"),
)
OFFSETS = ("left/0", "left/16", "right/0", "right/16")


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


FAULTS = (
    Fault(label="strip 3 cm", cause="strip right", shift_m=0.03, numbers=2),
    Fault(
        label="strip 0.5 degree", cause="strip right", turn_rad=float(np.radians(0.5)), numbers=2
    ),
    Fault(label="mounting 8 cm", cause="mounting left", shift_m=0.08),
    Fault(label="knocked 1 degree", cause="reading 14", shift_m=float(np.radians(1)), numbers=2),
    Fault(label="raised mark 5 cm", cause="mark left_carton", shift_m=0.05),
    Fault(label="length an inch wrong", cause="reading 5", shift_m=0.0254, numbers=1),
    Fault(label="lens of another type", cause="lens left", field_rad=float(np.radians(160))),
)
"""The seven that are wanted."""

MORE_FAULTS = (
    Fault(label="strip 6 cm", cause="strip right", shift_m=0.06, numbers=2),
    Fault(label="front strip 6 cm", cause="strip front", shift_m=0.06, numbers=2),
    Fault(label="strip 1 degree", cause="strip right", turn_rad=float(np.radians(1)), numbers=2),
    Fault(label="mounting 25 cm", cause="mounting left", shift_m=0.25),
    Fault(
        label="knocked 4 degrees",
        cause="reading 14",
        shift_m=float(np.radians(4)),
        numbers=2,
    ),
    Fault(label="raised mark 12 cm", cause="mark left_carton", shift_m=0.12),
    Fault(label="length 3 inches wrong", cause="reading 5", shift_m=0.0762, numbers=1),
    Fault(label="offset a foot wrong", cause="reading 10", shift_m=0.3048, numbers=1),
    Fault(label="lens of 140 degrees", cause="lens left", field_rad=float(np.radians(140))),
)
"""The same kinds, mostly beyond what can just be detected."""


def sharing(job: Job) -> Job:
    """The job with one type of lens for all cameras."""
    wide = StatedLens(name="wide", field_of_view_rad=float(np.radians(186)))
    cameras = tuple(replace(camera, lens="wide") for camera in job.cameras)
    return replace(job, cameras=cameras, lenses=(wide,))


KNOWN_K = (-0.04, 0.005, -0.001, 0.0001)


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


def dense(job: Job, spacing_m: float) -> Job:
    """The job with marks this close on every strip."""
    strips = tuple(
        replace(s, at_m=np.linspace(0, s.length_m, round(s.length_m / spacing_m) + 1))
        for s in job.strips
    )
    return replace(job, strips=strips)


def print_speed(job: Job, rng: np.random.Generator) -> None:
    """Print CPU time of one adjustment, warm, and its ratio to the four cameras' own fits."""
    job = dense(job, 0.125)
    truth = None
    while truth is None:
        truth = simulate(job, rng, {}, {})
    counts = [len(seen.points.ids) for seen in truth.observations]
    layout, priors = planned_layout(job), {seen.name: seen.prior for seen in truth.observations}

    def single() -> None:
        for camera, seen in zip(job.cameras, truth.observations, strict=True):
            fit_plan(camera, priors[camera.name], seen.points, (seen.start[0], seen.prior.guess))

    seconds = []
    for work in (lambda: adjust(truth.job, layout, truth.observations), single):
        times = []
        for _ in range(7):
            start = time.process_time()
            work()
            times.append(time.process_time() - start)
        seconds.append(float(np.median(times[1:])))
    print(f"one adjustment, warm, of cameras with {counts} marks: {1e3 * seconds[0]:.0f} ms CPU,")
    print(f"  {seconds[0] / seconds[1]:.1f} times what fitting its cameras one by one takes")


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=1000)
    parser.add_argument("--sparse", type=int, default=300, help="jobs of each further kind")
    parser.add_argument("--faults", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    job = job_from_text(SAMPLE.read_bytes(), SAMPLE.name)
    print_speed(job, np.random.default_rng(given.seed))
    kinds = (
        ("pictures only", job, given.jobs),
        ("one type of lens", sharing(job), given.sparse),
        ("with readings", with_readings(job), given.sparse),
    )
    for index, (label, kind, count) in enumerate(kinds):
        if count:
            rng = np.random.default_rng([given.seed, index])
            print_coverage(label, run_jobs(kind, count, rng))
    if given.faults:
        every = (*FAULTS, *MORE_FAULTS)
        print_faults("fields of view only", with_readings(job), every, given)
        print_faults("lens files", with_readings(known_lenses(job)), FAULTS, given)


def print_faults(
    label: str, job: Job, faults: tuple[Fault, ...], given: argparse.Namespace
) -> None:
    """Print what is named for each kind of fault."""
    print(
        f"single faults in jobs with readings and {label}, {given.faults} each; by how many times"
    )
    print(f"its minimal detectable bias (MDB) the fault is: beyond {CLEAR}, and not")
    print("                         median                beyond                          not")
    words = "right   tie  open missed wrong"
    print(f"                         x MDB    {words}   {words}")
    for index, fault in enumerate(faults):
        rng = np.random.default_rng([given.seed, 10 + index])
        print_fault(fault.label, run_jobs(job, given.faults, rng, fault))


if __name__ == "__main__":
    main()

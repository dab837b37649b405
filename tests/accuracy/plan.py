"""Print whether what a plan predicts comes true, and whether what it proposes can be judged.

    python -m tests.accuracy.plan [--jobs 200] [--drawn 5] [--seed 1] [--lengths 4 6 10 12 15 18]
        [--marks cross quadrant board]
    python -m tests.accuracy.plan --centres

From the figures of sample_frames/clear_day alone (body, cameras, stated fields of view) a layout is
proposed and its job file written. Then

- `--jobs`: that many jobs are drawn without pictures from the job's own sigmas (lens curve and
  centre, mountings, strip ends, marks, pixels) and adjusted; the spread of every figure is compared
  with the sigma that was predicted;
- `--drawn`: that many are drawn as pictures with the same sigmas and inspected in full;
- one drawn job with two pictures swapped, front with rear and left with right, must not pass;
- `--lengths`: the same proposal, picture and inspection for bodies of other lengths, with `--marks`
  of these kinds.

`--centres` instead compares predicted with measured centre sigmas on rendered and drawn pictures.
Drawn pictures go through the checker's own lens model, so nothing here says anything about lenses.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from dataclasses import dataclass, field, replace
from itertools import product
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

from tests.accuracy.network import drawn_lens
from vision.adjustment import Adjustment, CameraObservations, adjust
from vision.files import read_inspection_input
from vision.geometry import Array, Pose
from vision.ground import ground_map
from vision.identify import Identified, identify
from vision.identify.poses import place_sigma
from vision.inspection import inspect
from vision.inspection_values import Inspection
from vision.job import Job, Vehicle
from vision.job_file import job_from_text
from vision.layout import Layout, PlannedMark, planned_layout
from vision.lens import Lens
from vision.lens_prior import lens_prior
from vision.measure import Light, d_pixel_d_mark, forecast_covariances
from vision.pattern import half_extent
from vision.picture import Picture
from vision.plan_fit import PlanFit, Points, fit_plan
from vision.planning import NoProposal, Prediction, Proposal, predict, propose
from vision.planning.job_text import job_text
from vision.planning.sizes import KINDS, MarkKind
from vision.scene import Deviations, draw_scene, encoded
from vision.seams import seam_gaps
from vision.solver import NoFit

SAMPLES = Path(__file__).resolve().parents[2] / "sample_frames"
RENDERED = ("clear_day", "long_shadow")
GOOD = frozenset({"keep", "within"})
WITHIN = 0.2
BANDS = ((4, 6), (6, 9), (9, 13), (13, 18), (18, 24), (24, 100))


def vehicle_text() -> str:
    """The sample's file as far as its cameras: nothing that lies on the ground."""
    text = (SAMPLES / "clear_day" / "job.toml").read_text(encoding="utf-8")
    return text[: text.index("[strip.")]


def proposed(text: str, kind: MarkKind) -> tuple[Proposal, Job]:
    """Propose for a vehicle's file, and read the written job as a person's would be."""
    found = propose(job_from_text(text, "vehicle.toml", planning=True), mark=kind)
    if isinstance(found, NoProposal):
        raise SystemExit(f"no layout: {found.reasons}")
    return found, job_from_text(job_text(text, found), "job.toml")


# ---------------------------------------------------------------------------- jobs without pictures


@dataclass(kw_only=True)
class Spread:
    """Errors of every figure over the jobs, by what it is."""

    errors: dict[str, list[float]] = field(default_factory=dict)
    gaps: dict[tuple[str, str], list[Array]] = field(default_factory=dict)
    usual: dict[tuple[str, str], list[Array]] = field(default_factory=dict)
    shifts: dict[str, list[Array]] = field(default_factory=dict)
    outcomes: Counter[str] = field(default_factory=Counter)


@dataclass(kw_only=True)
class Truth:
    """What is true of one drawn job, and what each camera makes of it alone.

    `turn_rad` is how far each strip is turned, and its panels with it.
    """

    places: dict[str, Array]
    turn_rad: dict[str, float]
    poses: dict[str, Pose] = field(default_factory=dict)
    lenses: dict[str, Lens] = field(default_factory=dict)
    fits: dict[str, PlanFit] = field(default_factory=dict)
    observations: list[CameraObservations] = field(default_factory=list)


def laid(job: Job, rng: np.random.Generator) -> Truth:
    """Every mark's place, drawn from the stated sigmas."""
    layout = planned_layout(job)
    ends = {
        s.name: np.stack([s.from_m, s.to_m]) + rng.normal(0, s.position_sigma_m, (2, 2))
        for s in job.strips
    }
    single = {mark.name: mark for mark in job.marks}
    places = {}
    for mark in layout.marks:
        if mark.strip is None:
            places[mark.id] = mark.centre_m + rng.normal(0, single[mark.id].position_sigma_m, 3)
            continue
        strip = job.strip(mark.strip)
        first, last = ends[strip.name]
        xy = first + strip.at_m[mark.index] / strip.length_m * (last - first)
        places[mark.id] = np.array([*(xy + rng.normal(0, strip.mark_sigma_m, 2)), 0.0])
    along = {name: both[1] - both[0] for name, both in ends.items()}
    turns = {
        s.name: float(np.arctan2(*along[s.name][::-1]) - np.arctan2(*s.along[::-1]))
        for s in job.strips
    }
    return Truth(places=places, turn_rad=turns)


def place_of(point: PlannedMark, layout: Layout, truth: Truth) -> Array:
    """Where a mark truly lies, or a corner of a board, which moves and turns with its board."""
    if point.id in truth.places:
        return truth.places[point.id]
    board = layout.mark(point.id.rsplit("/", 2)[0])
    assert board.strip is not None
    turn = Rotation.from_euler("z", truth.turn_rad[board.strip])
    return np.asarray(truth.places[board.id] + turn.apply(point.centre_m - board.centre_m))


def simulated(prediction: Prediction, rng: np.random.Generator) -> Truth | None:
    """One job drawn from its own sigmas; None where a camera has no fit."""
    job, layout = prediction.job, planned_layout(prediction.job)
    truth = laid(job, rng)
    for camera in job.cameras:
        seen = [v for v in prediction.views if v.camera == camera.name and v.status == "seen"]
        prior = lens_prior(job.lens_of(camera), *prediction.size_px)
        lens = drawn_lens(prior, rng)
        place = camera.position_m + rng.normal(0, camera.position_sigma_m, 3)
        pose = Pose.at(place, camera.aim.rotation())
        truth.poses[camera.name], truth.lenses[camera.name] = pose, lens
        marks = [layout.mark(view.mark) for view in seen]
        places = np.array([place_of(mark, layout, truth) for mark in marks])
        true_px = lens.project(pose.transform(places))
        noise = [rng.multivariate_normal([0.0, 0.0], v.covariance_px2) for v in seen]
        points = Points(
            ids=tuple(v.mark for v in seen),
            planned_m=np.array([mark.centre_m for mark in marks]),
            mark_sigma_m=np.array([place_sigma(job, mark) for mark in marks]),
            pixels_px=true_px + np.array(noise),
            covariance_px2=np.array([v.covariance_px2 for v in seen]),
        )
        fit = fit_plan(camera, prior, points, (pose, prior.guess))
        if isinstance(fit, NoFit):
            return None
        truth.fits[camera.name] = fit
        truth.observations.append(
            CameraObservations(
                name=camera.name, prior=prior, points=points, start=(fit.pose, fit.lens)
            )
        )
    return truth


def note(prediction: Prediction, truth: Truth, result: Adjustment, spread: Spread) -> None:
    """Add one job's errors."""
    job = prediction.job
    planned = {mark.id: mark.centre_m for mark in planned_layout(job).marks}
    for camera in result.cameras:
        off = camera.aim.minus(truth.poses[camera.name].aim)
        for angle, value in zip(("pan", "tilt", "roll"), off, strict=True):
            spread.errors.setdefault(f"{angle} of {camera.name}", []).append(float(value))
        place = camera.pose.camera_in_ground_m - truth.poses[camera.name].camera_in_ground_m
        for axis, value in zip("xyz", place, strict=True):
            spread.errors.setdefault(f"{axis} of {camera.name}", []).append(float(value))
    worst = {each.mark for each in prediction.layings}
    for strip in result.strips:
        for mark_id, shift in zip(strip.mark_ids, strip.mark_shift_m, strict=True):
            if mark_id in worst:
                true = (truth.places[mark_id] - planned[mark_id])[:2]
                spread.shifts.setdefault(strip.name, []).append(shift - true)
    for mark in result.marks:
        if mark.seen:
            true = truth.places[mark.name] - planned[mark.name]
            spread.shifts.setdefault(mark.name, []).append(mark.shift_m - true)
    worst_at = {seam.between: seam.worst_at_m for seam in prediction.seams}
    for seam in seam_gaps(job, truth.fits, result):
        drawn_at = []
        for name in seam.between:
            own = ground_map(truth.poses[name], truth.lenses[name])
            alone = ground_map(truth.fits[name].pose, truth.fits[name].lens)
            drawn_at.append(alone.ground_from_pixel(own.pixel_from_ground(seam.points_m)))
        true_gaps = drawn_at[0] - drawn_at[1]
        spread.usual.setdefault(seam.between, []).append(np.square(true_gaps).sum(axis=1))
        off = np.linalg.norm(seam.points_m - np.array(worst_at[seam.between]), axis=1)
        error = (seam.gaps_m - true_gaps)[int(np.argmin(off))]
        if np.isfinite(error).all():
            spread.gaps.setdefault(seam.between, []).append(error)


def run_jobs(prediction: Prediction, count: int, rng: np.random.Generator) -> Spread:
    """Simulate, adjust and compare; jobs in which something was set free are only counted.

    Those are the 2 % of false alarms that the adjustment allows itself: a group that is set free
    without cause has another sigma than the predicted one.
    """
    spread = Spread()
    layout = planned_layout(prediction.job)
    while spread.outcomes["compared"] < count:
        truth = simulated(prediction, rng)
        if truth is None:
            spread.outcomes["no plan fit"] += 1
            continue
        result = adjust(prediction.job, layout, tuple(truth.observations))
        if isinstance(result, NoFit):
            spread.outcomes["no adjustment"] += 1
        elif result.freed or result.freed_alternatives:
            spread.outcomes["set free without cause"] += 1
        else:
            spread.outcomes["compared"] += 1
            note(prediction, truth, result, spread)
    return spread


def principal(vectors: list[Array]) -> float:
    """The largest principal RMS of error vectors."""
    stack = np.array(vectors)
    return float(np.sqrt(np.linalg.eigvalsh(stack.T @ stack / len(stack))[-1]))


def ratios(prediction: Prediction, spread: Spread) -> dict[str, float]:
    """RMS error over predicted sigma, figure by figure."""
    found = {}
    for camera in prediction.cameras:
        for names, sigmas in (
            (("pan", "tilt", "roll"), camera.aim_sigma_rad),
            (("x", "y", "z"), camera.position_sigma_m),
        ):
            for name, sigma in zip(names, sigmas, strict=True):
                key = f"{name} of {camera.name}"
                found[key] = float(np.sqrt(np.mean(np.square(spread.errors[key])))) / sigma
    for each in prediction.layings:
        if each.sigma_m is not None:
            found[f"place of {each.name}"] = principal(spread.shifts[each.name]) / each.sigma_m
    for seam in prediction.seams:
        name = " - ".join(seam.between)
        if seam.sigma_m is not None and seam.usual_gap_m:
            found[f"seam {name}"] = principal(spread.gaps[seam.between]) / seam.sigma_m
    return found


def usual_ratios(prediction: Prediction, spread: Spread) -> list[float]:
    """Largest RMS gap along each seam over the usual gap predicted for it."""
    return [
        float(np.sqrt(np.nanmean(spread.usual[seam.between], axis=0)).max()) / seam.usual_gap_m
        for seam in prediction.seams
        if seam.usual_gap_m
    ]


def print_jobs(prediction: Prediction, spread: Spread) -> None:
    """Print how far RMS errors and predicted sigmas agree."""
    found = ratios(prediction, spread)
    values = np.array(list(found.values()))
    print(f"simulated jobs: {dict(spread.outcomes)}")
    print(
        f"  RMS error over predicted sigma, {len(values)} figures: median {np.median(values):.2f},"
        f" from {values.min():.2f} to {values.max():.2f};"
        f" {np.mean(np.abs(values - 1) <= WITHIN):.0%} within 20 %"
    )
    for kind in ("pan", "tilt", "roll", "x", "y", "z", "place", "seam"):
        own = [value for key, value in found.items() if key.split(" ")[0] == kind]
        print(f"    {kind:6s} {min(own):.2f} to {max(own):.2f}")
    usual = usual_ratios(prediction, spread)
    print(f"  RMS gap over the usual gap predicted: {min(usual):.2f} to {max(usual):.2f}")


# ------------------------------------------------------------------------------------- drawn jobs


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One drawn job: its pictures by camera, and what is true of it."""

    pictures: dict[str, Picture]
    poses: dict[str, Pose]
    places: dict[str, Array]


def drawn(job: Job, deviations: Deviations, seed: int) -> Drawn:
    """Draw a job, with pictures as a camera's files would give them."""
    scene = draw_scene(job, deviations, seed)
    pictures = {}
    for camera in job.cameras:
        data = encoded(scene.pictures[camera.name], "a.jpg", deviations.light.jpeg_quality)
        bgr = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_COLOR)
        assert bgr is not None
        pictures[camera.name] = Picture.from_delivered(
            name=camera.name,
            file=camera.picture,
            sha256=f"{seed} {camera.name}",
            mirrored=camera.mirrored,
            bgr=bgr.astype(np.uint8),
        )
    return Drawn(
        pictures=pictures,
        poses={eye.camera.name: eye.pose for eye in scene.world.eyes},
        places={mark.id: mark.centre_m for mark in scene.world.marks},
    )


def inspected(job: Job, pictures: dict[str, Picture]) -> Inspection:
    """What `seamtrue check` makes of them."""
    return inspect(job, [pictures[camera.name] for camera in job.cameras])


def verdicts(inspection: Inspection) -> str:
    """The job's verdict and whatever is not as it should be."""
    parts = [
        *((f"camera {c.camera.name}", c) for c in inspection.cameras),
        *((f"strip {s.name}", s) for s in inspection.strips),
        *((m.name, m) for m in inspection.raised_marks),
        *((f"seam {' - '.join(s.between)}", s) for s in inspection.seams),
    ]
    odd = [f"{name} {each.verdict}" for name, each in parts if each.verdict not in GOOD]
    return f"{inspection.verdict}" + (f" ({', '.join(odd)})" if odd else "")


def drawn_ratios(prediction: Prediction, shown: Drawn, inspection: Inspection) -> list[float]:
    """Errors over predicted sigmas of one drawn job: aims, places, strips, raised marks."""
    job, over = prediction.job, []
    sigmas = {camera.name: camera for camera in prediction.cameras}
    for camera in inspection.cameras:
        if camera.adjusted is None:
            continue
        own, true = sigmas[camera.camera.name], shown.poses[camera.camera.name]
        over += list(camera.adjusted.aim.minus(true.aim) / np.array(own.aim_sigma_rad))
        off = camera.adjusted.pose.camera_in_ground_m - true.camera_in_ground_m
        over += list(off / np.array(own.position_sigma_m))
    planned = {mark.id: mark.centre_m for mark in planned_layout(job).marks}
    laid = {each.name: each for each in prediction.layings}
    for strip in inspection.strips:
        if strip.adjusted is None or laid[strip.name].mark not in strip.adjusted.mark_ids:
            continue
        row = strip.adjusted.mark_ids.index(laid[strip.name].mark)
        true_shift = (shown.places[laid[strip.name].mark] - planned[laid[strip.name].mark])[:2]
        off = strip.adjusted.mark_shift_m[row] - true_shift
        over += list(off / (laid[strip.name].sigma_m or np.nan))
    for mark in inspection.raised_marks:
        if mark.adjusted is not None and mark.adjusted.seen:
            off = mark.adjusted.shift_m - (shown.places[mark.name] - planned[mark.name])
            over += list(off / (laid[mark.name].sigma_m or np.nan))
    return over


def print_drawn(job: Job, prediction: Prediction, count: int) -> None:
    """Draw jobs with every stated sigma at work and inspect them."""
    for seed in range(count):
        shown = drawn(job, Deviations(small_errors=1.0), seed)
        inspection = inspected(job, shown.pictures)
        over = drawn_ratios(prediction, shown, inspection)
        rms = float(np.sqrt(np.mean(np.square(over))))
        print(f"  drawn {seed}: {verdicts(inspection)}; RMS error over predicted sigma {rms:.2f}")


def print_swaps(job: Job, shown: Drawn) -> None:
    """Pictures swapped between cameras must be told: the layout is lopsided for that."""
    for first, second in (("front", "rear"), ("left", "right")):
        mixed = {**shown.pictures, first: shown.pictures[second], second: shown.pictures[first]}
        inspection = inspected(job, mixed)
        said = {
            reason.code
            for camera in inspection.cameras
            for reason in camera.reasons
            if camera.camera.name in (first, second)
        }
        print(f"  {first} and {second} swapped: {inspection.verdict}, {sorted(said)}")


def of_length(job: Job, length_m: float) -> Job:
    """The sample's vehicle grown or shrunk: cameras keep their place on its faces."""
    low = 0.6 if length_m < 5 else 0.8 if length_m < 7 else 1.0
    width = 1.8 if length_m < 5 else 2.1 if length_m < 7 else min(2.55, 2.35 + 0.05 * length_m / 8)
    old = job.vehicle
    cameras = []
    for camera in job.cameras:
        x, y, z = camera.position_m
        x += np.sign(x) * (length_m - old.length_m) / 2
        y += np.sign(y) * (width - old.width_m) / 2
        cameras.append(replace(camera, position_m=np.array([x, y, z * low])))
    vehicle = Vehicle(length_m=length_m, width_m=width, height_m=(old.height_m or 3.0) * low)
    return replace(job, vehicle=vehicle, cameras=tuple(cameras), strips=(), marks=(), seams=())


def print_lengths(lengths: list[float], kinds: list[MarkKind]) -> None:
    """Propose, draw and inspect for bodies of other lengths, with every kind of mark asked for."""
    sample = job_from_text(vehicle_text(), "vehicle.toml", planning=True)
    for length, kind in product(lengths, kinds):
        found = propose(of_length(sample, length), mark=kind)
        if isinstance(found, NoProposal):
            print(f"{length:g} m: with marks of kind {kind}: no layout: {found.reasons[:3]}")
            continue
        choice = found.choice
        shown = drawn(found.job, Deviations(small_errors=1.0), 0)
        print(
            f"{length:g} m: {choice.size.words} {200 * choice.size.reach_m:.0f} cm, every"
            f" {choice.side_m:.2f} and {choice.end_m:.2f} m, rows {choice.rows}, raised"
            f" {choice.raised}, {found.minutes:.0f} min, {found.tried} tried:"
            f" {verdicts(inspected(found.job, shown.pictures))}"
        )
        print_swaps(found.job, shown)


# --------------------------------------------------------------------------------- centre sigmas


def print_centres() -> None:
    """Print measured over predicted centre sigma by size, on rendered and on drawn pictures."""
    sets = {name: read_inspection_input(SAMPLES / name / "job.toml") for name in RENDERED}
    job = sets[RENDERED[0]][0]
    shown = drawn(job, Deviations(), 0)
    sets["drawn"] = (job, tuple(shown.pictures[camera.name] for camera in job.cameras))
    print("measured over predicted centre sigma, median (marks), by size in px")
    print("  " + " ".join(f"{low:5.0f}-{high:<5.0f}" for low, high in BANDS))
    for name, (each, pictures) in sets.items():
        rows = np.array([row for row in _centres(each, pictures)])
        cells = []
        for low, high in BANDS:
            own = rows[(rows[:, 0] >= low) & (rows[:, 0] < high), 1]
            cells.append(f"{np.median(own):5.2f} ({len(own):2d})" if len(own) else "     -    ")
        print(f"  {'  '.join(cells)}  {name}")


def _centres(job: Job, pictures: tuple[Picture, ...]) -> list[tuple[float, float]]:
    """Size and measured over predicted sigma of every mark used."""
    layout, rows = planned_layout(job), []
    for camera, picture in zip(job.cameras, pictures, strict=True):
        prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
        outcome = identify(job, layout, camera, prior, picture.grey)
        if not isinstance(outcome, Identified):
            continue
        used = [s for s in outcome.sightings if s.status == "used" and s.measured is not None]
        marks = [layout.mark(sighting.id) for sighting in used]
        pose, lens = outcome.fit.pose, outcome.fit.lens
        predicted = forecast_covariances(pose, lens, marks, Light())
        _, slopes = d_pixel_d_mark(pose, lens, marks)
        for sighting, mark, slope, covariance in zip(used, marks, slopes, predicted, strict=True):
            if covariance is None or sighting.measured is None:
                continue
            size = 2 * np.linalg.norm(slope * np.array(half_extent(mark.shape)), axis=0).min()
            over = np.linalg.det(sighting.measured.covariance_px2) / np.linalg.det(covariance)
            rows.append((float(size), float(over**0.25)))
    return rows


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=200)
    parser.add_argument("--drawn", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--lengths", type=float, nargs="*", default=[])
    parser.add_argument("--marks", nargs="*", choices=KINDS, default=list(KINDS[:1]))
    parser.add_argument("--centres", action="store_true")
    given = parser.parse_args()
    if given.centres:
        print_centres()
        return
    for kind in given.marks:
        print_kind(kind, given.jobs, given.drawn, given.seed)
    print_lengths(given.lengths, given.marks)


def print_kind(kind: MarkKind, jobs: int, drawn_jobs: int, seed: int) -> None:
    """Propose with one kind of mark for the sample's vehicle; simulate, draw and inspect."""
    found, job = proposed(vehicle_text(), kind)
    prediction = predict(job)
    print(f"proposed from the figures of clear_day: {found.choice}")
    print(f"  {sum(len(s.at_m) for s in job.strips)} marks, {len(job.marks)} raised marks")
    exact = drawn(job, Deviations(), 0)
    print(f"  drawn as planned: {verdicts(inspected(job, exact.pictures))}")
    if jobs:
        print_jobs(prediction, run_jobs(prediction, jobs, np.random.default_rng(seed)))
    if drawn_jobs:
        print_drawn(job, prediction, drawn_jobs)
        print_swaps(job, exact)


if __name__ == "__main__":
    main()

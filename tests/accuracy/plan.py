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
from dataclasses import dataclass, replace
from itertools import product

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np

from tests.accuracy.plan_jobs import print_jobs, run_jobs
from tests.paths import CLEAR_DAY, SAMPLES
from vision.camera.geometry import Pose
from vision.camera.lens_prior import lens_prior
from vision.documents.check_words.saying import several
from vision.documents.job_text import job_text
from vision.files.disk import read_inspection_input
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.inspection.inspect import inspect
from vision.inspection.inspected import Inspection
from vision.job.job import Job, Vehicle
from vision.job.job_file import job_from_text
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.job.visibility import d_pixel_d_mark
from vision.marks.measure.forecast import Light, forecast_covariances
from vision.marks.picture import Picture
from vision.planning.assessment import Prediction
from vision.planning.prediction import predict
from vision.planning.proposal import NoProposal, Proposal, propose
from vision.planning.sizes import KINDS, MarkKind
from vision.practice.deviations import Deviations
from vision.practice.scene import draw_scene, drawn_file
from vision.units.arrays import Array

RENDERED = ("clear_day", "long_shadow")
GOOD = frozenset({"keep", "within"})
BANDS = ((4, 6), (6, 9), (9, 13), (13, 18), (18, 24), (24, 100))


def vehicle_text() -> str:
    """The sample's file as far as its cameras: nothing that lies on the ground."""
    text = CLEAR_DAY.read_text(encoding="utf-8")
    return text[: text.index("[strip.")]


def proposed(text: str, kind: MarkKind) -> tuple[Proposal, Job]:
    """Propose for a vehicle's file, and read the written job as a person's would be."""
    found = propose(job_from_text(text, "vehicle.toml", planning=True), mark=kind)
    if isinstance(found, NoProposal):
        raise SystemExit(f"no layout: {found.reasons}")
    return found, job_from_text(job_text(text, found), "job.toml")


# ------------------------------------------------------------------------------------- drawn jobs


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One drawn job: its pictures by camera, and what is true of it."""

    pictures: dict[str, Picture]
    poses: dict[str, Pose]
    places: dict[MarkId, Array]


def drawn(job: Job, deviations: Deviations, seed: int) -> Drawn:
    """Draw a job, with pictures as a camera's files would give them."""
    scene = draw_scene(job, deviations, seed)
    pictures = {}
    for camera in job.cameras:
        data = drawn_file(scene.pictures[camera.name], "a.jpg", deviations.light.jpeg_quality)
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
            off = mark.adjusted.shift_m - (
                shown.places[MarkId(mark.name)] - planned[MarkId(mark.name)]
            )
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
            f"{length:g} m: {several(choice.size.kind)}"
            f" {100 * max(choice.size.side.extent_m):.0f} cm, every {choice.side_m:.2f} and"
            f" {choice.end_m:.2f} m, rows {choice.rows}, raised {choice.raised},"
            f" {found.minutes:.0f} min, {found.tried} tried:"
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
            size = 2 * np.linalg.norm(slope * np.array(mark.shape.half_extent_m), axis=0).min()
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

"""Print, on simulated jobs, whether the stated uncertainties are true and faults rightly named.

    python -m tests.accuracy.network [--jobs 1000] [--faults 100] [--seed 1] [--sparse 300]
    python -m tests.accuracy.network --level 300
    python -m tests.accuracy.network --humps 50

Jobs are drawn as `tests.accuracy.simulation` has it. Every camera is fitted alone (`fit_plan`) and
all together (`adjust`), as in an inspection. Three kinds of job: with pictures only; the same with
cameras that share one type of lens; and with what a careful person would tape and gauge, on which
single faults are tried. No pictures are drawn: how well marks are measured is not tested here, and
neither is tape that deviates otherwise than the model has it. `--level` prints instead how bodies
that stand turned on their ground come out (`tests.accuracy.levels`), `--humps` what is named where
the ground under one strip is not even.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from dataclasses import dataclass, field

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from tests.accuracy.gross_faults import (
    FAULTS,
    HUMPS,
    MORE_FAULTS,
    NO_FAULT,
    Fault,
    outcome,
    undecided,
)
from tests.accuracy.levels import print_levels
from tests.accuracy.simulation import (
    Truth,
    dense,
    drawn_apart,
    known_lenses,
    known_wrong,
    sharing,
    simulate,
    with_readings,
)
from tests.paths import CLEAR_DAY
from vision.adjustment.adjusted import AdjustedStrip, Adjustment
from vision.adjustment.plan_fit import fit_plan
from vision.adjustment.search import adjust
from vision.camera.geometry import rotation_angle
from vision.camera.solver import NoFit
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.job.layout import planned_layout
from vision.units.arrays import Array
from vision.views.seams.gaps import seam_gaps

COVER = 1.959964
CLEAR = 1.5
"""A fault of this many times its minimal detectable bias should be named."""

SEAM_EVERY = 5
"""Seam points are 5 cm apart and go together; every fifth is judged."""


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


def run_jobs(job: Job, count: int, rng: np.random.Generator, fault: Fault = NO_FAULT) -> Figures:
    """Simulate, solve and compare `count` jobs with one fault, or with none."""
    figures, cause = Figures(), fault.cause
    while len(figures.seconds) < count:
        faults = fault.drawn(rng)
        truth = simulate(job, rng, faults)
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
            times = fault.times(result.groups[cause], faults.shift[cause], truth)
            figures.times.append(times)
            figures.named[f"{'clear' if times > CLEAR else 'unclear'} {word}"] += 1
            if fault.surely_named(result.groups[cause], faults.shift[cause]):
                figures.sure.append(word == "right")
            if word == "wrong":
                ties = [tuple(map(str, tie)) for tie in result.freed_alternatives]
                figures.wrong.append(f"{' + '.join(map(str, result.freed))} {ties}")
        else:
            figures.named[word] += 1
            figures.open.append(len(undecided(job, result)) / len(result.groups))
            measure(truth, result, figures)
        if cause and cause.kind == "strip":
            _measure_found(truth, result, cause.name, figures)
    return figures


def measure(truth: Truth, result: Adjustment, figures: Figures) -> None:
    """Compare one adjustment with the truth."""
    for camera in result.cameras:
        pose, fit = truth.poses[camera.name], truth.fits[camera.name]
        sigma = camera.aim_sigma_rad
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
    adjusted = {camera.name: camera for camera in result.cameras}
    for seam in seam_gaps(truth.job, truth.fits, result):
        known = np.flatnonzero(np.isfinite(seam.gaps_m).all(axis=1))[::SEAM_EVERY]
        if not len(known):
            continue
        ground = seam.points_m[known]
        true_gap = drawn_apart(truth, seam.between, truth.fits, ground)
        sigma = np.sqrt(np.diagonal(seam.covariances_m2[known], axis1=1, axis2=2))
        fine = np.isfinite(true_gap).all(axis=1)
        figures.note("seam gap", ((seam.gaps_m[known] - true_gap) / sigma)[fine])
        joint = drawn_apart(truth, seam.between, adjusted, ground)
        for kind, gap in (("joint", joint), ("single", true_gap)):
            length = np.linalg.norm(gap, axis=1)
            figures.error(f"seam {kind} (cm)", 100 * float(np.nanmedian(length)))


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


def print_faults(
    label: str, job: Job, faults: tuple[Fault, ...], given: argparse.Namespace
) -> None:
    """Print what is named for each kind of fault."""
    print(f"single faults in jobs with {label}, {given.faults} each; by how many times")
    print(f"its minimal detectable bias (MDB) the fault is: beyond {CLEAR}, and not")
    print("                         median                beyond                          not")
    words = "right   tie  open missed wrong"
    print(f"                         x MDB    {words}   {words}")
    for index, fault in enumerate(faults):
        rng = np.random.default_rng([given.seed, 10 + index])
        print_fault(fault.label, run_jobs(job, given.faults, rng, fault))


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


def print_speed(job: Job, rng: np.random.Generator) -> None:
    """Print CPU time of one adjustment, warm, and its ratio to the four cameras' own fits."""
    job = dense(job, 0.125)
    truth = None
    while truth is None:
        truth = simulate(job, rng)
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
    parser.add_argument("--level", type=int, default=0, help="jobs of each kind with levels only")
    parser.add_argument("--humps", type=int, default=0, help="jobs of each kind with humps only")
    given = parser.parse_args()
    job = job_from_text(CLEAR_DAY.read_bytes(), CLEAR_DAY.name)
    if given.level:
        print_levels(job, given.level, given.seed)
        return
    if given.humps:
        given.faults, lens_files = given.humps, with_readings(known_lenses(job))
        print_faults("pictures only", job, HUMPS, given)
        print_faults("fields of view, readings", with_readings(job), HUMPS, given)
        print_faults("lens files, readings", lens_files, HUMPS, given)
        return
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
        print_faults("readings and fields of view only", with_readings(job), every, given)
        print_faults("readings and lens files", with_readings(known_lenses(job)), FAULTS, given)


if __name__ == "__main__":
    main()

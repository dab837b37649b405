"""Print whether a comparison of two checks is silent when nothing changed and right when it did.

    python -m tests.accuracy.compare [--pairs 200] [--turns 100] [--seed 1]

Pairs of checks of one vehicle, drawn like those of `tests.accuracy.simulation` (its layout, stated
sigmas, marks that can be seen; no pictures are drawn): cameras and lenses stay, strips are laid
anew, or not, and every mark is measured anew. The second check of a turned pair has one camera
turned by half a degree about a random axis. Where a vehicle is said to stand differently, it rides
lower and leans. How well marks are measured is not tested here.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy.spatial.transform import Rotation

from tests.accuracy.simulation import (
    HEIGHT,
    START_SIGMA,
    WIDTH,
    Truth,
    fitted_alone,
    seen_points,
    simulate,
)
from tests.paths import CLEAR_DAY
from vision.adjustment.search import adjust
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import lens_prior
from vision.camera.solver import NoFit
from vision.comparison.change import Comparison, Epoch, Shared
from vision.comparison.compared import compare
from vision.comparison.settings import SETTINGS
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.job.layout import planned_layout
from vision.units.arrays import Array

TURN_RAD = float(np.radians(0.5))


@dataclass(frozen=True, kw_only=True)
class Between:
    """What happens between the two checks of a pair; nothing by default, strips laid anew.

    `exchanged` cameras were exchanged for others of their type, the same aim and place given.
    `camera` is turned by a rotation vector about a pivot at `arm_m` from its lens; `moved` is a
    strip and how far it is moved along x; `marks` is how many a camera shows, 0 for all.
    """

    camera: str = ""
    turn: Array = field(default_factory=lambda: np.zeros(3))
    arm_m: Array = field(default_factory=lambda: np.zeros(3))
    relaid: bool = True
    stance: Pose = field(default_factory=lambda: Pose(R=np.eye(3), t_m=np.zeros(3)))
    marks: int = 0
    moved: tuple[str, float] = ("", 0.0)
    exchanged: tuple[str, ...] = ()


def epoch_of(truth: Truth) -> Epoch | None:
    """What an inspection would keep of a simulated check."""
    adjustment = adjust(truth.job, planned_layout(truth.job), truth.observations)
    if isinstance(adjustment, NoFit):
        return None
    taking_part = {camera.name for camera in adjustment.cameras}
    return Epoch(
        job=truth.job,
        observations=tuple(o for o in truth.observations if o.name in taking_part),
        adjustment=adjustment,
        displays={name: (fit.pose, fit.lens) for name, fit in truth.fits.items()},
    )


def later_check(truth: Truth, between: Between, rng: np.random.Generator) -> Truth | None:
    """Look again with the same cameras after `between`."""
    job = truth.job
    after = Truth(job=job, lenses=dict(truth.lenses), places=dict(truth.places))
    for name in between.exchanged:
        after.lenses[name] = other_unit(truth.lenses[name], rng)
    if between.relaid:
        anew = simulate(job, rng)
        if anew is None:
            return None
        after.places = anew.places
    name, by_m = between.moved
    for mark in (each for each in planned_layout(job).marks if name and each.strip == name):
        after.places[mark.id] = after.places[mark.id] + [by_m, 0, 0]
    seen = []
    for camera in job.cameras:
        pose = truth.poses[camera.name]
        place = between.stance.transform(pose.camera_in_ground_m)
        R = pose.R @ between.stance.R.T
        turned = between.turn if camera.name == between.camera else np.zeros(3)
        along = R.T @ np.cross(turned, between.arm_m) + rng.normal(0, SETTINGS.give_m, 3)
        given = rng.normal(0, SETTINGS.give_rad, 3)
        pose = Pose.at(place, R).perturbed(np.r_[along, turned + given])
        after.poses[camera.name] = pose
        points = seen_points(after, camera.name, rng, between.marks)
        prior = lens_prior(job.lens_of(camera), WIDTH, HEIGHT)
        start = pose.perturbed(rng.normal(0, START_SIGMA, 6))
        one = fitted_alone(after, camera, prior, points, start)
        if one is None:
            return None
        seen.append(one)
    after.observations = tuple(seen)
    return after


def other_unit(lens: Lens, rng: np.random.Generator) -> Lens:
    """Another lens of the type: 1 % of focal length and 4 px of centre to either side."""
    vector = lens.as_vector()
    vector[:2] *= 1 + rng.normal(0, 0.01)
    vector[2:4] += rng.normal(0, 4.0, 2)
    return lens.with_vector(vector)


def pair(
    job: Job, between: Between, rng: np.random.Generator
) -> tuple[Epoch, Epoch, Truth, Truth] | None:
    """Draw two checks; None where a camera has no fit in one of them."""
    truth = simulate(job, rng)
    if truth is None:
        return None
    after = later_check(truth, between, rng)
    if after is None:
        return None
    first, second = epoch_of(truth), epoch_of(after)
    return None if first is None or second is None else (first, second, truth, after)


@dataclass(kw_only=True)
class Tally:
    """What was said over many pairs, and errors of the changes over their sigmas."""

    said: Counter[str] = field(default_factory=Counter)
    differently: int = 0
    over_sigma: dict[str, list[float]] = field(default_factory=dict)
    detectable_deg: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    def note(self, kind: str, values: Array) -> None:
        """Add errors over their sigmas."""
        self.over_sigma.setdefault(kind, []).extend(np.ravel(values).tolist())


def run_pairs(
    job: Job,
    count: int,
    rng: np.random.Generator,
    draw: Callable[[np.random.Generator], Between],
    shared: Shared,
) -> Tally:
    """Compare `count` pairs, each with what `draw` puts between its checks."""
    tally = Tally()
    while sum(tally.said.values()) < count:
        between = draw(rng)
        drawn = pair(job, between, rng)
        if drawn is None:
            continue
        before = time.process_time()
        result = compare(drawn[0], drawn[1], shared)
        tally.seconds.append(time.process_time() - before)
        if isinstance(result, NoFit):
            tally.said[result.code] += 1
            continue
        _measure(tally, result, between, drawn[2], drawn[3])
    return tally


def _measure(
    tally: Tally, result: Comparison, between: Between, truth: Truth, after: Truth
) -> None:
    named = {camera.name for camera in result.changed} | set(result.strips_moved)
    seen_from = {camera.name: camera.detectable_rad for camera in result.cameras}
    tally.detectable_deg += [float(np.degrees(each)) for each in seen_from.values()]
    if not between.camera:
        tally.said["alarm" if named else "silent"] += 1
    else:
        least = seen_from[between.camera]
        size = "seen" if least < np.linalg.norm(between.turn) else "too small to be sure"
        what = "right alone" if named == {between.camera} else "none named"
        if named - {between.camera}:
            what = "right and another" if between.camera in named else "wrong"
        tally.said[f"{size}: {what}"] += 1
    for camera in result.cameras:
        before, now = truth.poses[camera.name], after.poses[camera.name]
        on_body = Pose.at(np.zeros(3), now.R @ between.stance.R)
        place = between.stance.inverse().transform(now.camera_in_ground_m)
        # What was missed, or named without cause, was not estimated at all.
        if camera.turned == (camera.name == between.camera):
            off = camera.aim_rad - on_body.aim.minus(before.aim)
            tally.note("turn", off / camera.aim_sigma_rad)
        if not between.camera:
            off = camera.place_m - (place - before.camera_in_ground_m)
            tally.note("place", off / camera.place_sigma_m)
    stance = between.stance
    lean = np.arctan2(stance.R[2, 1], stance.R[2, 2])
    tally.note("height", (result.vehicle.height_m - stance.t_m[2]) / result.vehicle.height_sigma_m)
    tally.note("lean", (result.vehicle.lean_rad - lean) / result.vehicle.lean_sigma_rad)
    tally.differently += result.vehicle.significant


def report(label: str, tally: Tally) -> None:
    """Print one line of what was said, and one of how true the sigmas are."""
    print(f"{label}: {dict(tally.said)}; vehicle said to stand differently: {tally.differently}")
    p50, p95 = np.percentile(tally.detectable_deg, [50, 95])
    parts = [
        f"{kind} RMS {np.sqrt(np.mean(np.square(over))):.2f}, "
        f"{np.mean(np.abs(over) < 1.96):.1%} within 1.96"
        for kind, over in tally.over_sigma.items()
    ]
    print(f"  least turn seen: median {p50:.2f}, 95 % {p95:.2f} deg; {'; '.join(parts)}")
    print(f"  compare() median {np.median(tally.seconds):.2f} s CPU", flush=True)


def _unit(rng: np.random.Generator) -> Array:
    axis = rng.normal(size=3)
    return np.asarray(axis / np.linalg.norm(axis))


def _turned(job: Job, rng: np.random.Generator, **others: object) -> Between:
    name = job.cameras[int(rng.integers(len(job.cameras)))].name
    turn = TURN_RAD * _unit(rng)
    arm = rng.uniform(0, SETTINGS.arm_m) * _unit(rng)
    return Between(camera=name, turn=turn, arm_m=arm, **others)


def lowered(rng: np.random.Generator) -> Between:
    """A vehicle that rides lower and leans: within what is taken for ordinary."""
    lean = rng.normal(0, np.radians(1.0), 2)
    R = Rotation.from_rotvec([*lean, 0.0]).as_matrix()
    return Between(stance=Pose(R=R, t_m=np.array([0, 0, rng.normal(0, 0.03)])))


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=200)
    parser.add_argument("--turns", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    job = job_from_text(CLEAR_DAY.read_bytes(), CLEAR_DAY.name)
    untouched = Shared(untouched=True)
    kept = Shared(not_relaid=frozenset(strip.name for strip in job.strips))
    laid_anew, still, half = Between(), Between(relaid=False), partial(_turned, job)
    bracket = partial(half, relaid=False)
    nothing, turned = ("nothing changed", given.pairs), ("half a degree", given.turns)
    runs = (
        (*nothing, "strips laid anew", lambda rng: laid_anew, Shared()),
        (*nothing, "strips as they lay", lambda rng: still, kept),
        ("nothing changed", given.pairs // 2, "bracket check", lambda rng: still, untouched),
        ("vehicle lower and leaning", given.pairs // 4, "strips laid anew", lowered, Shared()),
        (*turned, "strips laid anew", half, Shared()),
        (*turned, "strips as they lay", partial(half, relaid=False), kept),
        ("half a degree", given.turns // 2, "bracket check", bracket, untouched),
        (
            "half a degree",
            given.turns // 2,
            "six marks a camera, as they lay",
            partial(half, relaid=False, marks=6),
            kept,
        ),
    )
    for number, (what, count, label, draw, shared) in enumerate(runs):
        if count:
            rng = np.random.default_rng([given.seed, number])
            tally = run_pairs(job, count, rng, draw, shared)
            report(f"{what}, {label}, {count} pairs", tally)


if __name__ == "__main__":
    main()

"""Jobs drawn from the sigmas that a plan was predicted with: do they spread as it predicts."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation

from tests.accuracy.simulation import Truth, drawn_apart, drawn_lens, fitted_alone, lay
from vision.adjustment.adjusted import Adjustment
from vision.adjustment.plan_fit import Points
from vision.adjustment.search import adjust
from vision.camera.geometry import Pose
from vision.camera.lens_prior import lens_prior
from vision.camera.solver import NoFit
from vision.job.layout import Layout, PlannedMark, place_sigma_m, planned_layout
from vision.job.mark_id import MarkId
from vision.planning.assessment import Prediction
from vision.units.arrays import Array
from vision.views.seams.gaps import seam_gaps

WITHIN = 0.2


@dataclass(kw_only=True)
class Spread:
    """Errors of every figure over the jobs, by what it is."""

    errors: dict[str, list[float]] = field(default_factory=dict)
    gaps: dict[tuple[str, str], list[Array]] = field(default_factory=dict)
    usual: dict[tuple[str, str], list[Array]] = field(default_factory=dict)
    shifts: dict[str, list[Array]] = field(default_factory=dict)
    outcomes: Counter[str] = field(default_factory=Counter)


def place_of(point: PlannedMark, layout: Layout, truth: Truth) -> Array:
    """Where a mark truly lies, or a corner of a board, which moves and turns with its board."""
    if point.id in truth.places:
        return truth.places[point.id]
    board = layout.mark_of(point.id)
    assert board.strip is not None
    along = np.diff(truth.ends[board.strip], axis=0)[0]
    planned = truth.job.strip(board.strip).along
    turn = Rotation.from_euler("z", np.arctan2(*along[::-1]) - np.arctan2(*planned[::-1]))
    return np.asarray(truth.places[board.id] + turn.apply(point.centre_m - board.centre_m))


def simulated(prediction: Prediction, rng: np.random.Generator) -> Truth | None:
    """One job drawn from its own sigmas; None where a camera has no fit."""
    job, layout = prediction.job, planned_layout(prediction.job)
    truth, observations = Truth(job=job), []
    lay(truth, rng, bowed=False)
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
            mark_sigma_m=np.array([place_sigma_m(job, mark) for mark in marks]),
            pixels_px=true_px + np.array(noise),
            covariance_px2=np.array([v.covariance_px2 for v in seen]),
        )
        one = fitted_alone(truth, camera, prior, points, pose)
        if one is None:
            return None
        observations.append(one)
    truth.observations = tuple(observations)
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
            true = truth.places[MarkId(mark.name)] - planned[MarkId(mark.name)]
            spread.shifts.setdefault(mark.name, []).append(mark.shift_m - true)
    worst_at = {seam.between: seam.worst_at_m for seam in prediction.seams}
    for seam in seam_gaps(job, truth.fits, result):
        true_gaps = drawn_apart(truth, seam.between, truth.fits, seam.points_m)
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
        result = adjust(prediction.job, layout, truth.observations)
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

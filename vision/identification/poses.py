"""Poses carried side by side: refined by looking for every drawn mark, compared by evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.adjustment.plan_fit import PlanFit, Points, fit_plan
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import LensPrior
from vision.camera.solver import NoFit
from vision.identification.hypotheses import (
    AXIS_SCALES,
    Cameras,
    Sought,
    coarse_cameras,
    search,
)
from vision.job.job import Board, Camera, Cross, Job
from vision.job.layout import PlannedMark
from vision.job.pattern import half_extent
from vision.job.visibility import d_pixel_d_mark
from vision.marks.candidates import Kind, find_candidates
from vision.marks.measure.matching import match
from vision.units.arrays import Array

DISTINCT_PX, DISTINCT_PERCENT = 8.0, 85
"""Poses most of whose marks lie closer than this are one pose. Not half of them: a pose may be
right at one end of a strip and a mark off at the other, and the right one lies beside it."""
SAME_PX, SAME_SPACING = 4.0, 0.4
"""Poses name a mark alike that both see within this of one place, or that one puts nearer to where
the other does than this share of the way to its nearest neighbour: less than half of it."""
CARRIED = 6
"""Distinct poses carried to the comparison: on practice pictures the right one leads by far."""
CARRIED_SHARE = 0.35
"""Poses whose candidates' score is below this share of the best are dropped before drawing."""
LOOKS = ((7.0, 0.55, 0.3), (3.0, 0.4, 0.15))
"""Each look for the drawn marks: reach in px, correlation that counts as seen, sigma in px of its
place. Asphalt and edges rarely pass 0.5 within 7 px, and a mark cut by a shadow's edge often does
not, so the second look is closer and kinder."""
ENOUGH_SHARE, LEAST_GAIN, MOST_AGAIN = 0.75, 0.5, 2
"""A pose with less than this share of the evidence due may have a part of its marks a mark off:
it is refined again from where it is, up to so often, as long as the evidence grows by this."""
LEAST_SEEN_SHARE = 1 / 3
"""Beside a pose with enough evidence, one is dropped that sees less than this share of its marks
at the first look: right poses see half at the least, and a rival has to see 0.7 in the end."""
LEAST_MARKS = 5
"""One more than a plan fit needs."""
SIZE_SEEN_PX = (4.0, 14.0)
"""Shorter extent of a mark at which it begins to be expected, and at which it surely is."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CarriedPose:
    """One pose on its way to the comparison."""

    pose: Pose
    lens: Lens
    evidence: float
    seen: int
    expected: float
    found_px: Array
    correlation: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """What every step needs: the picture, the camera, and the marks that can be looked for.

    `grey` is measured in and `noise` its noise. Marks are looked for in `looked_at`, which may be
    without a veil, and closer in `soft`: see `unveiled` and `softened`.
    """

    job: Job
    grey: np.ndarray
    camera: Camera
    prior: LensPrior
    marks: tuple[PlannedMark, ...]
    clear: np.ndarray
    size: tuple[int, int]
    noise: float
    looked_at: np.ndarray
    soft: np.ndarray


def _expected(task: Task, place_m: Array, f_px: float) -> Array:
    """How surely each mark ought to be seen, 0 to 1, by its foreshortened size in the picture."""
    centres = np.array([mark.centre_m for mark in task.marks])
    half = np.array([min(half_extent(mark.shape)) for mark in task.marks])
    away = place_m - centres
    range_m = np.linalg.norm(away, axis=1)
    size = 2 * half * f_px * away[:, 2] / range_m**2
    low, high = SIZE_SEEN_PX
    return np.where(task.clear, np.clip((size - low) / (high - low), 0.0, 1.0), 0.0)


def carried_poses(task: Task) -> list[CarriedPose]:
    """The distinct poses that stand up to a look for each drawn mark, best first."""
    guess = task.prior.guess
    half_field = _half_field(guess)
    kinds = [(_kind(mark), mark.ink) for mark in task.marks]
    looks = sorted(set(kinds))
    f_px = 0.5 * guess.width / half_field
    widest_px = _widest_line_px(task, f_px)
    found = find_candidates(task.looked_at, looks, widest_px, noise=task.noise)
    weight = _expected(task, task.camera.position_m, f_px)
    points = np.array([mark.centre_m for mark in task.marks])
    worth = weight > 0
    if sum(len(each.strength) for each in found) < LEAST_MARKS or worth.sum() < LEAST_MARKS:
        return []
    cameras, scores = search(
        coarse_cameras(task.camera.aim, task.camera.position_m, guess, half_field, AXIS_SCALES),
        Sought(
            points_m=points[worth],
            weight=weight[worth],
            kind=np.array([looks.index(kind) for kind in kinds])[worth],
            found=found,
        ),
        task.size,
    )
    starts = [_start(cameras, index, guess) for index in _distinct(cameras, scores, points[worth])]
    refined: list[CarriedPose] = []
    for start in starts:
        if any(_leads_to(task, start, pose) for pose in refined):
            continue
        settled = [pose.seen for pose in refined if pose.evidence >= ENOUGH_SHARE * pose.expected]
        pose = _refined(task, *start, least_seen=LEAST_SEEN_SHARE * max(settled, default=0))
        if pose is not None:
            refined.append(pose)
    if all(pose.evidence < ENOUGH_SHARE * pose.expected for pose in refined):
        refined = [_settled(task, pose) for pose in refined]
    kept: list[CarriedPose] = []
    for pose in sorted(refined, key=lambda pose: -pose.evidence):
        if all(_agreement(pose, other) <= 0.5 for other in kept):
            kept.append(pose)
    return kept


def _widest_line_px(task: Task, f_px: float) -> float:
    """How wide the nearest line of a cross, or square of a board, may be in the picture, px."""
    widest = 0.0
    for mark, clear in zip(task.marks, task.clear, strict=True):
        match mark.shape:
            case Cross(line_m=width_m) | Board(square_m=width_m) if clear:
                range_m = float(np.linalg.norm(mark.centre_m - task.camera.position_m))
                widest = max(widest, width_m * f_px / range_m)
    return widest


def _leads_to(task: Task, start: tuple[Pose, Lens], settled: CarriedPose) -> bool:
    """Whether a pose names the marks as one does that has been settled with enough evidence.

    Most of its marks then lie nearer to where that one puts them than to any of their neighbours.
    """
    if settled.evidence < ENOUGH_SHARE * settled.expected:
        return False
    theirs = d_pixel_d_mark(settled.pose, settled.lens, task.marks)[0]
    ours = d_pixel_d_mark(*start, task.marks)[0]
    seen = settled.correlation > 0
    apart = np.linalg.norm(theirs[:, None] - theirs[None, seen], axis=-1)
    apart[apart == 0] = np.inf
    gap = np.linalg.norm(ours - theirs, axis=1) / apart.min(axis=1)
    return bool(np.nanmedian(gap[seen]) < SAME_SPACING)


def _agreement(a: CarriedPose, b: CarriedPose) -> float:
    """Share of the marks one pose sees that another sees in the same place.

    Two poses that name the same marks alike are one identity, however well each has converged.
    """
    both = (a.correlation > 0) & (b.correlation > 0)
    gap = np.linalg.norm(a.found_px[both] - b.found_px[both], axis=1)
    return float((gap < SAME_PX).sum() / max(min(a.seen, b.seen), 1))


def _kind(mark: PlannedMark) -> Kind:
    match mark.shape:
        case Cross():
            return "cross"
        case Board():
            return "board"
        case _:
            return "saddle"


def _half_field(guess: Lens) -> float:
    """Half the angle between the rays through the picture's left and right edges."""
    edges = guess.unproject(
        np.array([[-0.5, guess.cy], [guess.width - 0.5, guess.cy]], dtype=np.float64)
    )
    angles = np.arctan2(np.abs(edges[:, 0]), edges[:, 2])
    return float(np.nanmean(angles)) if np.isfinite(angles).any() else guess.monotone_limit_rad


def _distinct(cameras: Cameras, scores: Array, points_m: Array) -> list[int]:
    """Indices of the best poses that differ from each other."""
    pixels, _ = cameras.project(points_m)
    kept: list[int] = []
    for index in range(len(scores)):
        # A best score below zero says little: then looking decides.
        poor = scores[0] > 0 and scores[index] < CARRIED_SHARE * scores[0]
        if poor or len(kept) == CARRIED:
            break
        apart = [
            np.percentile(np.linalg.norm(pixels[index] - pixels[k], axis=1), DISTINCT_PERCENT)
            for k in kept
        ]
        if all(gap > DISTINCT_PX for gap in apart):
            kept.append(index)
    return kept


def _start(cameras: Cameras, index: int, guess: Lens) -> tuple[Pose, Lens]:
    """The full pose and lens of one coarse camera."""
    a0, a1 = cameras.curve[index]
    f = cameras.f0 * a0
    lens = Lens(
        width=guess.width,
        height=guess.height,
        fx=float(f),
        fy=float(f),
        cx=float(cameras.centre_px[index, 0]),
        cy=float(cameras.centre_px[index, 1]),
        k=np.array([a1 / a0 / cameras.half_field_rad**2, 0.0, 0.0, 0.0]),
    )
    u, _, vt = np.linalg.svd(cameras.R[index])
    return Pose.at(cameras.place_m[index], u @ vt), lens


def _look(
    task: Task, pose: Pose, lens: Lens, look: tuple[float, float, float]
) -> tuple[Array, Array]:
    """Look for every drawn mark: where (n, 2), NaN where not tried; how alike (n,), 0 not seen."""
    reach_px, least, _ = look
    found, correlation = match(task.soft, pose, lens, task.marks, reach_px)
    found[~np.isfinite(correlation)] = np.nan
    return found, np.where(np.nan_to_num(correlation) > least, correlation, 0.0)


def expected_weight(task: Task, pose: Pose, lens: Lens) -> Array:
    """How surely each mark ought to be seen from a pose, 0 to 1 (n,); 0 outside the picture."""
    f_px = float(np.sqrt(lens.fx * lens.fy))
    inside = lens.contains(d_pixel_d_mark(pose, lens, task.marks)[0])
    return np.where(inside, _expected(task, pose.camera_in_ground_m, f_px), 0.0)


def _settled(task: Task, best: CarriedPose) -> CarriedPose:
    """A pose that tells of little, refined again from where it and its parts lead to."""
    for _ in range(MOST_AGAIN):
        starts = [(best.pose, best.lens), *_parts(task, best)]
        again = [found for start in starts if (found := _refined(task, *start)) is not None]
        better = max(again, key=lambda each: each.evidence, default=best)
        if better.evidence < best.evidence + LEAST_GAIN:
            break
        best = better
        if best.evidence >= ENOUGH_SHARE * best.expected:
            break
    return best


def _parts(task: Task, carried: CarriedPose) -> list[tuple[Pose, Lens]]:
    """The pose fitted to its marks in a part of the picture alone: to its left, or to its right.

    Where one end of a strip is a mark off, the other end's marks are right, and lead to the rest.
    """
    seen = np.flatnonzero(carried.correlation > 0)
    across = carried.found_px[seen, 0]
    poses = []
    low, middle, high = np.percentile(across, [30, 50, 70])
    masks = (across <= middle, across > middle, across <= high, across > low)
    for half in (seen[mask] for mask in masks):
        if len(half) < LEAST_MARKS:
            continue
        covariance = np.broadcast_to(np.eye(2), (len(half), 2, 2)) * LOOKS[-1][2] ** 2
        marks = [task.marks[i] for i in half]
        fit = fit_points(
            task, marks, carried.found_px[half], covariance, (carried.pose, carried.lens)
        )
        if not isinstance(fit, NoFit):
            poses.append((fit.pose, fit.lens))
    return poses


def _refined(task: Task, pose: Pose, lens: Lens, least_seen: float = 0.0) -> CarriedPose | None:
    """Look for every drawn mark twice, each time with a fit to what was seen.

    None if there is no fit, or one to fewer marks than `least_seen` after either look.
    """
    used = np.zeros(len(task.marks), dtype=bool)
    for look in LOOKS:
        found, alike = _look(task, pose, lens, look)
        sigma_px = look[2]
        seen = np.flatnonzero(alike > 0)
        covariance = np.broadcast_to(np.eye(2), (len(seen), 2, 2)) * sigma_px**2
        marks = [task.marks[i] for i in seen]
        fit = fit_points(task, marks, found[seen], covariance, (pose, lens))
        if isinstance(fit, NoFit):
            return None
        pose, lens = fit.pose, fit.lens
        used[:] = False
        used[seen] = fit.used
        if used.sum() < least_seen:
            return None
    # A mark that cannot be tried is not missed.
    weight = np.where(np.isfinite(found[:, 0]), expected_weight(task, pose, lens), 0.0)
    evidence = float(np.where(used, weight * alike, -0.5 * weight).sum())
    return CarriedPose(
        pose=pose,
        lens=lens,
        evidence=evidence,
        seen=int(used.sum()),
        expected=float(weight.sum()),
        found_px=found,
        correlation=np.where(used, alike, 0.0),
    )


def fit_points(
    task: Task,
    marks: Sequence[PlannedMark],
    pixels: Array,
    covariance: Array,
    start: tuple[Pose, Lens],
) -> PlanFit | NoFit:
    """Fit the plan to marks found at pixels (n, 2) with covariance (n, 2, 2)."""
    points = Points.of(task.job, marks, pixels, covariance)
    return fit_plan(task.camera, task.prior, points, start)

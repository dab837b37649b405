"""Poses carried side by side: refined by template matching of every mark, compared by evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.adjustment.plan_fit import PlanFit, Points, fit_plan
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import resized
from vision.camera.solver import NoFit
from vision.identification.hypotheses import (
    Cameras,
    Sought,
    coarse_cameras,
    search,
)
from vision.identification.inputs import IdentificationInput
from vision.identification.settings import SETTINGS
from vision.identification.square_view import square_view
from vision.job.layout import PlannedMark
from vision.job.visibility import d_pixel_d_mark
from vision.marks.candidates import find_candidates
from vision.marks.measure.matching import match
from vision.units.arrays import Array


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

    @property
    def tells_enough(self) -> bool:
        """Whether so much of the evidence due is there that no part of it is a mark off."""
        return self.evidence >= SETTINGS.enough_share * self.expected


def _expected(given: IdentificationInput, place_m: Array, f_px: float) -> Array:
    """How surely each mark ought to be seen, 0 to 1, by its foreshortened size in the picture."""
    centres = given.centres_m
    half = np.array([min(mark.shape.half_extent_m) for mark in given.marks])
    away = place_m - centres
    range_m = np.linalg.norm(away, axis=1)
    size = 2 * half * f_px * away[:, 2] / range_m**2
    low, high = SETTINGS.size_seen_px
    return np.where(given.clear, np.clip((size - low) / (high - low), 0.0, 1.0), 0.0)


def searched(
    given: IdentificationInput, scales: tuple[float, ...] = SETTINGS.axis_scales
) -> tuple[Cameras, Array, Array, Lens] | None:
    """Coarse cameras with their scores, best first; the marks they rest on (n, 3), and the guess.

    None where there are too few marks or candidates. The guess is of square pixels.
    """
    whole = given.prior.guess
    guess, looked_at = square_view(whole, given.picture.looked_at)
    half_field = _half_field(guess)
    kinds = [(mark.shape.filter_name, mark.ink) for mark in given.marks]
    looks = sorted(set(kinds))
    f_px = 0.5 * guess.width / half_field
    widest_px = _widest_line_px(given, f_px)
    found = find_candidates(looked_at, looks, widest_px, noise=given.picture.noise)
    weight = _expected(given, given.camera.position_m, f_px)
    points = given.centres_m
    worth = weight > 0
    if (
        sum(len(each.strength) for each in found) < SETTINGS.least_marks
        or worth.sum() < SETTINGS.least_marks
    ):
        return None
    cameras, scores = search(
        coarse_cameras(given.camera.aim, given.camera.position_m, guess, half_field, scales),
        Sought(
            points_m=points[worth],
            weight=weight[worth],
            kind=np.array([looks.index(kind) for kind in kinds])[worth],
            found=found,
        ),
        (guess.width, guess.height),
    )
    return cameras, scores, points[worth], guess


def carried_poses(given: IdentificationInput) -> list[CarriedPose]:
    """The distinct poses that stand up to a look for each drawn mark, best first."""
    found = searched(given)
    if found is None:
        return []
    cameras, scores, points, guess = found
    whole = given.prior.guess
    starts = [
        (pose, resized(lens, whole.width, whole.height))
        for index in _distinct(cameras, scores, points)
        for pose, lens in [_start(cameras, index, guess)]
    ]
    refined: list[CarriedPose] = []
    for start in starts:
        if any(_leads_to(given, start, pose) for pose in refined):
            continue
        settled = [pose.seen for pose in refined if pose.tells_enough]
        pose = _refined(
            given, *start, least_seen=SETTINGS.least_seen_share * max(settled, default=0)
        )
        if pose is not None:
            refined.append(pose)
    if all(not pose.tells_enough for pose in refined):
        refined = [_settled(given, pose) for pose in refined]
    kept: list[CarriedPose] = []
    for pose in sorted(refined, key=lambda pose: -pose.evidence):
        if all(_agreement(pose, other) <= 0.5 for other in kept):
            kept.append(pose)
    return kept


def _widest_line_px(given: IdentificationInput, f_px: float) -> float:
    """How wide the nearest line of a cross, or square of a board, may be in the picture, px."""
    widest = 0.0
    for mark, clear in zip(given.marks, given.clear, strict=True):
        if clear:
            range_m = float(np.linalg.norm(mark.centre_m - given.camera.position_m))
            widest = max(widest, mark.shape.stroke_m * f_px / range_m)
    return widest


def _leads_to(given: IdentificationInput, start: tuple[Pose, Lens], settled: CarriedPose) -> bool:
    """Whether a pose names the marks as one does that has been settled with enough evidence.

    Most of its marks then lie nearer to where that one puts them than to any of their neighbours.
    """
    if not settled.tells_enough:
        return False
    theirs = d_pixel_d_mark(settled.pose, settled.lens, given.marks)[0]
    ours = d_pixel_d_mark(*start, given.marks)[0]
    seen = settled.correlation > 0
    apart = np.linalg.norm(theirs[:, None] - theirs[None, seen], axis=-1)
    apart[apart == 0] = np.inf
    gap = np.linalg.norm(ours - theirs, axis=1) / apart.min(axis=1)
    return bool(np.nanmedian(gap[seen]) < SETTINGS.same_spacing)


def _agreement(a: CarriedPose, b: CarriedPose) -> float:
    """Share of the marks one pose sees that another sees in the same place.

    Two poses that name the same marks alike are one identity, however well each has converged.
    """
    both = (a.correlation > 0) & (b.correlation > 0)
    gap = np.linalg.norm(a.found_px[both] - b.found_px[both], axis=1)
    return float((gap < SETTINGS.same_px).sum() / max(min(a.seen, b.seen), 1))


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
        poor = scores[0] > 0 and scores[index] < SETTINGS.carried_share * scores[0]
        if poor or len(kept) == SETTINGS.carried:
            break
        apart = [
            np.percentile(
                np.linalg.norm(pixels[index] - pixels[k], axis=1), SETTINGS.distinct_percent
            )
            for k in kept
        ]
        if all(gap > SETTINGS.distinct_px for gap in apart):
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
    given: IdentificationInput, pose: Pose, lens: Lens, look: tuple[float, float, float]
) -> tuple[Array, Array]:
    """Look for every drawn mark: where (n, 2), NaN where not tried; how alike (n,), 0 not seen."""
    reach_px, least, _ = look
    found, correlation = match(given.picture.soft, pose, lens, given.marks, reach_px)
    found[~np.isfinite(correlation)] = np.nan
    return found, np.where(np.nan_to_num(correlation) > least, correlation, 0.0)


def expected_weight(given: IdentificationInput, pose: Pose, lens: Lens) -> Array:
    """How surely each mark ought to be seen from a pose, 0 to 1 (n,); 0 outside the picture."""
    f_px = float(np.sqrt(lens.fx * lens.fy))
    inside = lens.contains(d_pixel_d_mark(pose, lens, given.marks)[0])
    return np.where(inside, _expected(given, pose.camera_in_ground_m, f_px), 0.0)


def _settled(given: IdentificationInput, best: CarriedPose) -> CarriedPose:
    """A pose that tells of little, refined again from where it and its parts lead to."""
    for _ in range(SETTINGS.most_again):
        starts = [(best.pose, best.lens), *_parts(given, best)]
        again = [found for start in starts if (found := _refined(given, *start)) is not None]
        better = max(again, key=lambda each: each.evidence, default=best)
        if better.evidence < best.evidence + SETTINGS.least_evidence_gain:
            break
        best = better
        if best.tells_enough:
            break
    return best


def _parts(given: IdentificationInput, carried: CarriedPose) -> list[tuple[Pose, Lens]]:
    """The pose fitted to its marks in a part of the picture alone: to its left, or to its right.

    Where one end of a strip is a mark off, the other end's marks are right, and lead to the rest.
    """
    seen = np.flatnonzero(carried.correlation > 0)
    across = carried.found_px[seen, 0]
    poses = []
    low, middle, high = np.percentile(across, [30, 50, 70])
    masks = (across <= middle, across > middle, across <= high, across > low)
    for half in (seen[mask] for mask in masks):
        if len(half) < SETTINGS.least_marks:
            continue
        start = carried.pose, carried.lens
        fit = _fit_seen(given, half, carried.found_px, SETTINGS.looks[-1][2], start)
        if not isinstance(fit, NoFit):
            poses.append((fit.pose, fit.lens))
    return poses


def _refined(
    given: IdentificationInput, pose: Pose, lens: Lens, least_seen: float = 0.0
) -> CarriedPose | None:
    """Look for every drawn mark twice, each time with a fit to what was seen.

    None if there is no fit, or one to fewer marks than `least_seen` after either look.
    """
    used = np.zeros(len(given.marks), dtype=bool)
    for look in SETTINGS.looks:
        found, alike = _look(given, pose, lens, look)
        seen = np.flatnonzero(alike > 0)
        fit = _fit_seen(given, seen, found, look[2], (pose, lens))
        if isinstance(fit, NoFit):
            return None
        pose, lens = fit.pose, fit.lens
        used[:] = False
        used[seen] = fit.used
        if used.sum() < least_seen:
            return None
    # A mark that cannot be tried is not missed.
    weight = np.where(np.isfinite(found[:, 0]), expected_weight(given, pose, lens), 0.0)
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


def _fit_seen(
    given: IdentificationInput,
    seen: NDArray[np.intp],
    found_px: Array,
    sigma_px: float,
    start: tuple[Pose, Lens],
) -> PlanFit | NoFit:
    """Fit the plan to the marks `seen` (k,), of all found (n, 2), each known to a sigma."""
    covariance = np.tile(np.eye(2) * sigma_px**2, (len(seen), 1, 1))
    return fit_points(given, [given.marks[i] for i in seen], found_px[seen], covariance, start)


def fit_points(
    given: IdentificationInput,
    marks: Sequence[PlannedMark],
    pixels: ArrayLike,
    covariance: ArrayLike,
    start: tuple[Pose, Lens],
) -> PlanFit | NoFit:
    """Fit the plan to marks found at pixels (n, 2) with covariance (n, 2, 2)."""
    points = Points.of(given.job, marks, pixels, covariance)
    return fit_plan(given.camera, given.prior, points, start)

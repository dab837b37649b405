"""One pose refined: every mark looked for by its drawing, the plan fitted to what was seen.

Out: `CarriedPose`, a pose with what speaks for it. Poses that name the same marks otherwise are
made here too: its parts, and each of its strips one mark on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.adjustment.plan_fit import PlanFit, Points, fit_plan
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.solver import NoFit
from vision.identification.inputs import IdentificationInput
from vision.identification.odds import shown, summed, tape_nats
from vision.identification.refusals import sizes_px
from vision.identification.settings import SETTINGS
from vision.identification.tape import tape_steps
from vision.job.layout import PlannedMark
from vision.job.visibility import d_pixel_d_mark
from vision.marks.measure.matching import MOST_COVERED, Matches, covered_share, match
from vision.units.arrays import Array, Flags


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CarriedPose:
    """One pose on its way to the comparison.

    `nats` is what its marks add up to, `row_nats` what those of its best strip do, `seen` how many
    the fit uses. The rest counts marks, each as surely as it is due: `confirmed` in their place,
    `contradicted` by ground or tape alone, and `expected` in all. `found_px` (n, 2) and
    `correlation` (n,), 0 for marks that are not used.
    """

    pose: Pose
    lens: Lens
    nats: float
    row_nats: float
    seen: int
    confirmed: float
    contradicted: float
    expected: float
    found_px: Array
    correlation: Array

    @property
    def tells_enough(self) -> bool:
        """Whether so many of the marks due are there that no part of it is a mark off."""
        return self.confirmed >= SETTINGS.enough_share * self.expected


def leads_to(given: IdentificationInput, start: tuple[Pose, Lens], known: CarriedPose) -> bool:
    """Whether a pose names the marks as one does that has been found with enough of them.

    Most of its marks then lie nearer to where that one puts them than to any of their neighbours.
    """
    if not known.tells_enough:
        return False
    theirs = d_pixel_d_mark(known.pose, known.lens, given.marks)[0]
    ours = d_pixel_d_mark(*start, given.marks)[0]
    seen = known.correlation > 0
    apart = np.linalg.norm(theirs[:, None] - theirs[None, seen], axis=-1)
    apart[apart == 0] = np.inf
    gap = np.linalg.norm(ours - theirs, axis=1) / apart.min(axis=1)
    return bool(np.nanmedian(gap[seen]) < SETTINGS.same_spacing)


def names_alike(a: CarriedPose, b: CarriedPose) -> bool:
    """Whether two poses name nearly all the marks alike that both see.

    Two poses that do are one identity, however well each has converged.
    """
    both = (a.correlation > 0) & (b.correlation > 0)
    gap = np.linalg.norm(a.found_px[both] - b.found_px[both], axis=1)
    enough = 2 * both.sum() >= min(a.seen, b.seen)
    return bool(enough) and float((gap < SETTINGS.same_px).sum()) > SETTINGS.same_names * len(gap)


def expected(given: IdentificationInput, place_m: Array, f_px: float) -> Array:
    """How surely each mark ought to be seen, 0 to 1, by its foreshortened size in the picture."""
    centres = given.centres_m
    half = np.array([min(mark.shape.half_extent_m) for mark in given.marks])
    away = place_m - centres
    range_m = np.linalg.norm(away, axis=1)
    size = 2 * half * f_px * away[:, 2] / range_m**2
    low, high = SETTINGS.size_seen_px
    return np.where(given.clear, np.clip((size - low) / (high - low), 0.0, 1.0), 0.0)


def _look(
    given: IdentificationInput,
    pose: Pose,
    lens: Lens,
    look: tuple[float, float, float],
) -> tuple[Matches, Flags]:
    """Look for every drawn mark: what was seen, and which (n,) are alike enough to be used."""
    reach_px, least, _ = look
    last, picture = look == SETTINGS.looks[-1], given.picture
    matches = match(
        picture.edges, pose, lens, given.marks, reach_px, covered=picture.covered, around=last
    )
    return matches, np.nan_to_num(matches.correlation) > least


def expected_weight(given: IdentificationInput, pose: Pose, lens: Lens) -> Array:
    """How surely each mark ought to be seen from a pose, 0 to 1 (n,); 0 outside the picture."""
    f_px = float(np.sqrt(lens.fx * lens.fy))
    inside = lens.contains(d_pixel_d_mark(pose, lens, given.marks)[0])
    if given.picture.covered is not None:
        inside &= covered_share(given.picture.covered, pose, lens, given.marks) <= MOST_COVERED
    return np.where(inside, expected(given, pose.camera_in_ground_m, f_px), 0.0)


def settled(given: IdentificationInput, best: CarriedPose) -> CarriedPose:
    """A pose that tells of little, refined again from where it and its parts lead to."""
    for _ in range(SETTINGS.most_again):
        starts = [(best.pose, best.lens), *_parts(given, best)]
        again = [found for start in starts if (found := refined(given, *start)) is not None]
        better = max(again, key=lambda each: each.nats, default=best)
        if better.nats < best.nats + SETTINGS.least_gain:
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


def one_mark_on(given: IdentificationInput, carried: CarriedPose) -> list[CarriedPose]:
    """The rivals that repeating marks make: each strip of a pose named one mark on, or back.

    The other strips' marks stay where they are as far as the fit can hold both; what it cannot
    hold it leaves out.
    """
    rivals = []
    row = {(mark.strip, mark.index): i for i, mark in enumerate(given.marks)}
    seen = np.flatnonzero(carried.correlation > 0).tolist()
    strips = dict.fromkeys(given.marks[i].strip for i in seen if given.marks[i].strip is not None)
    for strip in strips:
        own = [i for i in seen if given.marks[i].strip == strip]
        if len(own) < SETTINGS.least_on_strip:
            continue
        for way in (-1, 1):
            moved = [(row.get((strip, given.marks[i].index + way)), i) for i in own]
            pairs = [(to, i) for to, i in moved if to is not None]
            pairs += [(i, i) for i in seen if i not in own]
            found = np.full_like(carried.found_px, np.nan)
            named = np.array([to for to, _ in pairs], dtype=np.intp)
            found[named] = carried.found_px[[i for _, i in pairs]]
            start = carried.pose, carried.lens
            fit = _fit_seen(given, named, found, SETTINGS.looks[0][2], start)
            moved_ones = [to for to, i in moved if to is not None]
            held = 0 if isinstance(fit, NoFit) else int(fit.used[: len(moved_ones)].sum())
            if isinstance(fit, NoFit) or 2 * held <= len(moved_ones):
                continue
            matches, alike = _look(given, fit.pose, fit.lens, SETTINGS.looks[1])
            rough = _weighed(given, (fit.pose, fit.lens), matches, alike)
            if rough.nats > carried.nats - SETTINGS.worth_refining:
                again = refined(given, fit.pose, fit.lens)
                rough = again if again is not None and again.nats > rough.nats else rough
            rivals.append(rough)
    return rivals


def refined(
    given: IdentificationInput, pose: Pose, lens: Lens, least_seen: float = 0.0
) -> CarriedPose | None:
    """Look for every drawn mark twice, each time with a fit to what was seen.

    None if there is no fit, or one to fewer marks than `least_seen` after either look.
    """
    for look in SETTINGS.looks:
        matches, alike = _look(given, pose, lens, look)
        seen = np.flatnonzero(alike)
        fit = _fit_seen(given, seen, matches.found_px, look[2], (pose, lens))
        if isinstance(fit, NoFit):
            return None
        pose, lens = fit.pose, fit.lens
        used = np.zeros(len(given.marks), dtype=bool)
        used[seen] = fit.used
        if used.sum() < least_seen:
            return None
    return _weighed(given, (pose, lens), matches, used)


def _weighed(
    given: IdentificationInput, camera: tuple[Pose, Lens], matches: Matches, used: Flags
) -> CarriedPose:
    """A pose with what speaks for it and against it, each mark as surely as it ought to be seen."""
    pose, lens = camera
    predicted = d_pixel_d_mark(pose, lens, given.marks)[0]
    off_px = np.linalg.norm(matches.found_px - predicted, axis=1)
    light = np.array([mark.ink == "light" for mark in given.marks])
    told = shown(matches, off_px, sizes_px(camera, given.marks), light, used)
    weight = expected_weight(given, pose, lens)
    # A mark that is small, or half behind the body, may well be seen.
    due = np.where(np.isfinite(off_px), np.maximum(weight, SETTINGS.odds.least_due), 0.0)
    steps, tape_weight = tape_steps(given, pose, lens)
    away = np.linalg.norm(pose.camera_in_ground_m - given.camera.position_m)
    mounting = 0.5 * (float(away) / SETTINGS.mounting_sigma_m) ** 2
    return CarriedPose(
        pose=pose,
        lens=lens,
        nats=summed(told.nats, due) + summed(tape_nats(steps), tape_weight) - mounting,
        row_nats=_row_nats(given, told.nats, due),
        seen=int(used.sum()),
        confirmed=float(weight @ (told.seen & used)),
        contradicted=float(weight @ told.bare),
        expected=float(weight.sum()),
        found_px=matches.found_px,
        correlation=np.where(used, matches.correlation, 0.0),
    )


def _row_nats(given: IdentificationInput, nats: Array, due: Array) -> float:
    """What the marks of the strip that speaks most for a pose add up to; 0 where none does."""
    strip_of = np.array([mark.strip or "" for mark in given.marks])
    rows = [strip_of == name for name in dict.fromkeys(strip_of.tolist()) if name]
    return max((summed(nats[row], due[row]) for row in rows), default=0.0)


def _fit_seen(
    given: IdentificationInput,
    seen: NDArray[np.intp],
    found_px: Array,
    sigma_px: float,
    start: tuple[Pose, Lens],
) -> PlanFit | NoFit:
    """Fit the plan to the marks `seen` (k,), of all found (n, 2), each known to a sigma."""
    covariance = np.tile(np.eye(2) * sigma_px**2, (len(seen), 1, 1))
    points = Points.of(given.job, [given.marks[i] for i in seen], found_px[seen], covariance)
    return fit_plan(given.camera, given.prior, points, start, on_the_way=True)


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

"""Measuring the marks of a chosen pose: where they were seen, then where the fit puts them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from vision.adjustment.plan_fit import PlanFit
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.solver import NoFit
from vision.identification.doubt import doubts, may_be_hidden
from vision.identification.inputs import IdentificationInput
from vision.identification.refining import CarriedPose, fit_points
from vision.identification.refusals import (
    good_points,
    miscounted,
    moves_px,
    refusal,
    sizes_px,
    strangers,
)
from vision.identification.settings import SETTINGS
from vision.job.layout import PlannedMark, points_of
from vision.job.mark_id import MarkId
from vision.marks.measure.mark_fit import Measured, measure
from vision.units.arrays import Array
from vision.units.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredMarks:
    """What measuring gave: the plan fit, every point's measurement, and why some are refused."""

    fit: PlanFit
    results: dict[MarkId, Measured | None]
    refused: dict[MarkId, Reason]


def measured_marks(given: IdentificationInput, best: CarriedPose) -> MeasuredMarks | NoFit:
    """Measure the marks that a pose sees and fit the plan; then look again for what is missing.

    A mark that was first looked for in the wrong place, or correlated too little in a soft or noisy
    picture, is measured where the fit puts it.
    """
    results: dict[MarkId, Measured | None] = {}
    refused: dict[MarkId, Reason] = {}
    camera = best.pose, best.lens
    _measure(given, camera, _seen_points(given, best), results, refused)
    fit = fit_with_doubts(given, results, refused, camera)
    if isinstance(fit, NoFit):
        return fit
    again = _missed_points(given, fit, results)
    if again[0]:
        _measure(given, (fit.pose, fit.lens), again, results, refused)
        better = fit_with_doubts(given, results, refused, (fit.pose, fit.lens))
        fit = fit if isinstance(better, NoFit) else better
    wrong = miscounted(given, fit, results, refused)
    if wrong:
        refused.update(wrong)
        better = _fit(given, results, refused, (fit.pose, fit.lens))
        fit = fit if isinstance(better, NoFit) else better
    return MeasuredMarks(fit=fit, results=results, refused=refused)


def _fit(
    given: IdentificationInput,
    results: dict[MarkId, Measured | None],
    refused: Collection[MarkId],
    camera: tuple[Pose, Lens],
) -> PlanFit | NoFit:
    good = good_points(given.marks, results, refused)
    points, pixels = [point for point, _ in good], [result.pixel_px for _, result in good]
    covariance = [result.covariance_px2 for _, result in good]
    return fit_points(given, points, pixels, covariance, camera)


def fit_with_doubts(
    given: IdentificationInput,
    results: dict[MarkId, Measured | None],
    refused: dict[MarkId, Reason],
    camera: tuple[Pose, Lens],
) -> PlanFit | NoFit:
    """The fit to all good marks; doubtful ones only where the others allow it.

    Puts down why others are refused.
    """
    doubtful, small = _doubtful(given, results, refused, camera)
    sure = _fit(given, results, {*refused, *(point.id for point in doubtful)}, camera)
    if isinstance(sure, NoFit):
        return _fit(given, results, refused, camera)
    refused.update(doubts(given, sure, doubtful, results, small))
    whole = _fit(given, results, refused, (sure.pose, sure.lens))
    return sure if isinstance(whole, NoFit) else whole


def _doubtful(
    given: IdentificationInput,
    results: dict[MarkId, Measured | None],
    refused: Collection[MarkId],
    camera: tuple[Pose, Lens],
) -> tuple[list[PlannedMark], set[MarkId]]:
    """Good points that are in doubt, and the ids of all small ones, corners of small squares too.

    In doubt is what the body may hide, and small marks with hardly another of their strip: much
    looks like them, and alone in their part of the picture they bend the fit to themselves.
    """
    points = [point for point, _ in good_points(given.marks, results, refused)]
    strips = Counter(strip for strip, _ in {(point.strip, point.index) for point in points})
    hides = may_be_hidden(given.job.vehicle, camera[0].camera_in_ground_m, points)
    small = {
        point.id
        for point, size_px in zip(points, sizes_px(camera, points), strict=True)
        if size_px < (SETTINGS.small_square_px if point.is_corner else SETTINGS.small_px)
    }
    # A mark on no strip always stands alone, and what is laid wrong must not be lost here.
    alone = {
        point.id
        for point in points
        if point.strip is not None and strips[point.strip] < SETTINGS.least_together
    }
    doubtful = [
        point
        for point, hidden in zip(points, hides, strict=True)
        if hidden or (point.id in small & alone and not point.is_corner)
    ]
    return doubtful, small


def _seen_points(given: IdentificationInput, best: CarriedPose) -> tuple[list[PlannedMark], Array]:
    """Every point of the marks that were seen, and where to begin measuring it, (n, 2).

    A board's corners begin where the pose puts them, moved with the board as it was seen.
    """
    points: list[PlannedMark] = []
    starts: list[Array] = []
    for index in np.flatnonzero(best.correlation > 0):
        mark = given.marks[index]
        own = points_of(mark)
        middle = best.lens.project(best.pose.transform(mark.centre_m))
        pixels = best.lens.project(best.pose.transform(np.array([p.centre_m for p in own])))
        points += own
        starts += list(pixels + best.found_px[index] - middle)
    return points, np.array(starts).reshape(-1, 2)


def _missed_points(
    given: IdentificationInput, fit: PlanFit, results: dict[MarkId, Measured | None]
) -> tuple[list[PlannedMark], Array]:
    """Points that the fit does not have, and where it puts them, (n, 2), moved with their board."""
    row = {point_id: index for index, point_id in enumerate(fit.points.ids)}
    points: list[PlannedMark] = []
    starts: list[Array] = []
    for mark in given.marks:
        own = points_of(mark)
        missing = [point for point in own if point.id not in row]
        if not missing:
            continue
        rows = [row[point.id] for point in own if point.id in row]
        moved = np.zeros(2)
        if len(rows) >= SETTINGS.least_together:
            moved = np.median(fit.residual_px[rows], axis=0)
        points += missing
        pixels = fit.lens.project(fit.pose.transform(np.array([p.centre_m for p in missing])))
        starts += list(pixels + moved)
    if not points:
        return [], np.zeros((0, 2))
    sizes = sizes_px((fit.pose, fit.lens), points)
    places = np.array(starts)
    least = [
        SETTINGS.least_square_px if point.is_corner else SETTINGS.least_again_px for point in points
    ]
    with np.errstate(invalid="ignore"):
        worth = (sizes >= np.array(least)) & np.isfinite(places).all(axis=1)
    return [point for point, keep in zip(points, worth, strict=True) if keep], places[worth]


def _measure(
    given: IdentificationInput,
    camera: tuple[Pose, Lens],
    where: tuple[list[PlannedMark], Array],
    results: dict[MarkId, Measured | None],
    refused: dict[MarkId, Reason],
) -> None:
    """Measure points from where they are thought to be; put down results and refusals."""
    points, starts = where
    seen = given.picture
    known = [each for each in results.values() if each is not None]
    answers = tuple(
        each and each.with_sigma(given.prior.point_sigma_px)
        for each in measure(seen.grey, *camera, points, starts, seen.covered, known)
    )
    sizes = sizes_px(camera, points)
    moves = moves_px(points, starts, answers, sizes)
    for point, answer, move, size in zip(points, answers, moves, sizes, strict=True):
        if answer is None and results.get(point.id) is not None:
            continue
        results[point.id] = answer
        refused.pop(point.id, None)
        if answer is not None:
            why = refusal(point, answer, float(move), float(size), given.picture.noise)
            if why is not None:
                refused[point.id] = why
    refused.update(strangers(results, refused))


def measured_again(
    given: IdentificationInput, fit: PlanFit
) -> tuple[dict[MarkId, Measured | None], dict[MarkId, Reason]]:
    """Measure in another picture of the same view every point where the first one had it.

    Those that it did not have are looked for where its fit puts them. Answers the measurements and
    why some are refused.
    """
    results: dict[MarkId, Measured | None] = {}
    refused: dict[MarkId, Reason] = {}
    camera = fit.pose, fit.lens
    places = dict(zip(fit.points.ids, fit.points.pixels_px, strict=True))
    known = [p for mark in given.marks for p in points_of(mark) if p.id in places]
    starts = np.array([places[point.id] for point in known]).reshape(-1, 2)
    _measure(given, camera, (known, starts), results, refused)
    again = _missed_points(given, fit, results)
    if again[0]:
        _measure(given, camera, again, results, refused)
    return results, refused

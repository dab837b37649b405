"""Measuring the marks of a chosen pose: where they were seen, then where the fit puts them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vision.adjustment.plan_fit import PlanFit
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.solver import NoFit
from vision.identification.doubt import doubts, may_be_hidden
from vision.identification.inputs import IdentificationInput
from vision.identification.poses import CarriedPose, fit_points
from vision.identification.settings import SETTINGS
from vision.job.layout import BoardCorner, PlannedMark, points_of
from vision.job.mark_id import MarkId
from vision.job.pattern import half_extent
from vision.job.visibility import d_pixel_d_mark
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
    wrong = _miscounted(given, fit, results, refused)
    if wrong:
        refused.update(wrong)
        better = _fit(given, results, refused, (fit.pose, fit.lens))
        fit = fit if isinstance(better, NoFit) else better
    return MeasuredMarks(fit=fit, results=results, refused=refused)


def _miscounted(
    given: IdentificationInput,
    fit: PlanFit,
    results: dict[MarkId, Measured | None],
    refused: Collection[MarkId],
) -> dict[MarkId, Reason]:
    """Corners of boards that may have been counted from the next square, and why they are refused.

    A board moved by a square looks like itself but for its border, which small squares do not show.
    """
    found: dict[MarkId, Reason] = {}
    camera = fit.pose, fit.lens
    for mark in given.marks:
        corners = [each for each in _good([mark], results, refused) if is_corner(each[0])]
        if not corners:
            continue
        points = [point for point, _ in corners]
        square_px = float(sizes_px(camera, points).min())
        off = np.array([each.pixel_px for _, each in corners]) - d_pixel_d_mark(*camera, points)[0]
        moved_px = float(np.linalg.norm(np.median(off, axis=0)))
        if (
            square_px < SETTINGS.countable_square_px
            and moved_px > SETTINGS.most_of_a_square * square_px
        ):
            why = Reason("next-square", off_px=moved_px, square_px=square_px)
            found |= {point.id: why for point in points}
    return found


def _good(
    marks: Sequence[PlannedMark],
    results: Mapping[MarkId, Measured | None],
    refused: Collection[MarkId],
) -> list[tuple[PlannedMark, Measured]]:
    """Points of marks that were measured and not refused, each with its measurement."""
    return [
        (point, result)
        for mark in marks
        for point in points_of(mark)
        if (result := results.get(point.id)) is not None and point.id not in refused
    ]


def _fit(
    given: IdentificationInput,
    results: dict[MarkId, Measured | None],
    refused: Collection[MarkId],
    camera: tuple[Pose, Lens],
) -> PlanFit | NoFit:
    good = _good(given.marks, results, refused)
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
    points = [point for point, _ in _good(given.marks, results, refused)]
    strips = Counter(strip for strip, _ in {(point.strip, point.index) for point in points})
    hides = may_be_hidden(given.job.vehicle, camera[0].camera_in_ground_m, points)
    small = {
        point.id
        for point, size_px in zip(points, sizes_px(camera, points), strict=True)
        if size_px < (SETTINGS.small_square_px if is_corner(point) else SETTINGS.small_px)
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
        if hidden or (point.id in small & alone and not is_corner(point))
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
        SETTINGS.least_square_px if is_corner(point) else SETTINGS.least_again_px
        for point in points
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
    answers = measure(given.picture.grey, *camera, points, starts)
    sizes = sizes_px(camera, points)
    moves = _moves(points, starts, answers, sizes)
    for point, answer, move, size in zip(points, answers, moves, sizes, strict=True):
        if answer is None and results.get(point.id) is not None:
            continue
        results[point.id] = answer
        refused.pop(point.id, None)
        if answer is not None:
            why = _refusal(point, answer, float(move), float(size), given.picture.noise)
            if why is not None:
                refused[point.id] = why
    refused.update(_strangers(results, refused))


def _strangers(
    results: dict[MarkId, Measured | None], refused: dict[MarkId, Reason]
) -> dict[MarkId, Reason]:
    """Marks that were drawn much worse than the picture's others, and why they are refused."""
    good = {
        point_id: result
        for point_id, result in results.items()
        if result is not None and point_id not in refused
    }
    if not good:
        return {}
    noise = float(np.median([result.noise for result in good.values()]))
    blur = float(np.median([result.blur_px for result in good.values()]))
    strange = {}
    for point_id, result in good.items():
        if result.noise > SETTINGS.strange_noise * noise:
            strange[point_id] = Reason("noisier", times=result.noise / noise)
        elif result.blur_px > max(SETTINGS.strange_blur * blur, blur + SETTINGS.strange_blur_px):
            strange[point_id] = Reason("softer", times=result.blur_px / blur)
    return strange


def is_corner(point: PlannedMark) -> bool:
    """Whether a point is one of a board's corners."""
    return isinstance(point.shape, BoardCorner)


def _most_move(point: PlannedMark, shadow: bool, size_px: float) -> float:
    """How far from its start a point may be found, px."""
    if is_corner(point):
        share = SETTINGS.shaded_move_share if shadow else SETTINGS.corner_move_share
        return min(share * size_px, SETTINGS.most_corner_move_px)
    return float(
        np.clip(SETTINGS.move_share * size_px, SETTINGS.least_move_px, SETTINGS.most_move_px)
    )


def _moves(
    points: Sequence[PlannedMark], starts: Array, answers: Sequence[Measured | None], sizes: Array
) -> Array:
    """How far each point was found from its start, px (n,): a corner beside its board's others.

    `sizes` (n,) as `sizes_px` has it.
    """
    off = np.array(
        [
            np.full(2, np.nan) if answer is None else answer.pixel_px - begun
            for answer, begun in zip(answers, starts, strict=True)
        ]
    ).reshape(-1, 2)
    boards = [point.id.mark if is_corner(point) else None for point in points]
    for board in set(boards) - {None}:
        rows = [i for i, each in enumerate(boards) if each == board and np.isfinite(off[i, 0])]
        if len(rows) >= SETTINGS.least_together:
            together = np.median(off[rows], axis=0)
            alike = np.linalg.norm(off[rows] - together, axis=1) < SETTINGS.alike_px
            agreed = alike.sum() >= SETTINGS.alike_share * boards.count(board)
            most = SETTINGS.most_together_share * sizes[rows].min() if agreed else 0.0
            # Where most of a board is hidden, what is measured there says nothing together either.
            off[rows] -= together * (np.hypot(*together) < max(most, SETTINGS.most_corner_move_px))
    return np.asarray(np.linalg.norm(off, axis=1))


def sizes_px(camera: tuple[Pose, Lens], points: Sequence[PlannedMark]) -> Array:
    """Narrowest width of marks, or of the squares round a board's corner, in the picture (n,)."""
    size_m = [
        point.shape.square_m
        if isinstance(point.shape, BoardCorner)
        else 2 * min(half_extent(point.shape))  # type: ignore[arg-type]
        for point in points
    ]
    jacobians = d_pixel_d_mark(*camera, points)[1]
    smallest = np.full(len(points), np.nan)
    seen = np.isfinite(jacobians).all(axis=(1, 2))
    smallest[seen] = np.linalg.svd(jacobians[seen], compute_uv=False)[:, -1]
    return np.asarray(smallest * np.array(size_m))


def _refusal(
    point: PlannedMark, result: Measured, move_px: float, size_px: float, noise: float
) -> Reason | None:
    """Why a measurement is not to be trusted, or None.

    `move_px` is how far from its start it was found, `size_px` as `sizes_px` has it, `noise` the
    picture's.
    """
    ink_levels = abs(result.contrast) * result.noise
    clean = result.noise <= SETTINGS.noise_alone * noise and ink_levels >= SETTINGS.least_ink_levels
    contrast = SETTINGS.least_contrast_noisy if clean else SETTINGS.least_contrast
    explained = SETTINGS.least_explained_noisy if clean else SETTINGS.least_explained
    if result.contrast < contrast:
        return Reason("faint-ink", contrast=result.contrast)
    if result.explained < explained:
        return Reason("unlike-mark", explained=max(result.explained, 0.0))
    sigma_px = float(np.sqrt(np.linalg.eigvalsh(result.covariance_px2)[-1]))
    most_sigma_px = SETTINGS.most_corner_sigma_px if is_corner(point) else SETTINGS.most_sigma_px
    if sigma_px > min(most_sigma_px, SETTINGS.most_sigma_share * size_px):
        return Reason("centre-untold", sigma_px=sigma_px, size_px=size_px)
    if abs(result.turn_rad) > SETTINGS.most_turn_rad:
        return Reason("turned", turn_rad=abs(result.turn_rad))
    if move_px > _most_move(point, result.shadow, size_px):
        return Reason("ran-away")
    return None

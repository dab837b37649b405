"""Measuring the marks of a chosen pose: where they were seen, then where the fit puts them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from vision.adjustment.plan_fit import PlanFit
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.solver import NoFit
from vision.identification.doubt import doubts, may_be_hidden
from vision.identification.poses import CarriedPose, Task, fit_points
from vision.job.layout import BoardCorner, PlannedMark, points_of
from vision.job.mark_id import MarkId
from vision.job.pattern import half_extent
from vision.job.visibility import d_pixel_d_mark
from vision.marks.measure.mark_fit import Measured, measure
from vision.units.arrays import Array
from vision.units.reason import Reason

LEAST_EXPLAINED, LEAST_CONTRAST = 0.5, 3.0
NOISE_ALONE, LEAST_EXPLAINED_NOISY, LEAST_CONTRAST_NOISY = 1.4, 0.12, 1.5
LEAST_INK_LEVELS = 8.0
"""Where what the drawing leaves is within this much of the picture's own noise, nothing is there
but the mark and noise, and a faint mark is good enough: its covariance says how good. But less
than this many levels between ink and tape may be a stain."""
MOST_SIGMA_PX, MOST_CORNER_SIGMA_PX, MOST_SIGMA_SHARE = 0.6, 1.0, 0.25
"""Sigma of a centre from which on it cannot be told: of a mark, of a board's corner, and in shares
of a mark's narrowest width or of a board's square. A board has many corners and is not mistaken."""
LEAST_MOVE_PX, MOST_MOVE_PX, MOVE_SHARE = 1.0, 3.0, 0.3
"""How far from its start a mark may be found, beside a share of its narrowest width."""
MOST_CORNER_MOVE_PX, CORNER_MOVE_SHARE, SHADED_MOVE_SHARE = 1.2, 0.4, 0.15
"""The same of a board's corner, once its board has been found: a panel is flat, its print good. The
edge of what stands in front looks like a shadow's and pulls a corner along: less is allowed."""
ALIKE_PX, ALIKE_SHARE, MOST_TOGETHER_SHARE = 0.4, 0.75, 0.7
"""A board laid out of its place lies as far off as this share of its corners say alike, but up to
so many of its squares only: 1.4 squares off, along their diagonal, it looks the same."""
MOST_TURN_RAD = float(np.radians(8.0))
"""Marks are printed square to their tape to a degree or two."""
STRANGE_NOISE, STRANGE_BLUR, STRANGE_BLUR_PX = 3.0, 2.0, 1.0
"""A misfit of this many times that of the picture's other marks, or a blur of this many times
theirs and so much more in px, is something else as well: half a mark behind the body's edge."""
SMALL_PX, SMALL_SQUARE_PX = 6.0, 3.5
"""Narrowest width of a mark, or of a board's square, below which that is reason enough to miss it,
or to doubt it."""
LEAST_AGAIN_PX, LEAST_SQUARE_PX = 4.0, 2.0
"""Narrowest width of marks, and of boards' squares, that are looked for again."""
COUNTABLE_SQUARE_PX, MOST_OF_A_SQUARE = 4.0, 0.35
"""Narrowest width of squares whose board's border tells which is the first; and how far off, in
squares, a board of smaller ones may lie from where the other marks put it."""
LEAST_TOGETHER = 3
"""Corners of a board that say together how far it lies from where it was looked for; and marks of a
strip that do not lie by chance as they should."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Looked:
    """What measuring gave: the plan fit, every point's measurement, and why some are refused."""

    fit: PlanFit
    results: dict[MarkId, Measured | None]
    refused: dict[MarkId, Reason]


def measured_marks(task: Task, best: CarriedPose) -> Looked | NoFit:
    """Measure the marks that a pose sees and fit the plan; then look again for what is missing.

    A mark that was first looked for in the wrong place, or correlated too little in a soft or noisy
    picture, is measured where the fit puts it.
    """
    results: dict[MarkId, Measured | None] = {}
    refused: dict[MarkId, Reason] = {}
    camera = best.pose, best.lens
    _measure(task, camera, _seen_points(task, best), results, refused)
    fit = fit_with_doubts(task, results, refused, camera)
    if isinstance(fit, NoFit):
        return fit
    again = _missed_points(task, fit, results)
    if again[0]:
        _measure(task, (fit.pose, fit.lens), again, results, refused)
        better = fit_with_doubts(task, results, refused, (fit.pose, fit.lens))
        fit = fit if isinstance(better, NoFit) else better
    wrong = _miscounted(task, fit, results, refused)
    if wrong:
        refused.update(wrong)
        better = _fit(task, results, refused, (fit.pose, fit.lens))
        fit = fit if isinstance(better, NoFit) else better
    return Looked(fit=fit, results=results, refused=refused)


def _miscounted(
    task: Task, fit: PlanFit, results: dict[MarkId, Measured | None], refused: Collection[MarkId]
) -> dict[MarkId, Reason]:
    """Corners of boards that may have been counted from the next square, and why they are refused.

    A board moved by a square looks like itself but for its border, which small squares do not show.
    """
    found: dict[MarkId, Reason] = {}
    camera = fit.pose, fit.lens
    for mark in task.marks:
        corners = [
            (point, result)
            for point in points_of(mark)
            if is_corner(point)
            and (result := results.get(point.id)) is not None
            and point.id not in refused
        ]
        if not corners:
            continue
        points = [point for point, _ in corners]
        square_px = float(sizes_px(camera, points).min())
        off = np.array([each.pixel_px for _, each in corners]) - d_pixel_d_mark(*camera, points)[0]
        moved_px = float(np.linalg.norm(np.median(off, axis=0)))
        if square_px < COUNTABLE_SQUARE_PX and moved_px > MOST_OF_A_SQUARE * square_px:
            why = Reason("next-square", off_px=moved_px, square_px=square_px)
            found |= {point.id: why for point in points}
    return found


def _fit(
    task: Task,
    results: dict[MarkId, Measured | None],
    refused: Collection[MarkId],
    camera: tuple[Pose, Lens],
) -> PlanFit | NoFit:
    good = [
        (point, result)
        for mark in task.marks
        for point in points_of(mark)
        if (result := results.get(point.id)) is not None and point.id not in refused
    ]
    return fit_points(
        task,
        [point for point, _ in good],
        np.array([result.pixel_px for _, result in good]).reshape(-1, 2),
        np.array([result.covariance_px2 for _, result in good]).reshape(-1, 2, 2),
        camera,
    )


def fit_with_doubts(
    task: Task,
    results: dict[MarkId, Measured | None],
    refused: dict[MarkId, Reason],
    camera: tuple[Pose, Lens],
) -> PlanFit | NoFit:
    """The fit to all good marks; doubtful ones only where the others allow it.

    Puts down why others are refused.
    """
    doubtful, small = _doubtful(task, results, refused, camera)
    sure = _fit(task, results, {*refused, *(point.id for point in doubtful)}, camera)
    if isinstance(sure, NoFit):
        return _fit(task, results, refused, camera)
    refused.update(doubts(task, sure, doubtful, results, small))
    whole = _fit(task, results, refused, (sure.pose, sure.lens))
    return sure if isinstance(whole, NoFit) else whole


def _doubtful(
    task: Task,
    results: dict[MarkId, Measured | None],
    refused: Collection[MarkId],
    camera: tuple[Pose, Lens],
) -> tuple[list[PlannedMark], set[MarkId]]:
    """Good points that are in doubt, and the ids of all small ones, corners of small squares too.

    In doubt is what the body may hide, and small marks with hardly another of their strip: much
    looks like them, and alone in their part of the picture they bend the fit to themselves.
    """
    good = {
        mark.id: [
            point
            for point in points_of(mark)
            if results.get(point.id) is not None and point.id not in refused
        ]
        for mark in task.marks
    }
    strips = Counter(mark.strip for mark in task.marks if good[mark.id])
    points = [point for own in good.values() for point in own]
    hides = may_be_hidden(task.job.vehicle, camera[0].camera_in_ground_m, points)
    small = {
        point.id
        for point, size_px in zip(points, sizes_px(camera, points), strict=True)
        if size_px < (SMALL_SQUARE_PX if is_corner(point) else SMALL_PX)
    }
    # A mark on no strip always stands alone, and what is laid wrong must not be lost here.
    alone = {
        point.id
        for point in points
        if point.strip is not None and strips[point.strip] < LEAST_TOGETHER
    }
    doubtful = [
        point
        for point, hidden in zip(points, hides, strict=True)
        if hidden or (point.id in small & alone and not is_corner(point))
    ]
    return doubtful, small


def _seen_points(task: Task, best: CarriedPose) -> tuple[list[PlannedMark], Array]:
    """Every point of the marks that were seen, and where to begin measuring it, (n, 2).

    A board's corners begin where the pose puts them, moved with the board as it was seen.
    """
    points: list[PlannedMark] = []
    starts: list[Array] = []
    for index in np.flatnonzero(best.correlation > 0):
        mark = task.marks[index]
        own = points_of(mark)
        middle = best.lens.project(best.pose.transform(mark.centre_m))
        pixels = best.lens.project(best.pose.transform(np.array([p.centre_m for p in own])))
        points += own
        starts += list(pixels + best.found_px[index] - middle)
    return points, np.array(starts).reshape(-1, 2)


def _missed_points(
    task: Task, fit: PlanFit, results: dict[MarkId, Measured | None]
) -> tuple[list[PlannedMark], Array]:
    """Points that the fit does not have, and where it puts them, (n, 2), moved with their board."""
    row = {point_id: index for index, point_id in enumerate(fit.points.ids)}
    points: list[PlannedMark] = []
    starts: list[Array] = []
    for mark in task.marks:
        own = points_of(mark)
        missing = [point for point in own if point.id not in row]
        if not missing:
            continue
        rows = [row[point.id] for point in own if point.id in row]
        moved = np.zeros(2)
        if len(rows) >= LEAST_TOGETHER:
            moved = np.median(fit.residual_px[rows], axis=0)
        points += missing
        pixels = fit.lens.project(fit.pose.transform(np.array([p.centre_m for p in missing])))
        starts += list(pixels + moved)
    if not points:
        return [], np.zeros((0, 2))
    sizes = sizes_px((fit.pose, fit.lens), points)
    places = np.array(starts)
    least = [LEAST_SQUARE_PX if is_corner(point) else LEAST_AGAIN_PX for point in points]
    with np.errstate(invalid="ignore"):
        worth = (sizes >= np.array(least)) & np.isfinite(places).all(axis=1)
    return [point for point, keep in zip(points, worth, strict=True) if keep], places[worth]


def _measure(
    task: Task,
    camera: tuple[Pose, Lens],
    where: tuple[list[PlannedMark], Array],
    results: dict[MarkId, Measured | None],
    refused: dict[MarkId, Reason],
) -> None:
    """Measure points from where they are thought to be; put down results and refusals."""
    points, starts = where
    answers = measure(task.grey, *camera, points, starts)
    sizes = sizes_px(camera, points)
    moves = _moves(points, starts, answers, sizes)
    for point, answer, move, size in zip(points, answers, moves, sizes, strict=True):
        if answer is None and results.get(point.id) is not None:
            continue
        results[point.id] = answer
        refused.pop(point.id, None)
        if answer is not None:
            why = _refusal(point, answer, float(move), float(size), task.noise)
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
        if result.noise > STRANGE_NOISE * noise:
            strange[point_id] = Reason("noisier", times=result.noise / noise)
        elif result.blur_px > max(STRANGE_BLUR * blur, blur + STRANGE_BLUR_PX):
            strange[point_id] = Reason("softer", times=result.blur_px / blur)
    return strange


def is_corner(point: PlannedMark) -> bool:
    """Whether a point is one of a board's corners."""
    return isinstance(point.shape, BoardCorner)


def _most_move(point: PlannedMark, shadow: bool, size_px: float) -> float:
    """How far from its start a point may be found, px."""
    if is_corner(point):
        share = SHADED_MOVE_SHARE if shadow else CORNER_MOVE_SHARE
        return min(share * size_px, MOST_CORNER_MOVE_PX)
    return float(np.clip(MOVE_SHARE * size_px, LEAST_MOVE_PX, MOST_MOVE_PX))


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
        if len(rows) >= LEAST_TOGETHER:
            together = np.median(off[rows], axis=0)
            alike = np.linalg.norm(off[rows] - together, axis=1) < ALIKE_PX
            agreed = alike.sum() >= ALIKE_SHARE * boards.count(board)
            most = MOST_TOGETHER_SHARE * sizes[rows].min() if agreed else 0.0
            # Where most of a board is hidden, what is measured there says nothing together either.
            off[rows] -= together * (np.hypot(*together) < max(most, MOST_CORNER_MOVE_PX))
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
    clean = result.noise <= NOISE_ALONE * noise and ink_levels >= LEAST_INK_LEVELS
    contrast = LEAST_CONTRAST_NOISY if clean else LEAST_CONTRAST
    explained = LEAST_EXPLAINED_NOISY if clean else LEAST_EXPLAINED
    if result.contrast < contrast:
        return Reason("faint-ink", contrast=result.contrast)
    if result.explained < explained:
        return Reason("unlike-mark", explained=max(result.explained, 0.0))
    sigma_px = float(np.sqrt(np.linalg.eigvalsh(result.covariance_px2)[-1]))
    most_sigma_px = MOST_CORNER_SIGMA_PX if is_corner(point) else MOST_SIGMA_PX
    if sigma_px > min(most_sigma_px, MOST_SIGMA_SHARE * size_px):
        return Reason("centre-untold", sigma_px=sigma_px, size_px=size_px)
    if abs(result.turn_rad) > MOST_TURN_RAD:
        return Reason("turned", turn_rad=abs(result.turn_rad))
    if move_px > _most_move(point, result.shadow, size_px):
        return Reason("ran-away")
    return None

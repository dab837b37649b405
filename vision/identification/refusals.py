"""Why a measurement is no mark's centre: by itself, or beside others of picture and board."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from vision.adjustment.plan_fit import PlanFit
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.identification.inputs import IdentificationInput
from vision.identification.settings import SETTINGS
from vision.job.layout import PlannedMark, points_of
from vision.job.mark_id import MarkId
from vision.job.visibility import d_pixel_d_mark, narrowest_px
from vision.marks.measure.mark_fit import Measured
from vision.units.arrays import Array
from vision.units.reason import Reason


def sizes_px(camera: tuple[Pose, Lens], points: Sequence[PlannedMark]) -> Array:
    """Narrowest width of marks, or of the squares round a board's corner, in the picture (n,)."""
    half_m = [0.5 * point.shape.width_m for point in points]
    slopes = d_pixel_d_mark(*camera, points)[1]
    return narrowest_px(slopes * np.array(half_m).reshape(-1, 1, 1))


def refusal(
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
    most_sigma_px = SETTINGS.most_corner_sigma_px if point.is_corner else SETTINGS.most_sigma_px
    if sigma_px > min(most_sigma_px, SETTINGS.most_sigma_share * size_px):
        return Reason("centre-untold", sigma_px=sigma_px, size_px=size_px)
    if abs(result.turn_rad) > SETTINGS.most_turn_rad:
        return Reason("turned", turn_rad=abs(result.turn_rad))
    if move_px > _most_move(point, result.shadow, size_px):
        return Reason("ran-away")
    return None


def moves_px(
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
    boards = [point.id.mark if point.is_corner else None for point in points]
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


def _most_move(point: PlannedMark, shadow: bool, size_px: float) -> float:
    """How far from its start a point may be found, px."""
    if point.is_corner:
        share = SETTINGS.shaded_move_share if shadow else SETTINGS.corner_move_share
        return min(share * size_px, SETTINGS.most_corner_move_px)
    return float(
        np.clip(SETTINGS.move_share * size_px, SETTINGS.least_move_px, SETTINGS.most_move_px)
    )


def strangers(
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


def miscounted(
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
        corners = [each for each in good_points([mark], results, refused) if each[0].is_corner]
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


def good_points(
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

"""Marks in doubt: what is seen there may be a mirror image, half a mark, or none.

A polished flank mirrors the strips, and a mark that the body's edge cuts goes on in its own image:
both look like marks and lie near where a hidden mark ought to be, often at the picture's rim where
nothing else contradicts them. A stain may look like a small mark that stands alone in its part of
the picture. Such a mark is therefore held against what the others say, to which the camera was
fitted without it: it has to lie where they put it, as well as that fit, its strip as its other
marks show it, and its own laying are known. And where the body as stated hides it, nothing is taken
for it that is small, or that lies where the body would mirror another mark.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from vision.body import DEFAULT_MARGIN_M, body_hides
from vision.geometry import Array, Pose
from vision.identify.poses import Task, place_sigma
from vision.job import Board, Vehicle
from vision.layout import BoardCorner, PlannedMark, points_of
from vision.lens import Lens
from vision.measure import Measured
from vision.pattern import half_extent
from vision.plan_fit import CHI2_REJECT, PLACE_SIGMA_M, UNKNOWNS, PlanFit, ground_residual

CHI2_HIDDEN = 5.991
"""What is found where the body as stated hides a mark is mostly something else: it has to lie where
95 % of right ones do (chi-square of two degrees, -2 ln 0.05), not 99.9 % as others."""
PRINT_SIGMA_M = 0.001
"""How well a board's corners lie on their panel: common practice, no source."""
MIRROR_REACH_M = 2 * DEFAULT_MARGIN_M
"""How far off an image may lie square to the face that mirrors it: twice what a face may be off."""
MIRROR_SIGMAS = 3.0
"""How far off it may lie along that face, in sigmas of where the mark ought to be."""

Flags = NDArray[np.bool_]


def may_be_hidden(vehicle: Vehicle, place_m: Array, points: Sequence[PlannedMark]) -> Flags:
    """Whether a body some centimetres larger than stated hides any part of marks (n,).

    `place_m` (3,) is the camera's in ground coordinates. A mark is its centre and its four ends.
    """
    ends = np.array([_ends(point) for point in points]).reshape(-1, 3)
    hidden = body_hides(vehicle, place_m, ends, margin_m=-DEFAULT_MARGIN_M)
    return np.asarray(hidden.reshape(len(points), 5).any(axis=1))


def doubts(
    task: Task,
    fit: PlanFit,
    doubtful: Sequence[PlannedMark],
    results: Mapping[str, Measured | None],
    small: Collection[str] = (),
) -> dict[str, str]:
    """Why some of the doubtful marks that were measured are not to be used, by id.

    `fit` is that of the other marks; `small` names marks so small that much looks like them. Those
    of `doubtful` that are not measured are passed over.
    """
    found: dict[str, str] = {}
    network: _Network | None = None
    for point in doubtful:
        result = results.get(point.id)
        if result is None:
            continue
        network = network or _Network(task, fit)
        why = network.astray(point, result, small=point.id in small)
        if why is not None:
            found[point.id] = why
    return found


def _ends(point: PlannedMark) -> Array:
    """Centre and the four ends of a mark, (5, 3)."""
    along, across = half_extent(point.shape)  # type: ignore[arg-type]
    c, n = np.cos(point.heading_rad), np.sin(point.heading_rad)
    local = np.array([(0, 0), (along, 0), (-along, 0), (0, across), (0, -across)])
    turned = local @ np.array([[c, n], [-n, c]])
    return np.asarray(point.centre_m + np.column_stack([turned, np.zeros(5)]))


def d_ground(pose: Pose, lens: Lens, place_m: Array) -> tuple[Array, Array]:
    """How far off a place (3,) is seen on its height plane by its pixel, (2, 2), and by the camera.

    The latter (2, 14) is by the six steps of `Pose.perturbed` and the lens's eight parameters by
    which the camera is truly other than `pose` and `lens`. NaN where the lens does not see it.
    """
    _, d_point, d_lens = lens.project_with_derivatives(pose.transform(place_m))
    by_pixel = np.linalg.inv(d_point @ pose.R[:, :2])
    by_camera = np.column_stack([d_point @ pose.d_point_d_pose(place_m), d_lens])
    return np.asarray(by_pixel), np.asarray(by_pixel @ by_camera)


class _Network:
    """The marks that a fit used as one network: camera, lens, strips and boards are off by a bit.

    Unknown are the 14 of the fit, how far both ends of each strip are off, and each board. What a
    fit with independent marks does not know: a strip's next mark lies as its others do.
    """

    def __init__(self, task: Task, fit: PlanFit) -> None:
        self._task, self._fit = task, fit
        job = task.job
        starts = [UNKNOWNS + 4 * index for index in range(len(job.strips))]
        self._strips = dict(zip((strip.name for strip in job.strips), starts, strict=True))
        boards = [mark.id for mark in task.marks if isinstance(mark.shape, Board)]
        first = UNKNOWNS + 4 * len(job.strips)
        self._boards = {mark_id: first + 2 * index for index, mark_id in enumerate(boards)}
        self._points = {point.id: point for mark in task.marks for point in points_of(mark)}
        information, known = self._stated(first + 2 * len(boards))
        for row in np.flatnonzero(fit.used):
            point = self._points[fit.points.ids[row]]
            design, noise = self._row(point, fit.points.covariance_px2[row])
            weighted = design.T @ np.linalg.inv(noise)
            information += weighted @ design
            known += weighted @ fit.residual_m[row]
        self._covariance = np.linalg.inv(information)
        self._off = self._covariance @ known

    def _stated(self, count: int) -> tuple[Array, Array]:
        """Information (n, n) of what is stated about the unknowns, and that times it (n,)."""
        task, (pose, lens) = self._task, (self._fit.pose, self._fit.lens)
        information, known = np.zeros((count, count)), np.zeros(count)
        residual, d_lens = task.prior.residuals(lens)
        information[6:UNKNOWNS, 6:UNKNOWNS] = d_lens.T @ d_lens
        known[6:UNKNOWNS] = -d_lens.T @ residual
        information[:3, :3] = np.eye(3) / PLACE_SIGMA_M**2
        known[:3] = (task.camera.position_m - pose.camera_in_ground_m) / PLACE_SIGMA_M**2
        for name, start in self._strips.items():
            ends = np.arange(start, start + 4)
            information[ends, ends] = task.job.strip(name).position_sigma_m ** -2.0
        for mark_id, start in self._boards.items():
            both = np.arange(start, start + 2)
            strip = task.job.strip(mark_id.rsplit("/", 1)[0])
            information[both, both] = strip.mark_sigma_m**-2.0
        return information, known

    def _row(self, point: PlannedMark, covariance_px2: Array) -> tuple[Array, Array]:
        """How far off a point is seen (2,) by the unknowns, (2, n), and its own noise (2, 2), m."""
        planned = point.centre_m
        by_pixel, by_fit = d_ground(self._fit.pose, self._fit.lens, planned)
        design = np.zeros((2, UNKNOWNS + 4 * len(self._strips) + 2 * len(self._boards)))
        design[:, :UNKNOWNS] = by_fit
        noise = by_pixel @ covariance_px2 @ by_pixel.T
        if point.strip is None:
            return design, noise + np.eye(2) * place_sigma(self._task.job, point) ** 2
        strip = self._task.job.strip(point.strip)
        share = float((planned[:2] - strip.from_m) @ strip.along) / strip.length_m
        start = self._strips[point.strip]
        design[:, start : start + 4] = np.kron([1 - share, share], np.eye(2))
        if not isinstance(point.shape, BoardCorner):
            return design, noise + np.eye(2) * strip.mark_sigma_m**2
        board = self._boards[f"{point.strip}/{point.index}"]
        design[:, board : board + 2] = np.eye(2)
        return design, noise + np.eye(2) * PRINT_SIGMA_M**2

    def astray(self, point: PlannedMark, result: Measured, *, small: bool) -> str | None:
        """Why what was found for a doubtful point is not that point, or None."""
        fit = self._fit
        seen = ground_residual(fit.pose, fit.lens, result.pixel_px[None], point.centre_m[None])[0]
        if not np.isfinite(seen).all():
            return "what is seen there is not on the ground"
        place_m = fit.pose.camera_in_ground_m
        hidden = bool(body_hides(self._task.job.vehicle, place_m, point.centre_m[None])[0])
        if hidden and small:
            return "the body is in the way, and what is seen there is too small to tell"
        design, noise = self._row(point, result.covariance_px2)
        off = seen - design @ self._off
        total = design @ self._covariance @ design.T + noise
        # Written so that NaN, from beyond the lens, is refused too.
        if not off @ np.linalg.solve(total, off) <= (CHI2_HIDDEN if hidden else CHI2_REJECT):
            why = (
                f"what is seen there lies {np.hypot(*off) * 100:.1f} cm from where the other "
                "marks put it"
            )
            if not may_be_hidden(self._task.job.vehicle, place_m, [point])[0]:
                return why
            return f"the body may hide it, and {why}: a mirror image in the body, or half a mark"
        if not hidden:
            return None
        along_m = MIRROR_SIGMAS * np.sqrt(np.diag(total))
        mirrored = self._mirrored(point, point.centre_m[:2] + off, along_m)
        return mirrored and f"the body is in the way, and may show {mirrored} mirrored there"

    def _mirrored(self, point: PlannedMark, at_m: Array, along_m: Array) -> str | None:
        """Which mark's image in a face of the body may lie at a place (2,), or None.

        A face mirrors what lies before it to a camera before it; the image of a mark lies as far
        behind the face, at the same height. `along_m` (2,) is how far off it may be along a face.
        """
        vehicle, place_m = self._task.job.vehicle, self._fit.pose.camera_in_ground_m
        like = [
            other
            for other in self._points.values()
            if type(other.shape) is type(point.shape)
            and other.ink == point.ink
            and other.centre_m[2] == point.centre_m[2]
        ]
        for axis, size_m in enumerate((vehicle.length_m, vehicle.width_m)):
            side = np.sign(place_m[axis])
            least_m = size_m / 2 - DEFAULT_MARGIN_M
            if side * place_m[axis] < least_m:
                continue
            reach = along_m.copy()
            reach[axis] = MIRROR_REACH_M
            for other in like:
                image = other.centre_m[:2].copy()
                image[axis] = side * size_m - image[axis]
                before = side * other.centre_m[axis] > least_m
                if before and (np.abs(at_m - image) < reach).all():
                    return other.id
        return None

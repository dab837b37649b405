"""Possible blunders: what is seen of a mark may be a mirror image, half a mark, or none.

A polished flank mirrors the strips, and a mark that the body's edge cuts goes on in its own image:
both look like marks and lie near where a hidden mark ought to be, often at the picture's rim where
nothing else contradicts them. A stain may look like a small mark that stands alone in its part of
the picture. Such a mark is therefore held against what the others say, to which the camera was
fitted without it: it has to lie where they put it, as well as that fit, its strip as its other
marks show it, and its own laying are known. And where the body as stated hides it, nothing is taken
for it that is small or cut by an edge, or that lies where the body would mirror another mark; and
where it just hides it, by less than the body may be off, nothing small that does not clearly stand
out.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.left_out import left_out_points
from vision.adjustment.plan_fit import PlanFit, Points
from vision.adjustment.settings import SETTINGS as ADJUSTMENT
from vision.camera.statistics import chi_square_limit
from vision.identification.inputs import IdentificationInput
from vision.identification.settings import SETTINGS
from vision.job.body import body_hides
from vision.job.job import Vehicle
from vision.job.layout import PlannedMark, planned_layout, points_of
from vision.job.mark_id import MarkId
from vision.job.settings import SETTINGS as JOB
from vision.job.visibility import ends_m
from vision.marks.measure.mark_fit import Measured
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason

CHI2_HIDDEN = chi_square_limit(0.95, 2)
"""What is found where the body as stated hides a mark is mostly something else: it has to lie where
95 % of right ones do, not 99.9 % as others."""


def may_be_hidden(vehicle: Vehicle, place_m: Array, points: Sequence[PlannedMark]) -> Flags:
    """Whether a body some centimetres larger than stated hides any part of marks (n,).

    `place_m` (3,) is the camera's in ground coordinates. A mark is its centre and its four ends.
    """
    ends = ends_m(points).reshape(-1, 3)
    hidden = body_hides(vehicle, place_m, ends, margin_m=-JOB.body_margin_m)
    return np.asarray(hidden.reshape(len(points), 5).any(axis=1))


def doubts(
    given: IdentificationInput,
    fit: PlanFit,
    doubtful: Sequence[PlannedMark],
    results: Mapping[MarkId, Measured | None],
    small: Collection[MarkId] = (),
) -> dict[MarkId, Reason]:
    """Why some of the doubtful marks that were measured are not to be used, by id.

    `fit` is that of the other marks; `small` names marks so small that much looks like them. Those
    of `doubtful` that are not measured are passed over.
    """
    asked = [(point, seen) for point in doubtful if (seen := results.get(point.id)) is not None]
    if not asked:
        return {}
    place_m = fit.pose.camera_in_ground_m
    points = [point for point, _ in asked]
    centres = np.array([point.centre_m for point in points])
    hidden = body_hides(given.job.vehicle, place_m, centres)
    cut = body_hides(given.job.vehicle, place_m, centres, margin_m=0.0)
    found: dict[MarkId, Reason] = {}
    beside = zip(*_beside(given, fit, asked), strict=True)
    cut &= np.array([seen.contrast < SETTINGS.sure_contrast for _, seen in asked])
    for (point, seen), behind, partly, (off_m, covariance_m2) in zip(
        asked, hidden, cut, beside, strict=True
    ):
        why = None
        if (behind or partly) and point.id in small:
            why = Reason("behind-body-and-small", wholly=bool(behind))
        # Written so that NaN, from beyond the lens, is refused too.
        elif not off_m @ np.linalg.solve(covariance_m2, off_m) <= (
            CHI2_HIDDEN if behind else ADJUSTMENT.reject_chi2
        ):
            may_hide = bool(may_be_hidden(given.job.vehicle, place_m, [point])[0])
            why = Reason("astray", off_m=float(np.hypot(*off_m)), body_may_hide=may_hide)
        elif behind and seen.covered:
            # Where the body's edge crosses, what shows beyond it is as likely its image.
            why = Reason("behind-body-and-cut")
        elif behind:
            along_m = SETTINGS.mirror_sigmas * np.sqrt(np.diag(covariance_m2))
            image = _mirrored(given, place_m, point, point.centre_m[:2] + off_m, along_m)
            why = Reason("mirror-image", mark=image) if image else None
        if why:
            found[point.id] = why
    return found


def _beside(
    given: IdentificationInput, fit: PlanFit, asked: Sequence[tuple[PlannedMark, Measured]]
) -> tuple[Array, Array]:
    """How far on the ground each lies from where the fit's marks put it; see `left_out_points`."""
    doubtful, seen = zip(*asked, strict=True)
    pixels, covariances = [each.pixel_px for each in seen], [each.covariance_px2 for each in seen]
    points = fit.points.only(fit.used) + Points.of(given.job, doubtful, pixels, covariances)
    # Its place may be stated wrong, and readings too: nothing has judged them yet.
    alone = replace(given.camera, position_sigma_m=ADJUSTMENT.place_sigma_m)
    job = replace(given.job, cameras=(alone,), readings=())
    observed = CameraObservations(
        name=alone.name, prior=given.prior, points=points, start=(fit.pose, fit.lens)
    )
    sure = np.arange(len(points.ids)) < int(fit.used.sum())
    return left_out_points(job, planned_layout(job), observed, sure)


def _mirrored(
    given: IdentificationInput, place_m: Array, point: PlannedMark, at_m: Array, along_m: Array
) -> MarkId | None:
    """Which mark's image in a face of the body may lie at a place (2,), or None.

    A face mirrors what lies before it to a camera before it; the image of a mark lies as far
    behind the face, at the same height. `along_m` (2,) is how far off it may be along a face.
    """
    vehicle = given.job.vehicle
    like = [
        other
        for mark in given.marks
        for other in points_of(mark)
        if type(other.shape) is type(point.shape)
        and other.ink == point.ink
        and other.centre_m[2] == point.centre_m[2]
    ]
    for axis, size_m in enumerate((vehicle.length_m, vehicle.width_m)):
        side = np.sign(place_m[axis])
        least_m = size_m / 2 - JOB.body_margin_m
        if side * place_m[axis] < least_m:
            continue
        reach = along_m.copy()
        reach[axis] = SETTINGS.mirror_reach_m
        for other in like:
            image = other.centre_m[:2].copy()
            image[axis] = side * size_m - image[axis]
            before = side * other.centre_m[axis] > least_m
            if before and (np.abs(at_m - image) < reach).all():
                return other.id
    return None

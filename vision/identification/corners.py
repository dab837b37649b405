"""Cartons' corners, looked for once a camera is known, and added to what the cameras adjust.

The plan fit stays as it is: it stands for what a display makes of the marks on the ground. A
corner is one more point for the joint adjustment, where height tells tilt from mounting.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from vision.adjustment.plan_fit import PlanFit, Points, ground_residual
from vision.adjustment.settings import SETTINGS as ADJUSTMENT
from vision.identification.identified import Identified, Sighting, Status
from vision.identification.reasons import BEHIND_BODY
from vision.job.body import body_hides
from vision.job.job import Camera, Job, SingleMark
from vision.job.kinds.box_corner import BoxCorner
from vision.job.mark_id import MarkId
from vision.marks.box_corner.corner_fit import FoundCorner
from vision.marks.box_corner.edge_search import planes_of
from vision.marks.box_corner.find import find_box_corner
from vision.marks.measure.mark_fit import Measured
from vision.marks.settings import SETTINGS as MARKS
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason


def with_box_corners(
    job: Job,
    camera: Camera,
    outcome: Identified,
    bgr: np.ndarray,
    covered: Flags | None = None,
) -> Identified:
    """The outcome with every carton's corner that is clearly seen among its points.

    `bgr` (height, width, 3) is the picture turned back. A corner farther from where the plan fit
    puts it than both allow is rejected like any other mark; one beside what is `covered` (height,
    width) is not looked for.
    """
    corners = [mark for mark in job.marks if isinstance(mark.shape, BoxCorner)]
    if not corners:
        return outcome
    planes = planes_of(bgr)
    seen = {
        MarkId(mark.name): Sighting(
            id=MarkId(mark.name), status="hidden", measured=None, reason=Reason("drawn-over")
        )
        if covered is not None and _is_covered(covered, outcome.fit, mark)
        else _sighted(job, camera, outcome.fit, planes, mark, outcome.prior.point_sigma_px)
        for mark in corners
    }
    sightings = tuple(seen.get(each.id, each) for each in outcome.sightings)
    return dataclasses.replace(
        outcome,
        fit=_extended(outcome.fit, corners, seen),
        sightings=sightings,
        expected=sum(each.status in {"used", "rejected", "not-found"} for each in sightings),
    )


def _is_covered(covered: Flags, fit: PlanFit, mark: SingleMark) -> bool:
    """Whether anything is drawn where a corner's edges ought to be."""
    pixel, _ = predicted_pixel(fit, mark)
    if not bool(fit.lens.contains(pixel)):
        return False
    (left, top), reach = np.round(pixel).astype(int), round(MARKS.box_corner.longest_edge_px)
    rows = slice(max(top - reach, 0), top + reach + 1)
    return bool(covered[rows, max(left - reach, 0) : left + reach + 1].any())


def _sighted(
    job: Job,
    camera: Camera,
    fit: PlanFit,
    planes: tuple[np.ndarray, ...],
    mark: SingleMark,
    point_sigma_px: float,
) -> Sighting:
    """What becomes of one corner in one picture."""
    assert isinstance(mark.shape, BoxCorner)
    mark_id = MarkId(mark.name)

    def sighted(
        status: Status, reason: Reason | None, measured: Measured | None = None
    ) -> Sighting:
        return Sighting(id=mark_id, status=status, measured=measured, reason=reason)

    pixel, covariance = predicted_pixel(fit, mark)
    if not bool(fit.lens.contains(pixel)):
        return sighted("outside", Reason("outside-picture"))
    if bool(body_hides(job.vehicle, camera.position_m, mark.at_m[None])[0]):
        return sighted("hidden", BEHIND_BODY)
    beside = min(job.cameras, key=lambda each: float(np.hypot(*(each.position_m - mark.at_m)[:2])))
    found = find_box_corner(
        planes, fit.pose, fit.lens, covariance, mark.at_m, mark.shape, beside.position_m[:2]
    )
    if not isinstance(found, FoundCorner):
        return sighted("not-found", found)
    measured = Measured(
        id=mark_id, pixel_px=found.pixel_px, covariance_px2=found.covariance_px2
    ).with_sigma(point_sigma_px)
    off = found.pixel_px - pixel
    if off @ np.linalg.solve(covariance + measured.covariance_px2, off) > ADJUSTMENT.reject_chi2:
        return sighted("rejected", Reason("misfit"), measured)
    return sighted("used", None, measured)


def predicted_pixel(fit: PlanFit, mark: SingleMark) -> tuple[Array, Array]:
    """Where the fit puts a mark, (2,), with the covariance of the fit and of its stated place."""
    pixel, d_point, d_lens = fit.lens.project_with_derivatives(fit.pose.transform(mark.at_m))
    by_fit = np.concatenate([d_point @ fit.pose.d_point_d_pose(mark.at_m), d_lens], axis=-1)
    by_place = d_point @ fit.pose.R * mark.position_sigma_m
    return pixel, by_fit @ fit.covariance @ by_fit.T + by_place @ by_place.T


def _extended(fit: PlanFit, corners: list[SingleMark], seen: dict[MarkId, Sighting]) -> PlanFit:
    """The same fit with the measured corners among its points; its own figures are of the marks."""
    rows = [
        (mark, seen[MarkId(mark.name)], measured)
        for mark in corners
        if (measured := seen[MarkId(mark.name)].measured) is not None
    ]
    if not rows:
        return fit
    planned = np.array([mark.at_m for mark, _, _ in rows])
    pixels = np.array([measured.pixel_px for _, _, measured in rows])
    more = Points(
        ids=tuple(measured.id for _, _, measured in rows),
        planned_m=planned,
        mark_sigma_m=np.array([mark.position_sigma_m for mark, _, _ in rows]),
        pixels_px=pixels,
        covariance_px2=np.array([measured.covariance_px2 for _, _, measured in rows]),
    )
    residual_px = pixels - fit.lens.project(fit.pose.transform(planned))
    residual_m = ground_residual(fit.pose, fit.lens, pixels, planned)
    used = np.array([sighting.status == "used" for _, sighting, _ in rows])
    return dataclasses.replace(
        fit,
        points=fit.points + more,
        used=np.concatenate([fit.used, used]),
        residual_px=np.concatenate([fit.residual_px, residual_px]),
        residual_m=np.concatenate([fit.residual_m, residual_m]),
        added=len(rows),
    )

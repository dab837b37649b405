"""Cartons' corners, looked for once a camera is known, and fitted with its other marks."""

from __future__ import annotations

import dataclasses

import numpy as np

from vision.body import body_hides
from vision.box_corner import FoundCorner, find_box_corner, planes_of
from vision.geometry import Array
from vision.identify.values import Identified, Sighting, Status
from vision.job import BoxCorner, Camera, Job, SingleMark
from vision.measure import Measured
from vision.plan_fit import PlanFit, Points, fit_plan
from vision.solver import NoFit


def with_box_corners(job: Job, camera: Camera, outcome: Identified, bgr: np.ndarray) -> Identified:
    """The outcome with every carton's corner that is clearly seen, and the plan fitted anew.

    `bgr` (height, width, 3) is the picture turned back. A corner that does not fit the other marks
    is rejected like any other mark.
    """
    corners = [mark for mark in job.marks if isinstance(mark.shape, BoxCorner)]
    if not corners:
        return outcome
    planes = planes_of(bgr)
    seen = {mark.name: _sighted(job, camera, outcome.fit, planes, mark) for mark in corners}
    found = [mark for mark in corners if seen[mark.name].measured is not None]
    fit = _fitted(camera, outcome, found, seen) if found else outcome.fit
    if isinstance(fit, NoFit):
        return outcome
    used = dict(zip(fit.points.ids, fit.used, strict=True))
    for mark in found:
        if not used[mark.name]:
            seen[mark.name] = dataclasses.replace(
                seen[mark.name],
                status="rejected",
                reason="it does not fit the other marks of this picture",
            )
    sightings = tuple(seen.get(each.id, each) for each in outcome.sightings)
    return dataclasses.replace(
        outcome,
        fit=fit,
        sightings=sightings,
        expected=sum(each.status in {"used", "rejected", "not-found"} for each in sightings),
    )


def _sighted(
    job: Job, camera: Camera, fit: PlanFit, planes: tuple[np.ndarray, ...], mark: SingleMark
) -> Sighting:
    """What becomes of one corner in one picture."""
    assert isinstance(mark.shape, BoxCorner)
    pixel, covariance = _predicted(fit, mark)
    status: Status = "not-found"
    if not bool(fit.lens.contains(pixel)):
        return Sighting(id=mark.name, status="outside", measured=None, reason="outside the picture")
    if bool(body_hides(job.vehicle, camera.position_m, mark.at_m[None])[0]):
        return Sighting(
            id=mark.name, status="hidden", measured=None, reason="the body is in the way"
        )
    beside = min(job.cameras, key=lambda each: float(np.hypot(*(each.position_m - mark.at_m)[:2])))
    found = find_box_corner(
        planes, fit.pose, fit.lens, covariance, mark.at_m, mark.shape, beside.position_m[:2]
    )
    if not isinstance(found, FoundCorner):
        return Sighting(id=mark.name, status=status, measured=None, reason=found)
    # A corner has no ink on tape: the figures that speak of these stay open.
    measured = Measured(
        id=mark.name,
        pixel_px=found.pixel_px,
        covariance_px2=found.covariance_px2,
        blur_px=float("nan"),
        contrast=float("nan"),
        explained=float("nan"),
        noise=float("nan"),
    )
    return Sighting(id=mark.name, status="used", measured=measured, reason="")


def _predicted(fit: PlanFit, mark: SingleMark) -> tuple[Array, Array]:
    """Where the fit puts a mark, (2,), with the covariance of the fit and of its stated place."""
    pixel, d_point, d_lens = fit.lens.project_with_derivatives(fit.pose.transform(mark.at_m))
    by_fit = np.concatenate([d_point @ fit.pose.d_point_d_pose(mark.at_m), d_lens], axis=-1)
    by_place = d_point @ fit.pose.R * mark.position_sigma_m
    return pixel, by_fit @ fit.covariance @ by_fit.T + by_place @ by_place.T


def _fitted(
    camera: Camera, outcome: Identified, found: list[SingleMark], seen: dict[str, Sighting]
) -> PlanFit | NoFit:
    old = outcome.fit.points
    measured = [each for mark in found if (each := seen[mark.name].measured) is not None]
    points = Points(
        ids=(*old.ids, *(mark.name for mark in found)),
        planned_m=np.concatenate([old.planned_m, [mark.at_m for mark in found]]),
        mark_sigma_m=np.concatenate([old.mark_sigma_m, [m.position_sigma_m for m in found]]),
        pixels_px=np.concatenate([old.pixels_px, [each.pixel_px for each in measured]]),
        covariance_px2=np.concatenate(
            [old.covariance_px2, [each.covariance_px2 for each in measured]]
        ),
    )
    return fit_plan(camera, outcome.prior, points, (outcome.fit.pose, outcome.fit.lens))

"""What each camera would show of a layout: every point's pixel, size, and what hides it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.plan_fit import Points
from vision.camera.geometry import Pose
from vision.camera.lens_prior import LensPrior
from vision.job.body import body_hides
from vision.job.job import Camera, Job, SingleMark, Vehicle
from vision.job.kinds.mark_shape import Stand
from vision.job.layout import Layout, PlannedMark
from vision.job.mark_id import MarkId
from vision.job.settings import SETTINGS as JOB
from vision.job.visibility import View, Views, ends_m, marks_in_picture
from vision.marks.measure.forecast import Light, forecast_covariances
from vision.planning.assessment import PlannedView, ViewStatus
from vision.planning.settings import SETTINGS
from vision.units.arrays import Array, Flags

STATUS: dict[View, ViewStatus] = {
    View.OUTSIDE_LENS: "outside-lens",
    View.OUTSIDE_PICTURE: "outside-picture",
    View.FROM_BELOW: "from-below",
    View.HIDDEN: "hidden",
    View.SMALL: "small",
    View.SEEN: "seen",
}
THE_BODY = "the body"


def planned_views(
    job: Job,
    layout: Layout,
    camera: Camera,
    prior: LensPrior,
    light: Light | None,
    least_px: float = JOB.least_size_px,
) -> tuple[PlannedView, ...]:
    """Every point of the layout as `camera` would show it, aimed as intended, in order.

    Without a `light` every centre has the same cautious sigma, `rough_sigma_px`.
    """
    pose, lens = Pose.at(camera.position_m, camera.aim.rotation()), prior.guess
    points = [point for point in layout.points if point.shape.drawn]
    field_rad = job.lens_of(camera).field_of_view_rad
    shown = marks_in_picture(
        job.vehicle,
        pose,
        lens,
        points,
        half_field_rad=np.inf if field_rad is None else 0.5 * field_rad,
        least_px=least_px,
    )
    hidden_by = _hidden_by(job, camera, points, shown.views)
    views = {}
    for row, point in enumerate(points):
        known = shown.views[row] != View.OUTSIDE_LENS
        views[point.id] = PlannedView(
            camera=camera.name,
            mark=point.id,
            status="hidden" if row in hidden_by else STATUS[View(shown.views[row])],
            hidden_by=hidden_by.get(row),
            pixel_px=shown.pixels_px[row] if known else None,
            extent_px=float(shown.sizes_px[row]) if known else None,
        )
    counted = [point for point in points if views[point.id].status == "seen"]
    rough = [SETTINGS.rough_sigma_px**2 * np.eye(2)] * len(counted)
    measured = rough if light is None else forecast_covariances(pose, lens, counted, light)
    for point, covariance in zip(counted, measured, strict=True):
        views[point.id] = _with_covariance(views[point.id], covariance)
    return tuple(
        views.get(point.id) or PlannedView(camera=camera.name, mark=point.id, status="not-measured")
        for point in layout.points
    )


def _with_covariance(view: PlannedView, covariance: Array | None) -> PlannedView:
    """The view with its centre's covariance; a piece that leaves the picture is outside it."""
    if covariance is None:
        return replace(view, status="outside-picture")
    sigma = float(np.sqrt(np.linalg.eigvalsh(covariance)[-1]))
    return replace(view, covariance_px2=covariance, sigma_px=sigma)


def _hidden_by(job: Job, camera: Camera, points: list[PlannedMark], views: Views) -> dict[int, str]:
    """What hides points, by their row: the body, or else the stand of another raised mark."""
    by = dict.fromkeys(np.flatnonzero(views == View.HIDDEN).tolist(), THE_BODY)
    within = np.flatnonzero(views > View.HIDDEN)
    places = ends_m([points[row] for row in within])
    for mark in job.marks:
        if mark.at_m[2] > 0:
            owner = job.set_up_for(mark.at_m)
            hides = _stand_hides(mark, owner, camera, places.reshape(-1, 3))
            for row in within[hides.reshape(places.shape[:2]).any(axis=1)].tolist():
                if points[row].id != MarkId(mark.name):
                    by.setdefault(row, mark.name)
    return by


def _stand_hides(mark: SingleMark, owner: Camera, camera: Camera, places_m: Array) -> Flags:
    """Whether the stand under a raised mark is in the way of places (n, 3).

    The same test as for the body, with the stand in its place. A carton stands away from `owner`,
    the camera that its corner was set up for.
    """
    stand = mark.shape.stand(mark.at_m, owner.position_m)
    if stand is None:
        grow = 1 + SETTINGS.stand_margin
        along, across = mark.shape.extent_m
        size = along * grow, across * grow
        stand = Stand(middle_m=mark.at_m[:2], size_m=size, turn_rad=0.0)
    c, s = np.cos(stand.turn_rad), np.sin(stand.turn_rad)
    unturn = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    foot = np.array([*stand.middle_m, 0.0])
    length_m, width_m = stand.size_m
    box = Vehicle(length_m=length_m, width_m=width_m, height_m=float(mark.at_m[2]))
    return body_hides(
        box, unturn @ (camera.position_m - foot), (places_m - foot) @ unturn.T, margin_m=0.0
    )


def observations_of(
    job: Job,
    layout: Layout,
    camera: Camera,
    prior: LensPrior,
    views: tuple[PlannedView, ...],
) -> CameraObservations:
    """What a camera would bring: every point that it sees, exactly where it is planned."""
    seen = [view for view in views if view.status == "seen"]
    marks = [layout.mark(view.mark) for view in seen]
    pixels = np.array([view.pixel_px for view in seen])
    covariances = np.array([view.covariance_px2 for view in seen])
    points = Points.of(job, marks, pixels, covariances)
    pose = Pose.at(camera.position_m, camera.aim.rotation())
    return CameraObservations(
        name=camera.name, prior=prior, points=points, start=(pose, prior.guess)
    )


def shown_marks(views: tuple[PlannedView, ...], layout: Layout) -> tuple[PlannedMark, ...]:
    """The marks of which any point is seen; a board counts once."""
    seen = {layout.mark_of(view.mark).id for view in views if view.status == "seen"}
    return tuple(mark for mark in layout.marks if mark.id in seen)

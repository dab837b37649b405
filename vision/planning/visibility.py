"""What each camera would show of a layout: every point's pixel, size, and what hides it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.plan_fit import Points
from vision.camera.geometry import Pose
from vision.camera.lens_prior import LensPrior
from vision.job.body import body_hides
from vision.job.job import BoxCorner, Camera, Job, SingleMark, Vehicle
from vision.job.layout import Layout, PlannedMark
from vision.job.mark_id import MarkId
from vision.job.pattern import drawable, half_extent
from vision.job.visibility import LEAST_SIZE_PX, View, Views, ends_m, marks_in_picture
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
    least_px: float = LEAST_SIZE_PX,
) -> tuple[PlannedView, ...]:
    """Every point of the layout as `camera` would show it, aimed as intended, in order.

    Without a `light` every centre has the same cautious sigma, `rough_sigma_px`.
    """
    pose, lens = Pose.at(camera.position_m, camera.aim.rotation()), prior.guess
    points = [point for point in layout.points if drawable(point.shape)]
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
            nearest = min(job.cameras, key=lambda each: _apart(each, mark))
            hides = _stand_hides(mark, nearest, camera, places.reshape(-1, 3))
            for row in within[hides.reshape(places.shape[:2]).any(axis=1)].tolist():
                if points[row].id != MarkId(mark.name):
                    by.setdefault(row, mark.name)
    return by


def _apart(camera: Camera, mark: SingleMark) -> float:
    return float(np.hypot(*(camera.position_m - mark.at_m)[:2]))


def _stand_hides(mark: SingleMark, owner: Camera, camera: Camera, places_m: Array) -> Flags:
    """Whether the stand under a raised mark is in the way of places (n, 3).

    The same test as for the body, with the stand in its place. A carton stands away from `owner`,
    the camera that its corner was set up for.
    """
    if isinstance(mark.shape, BoxCorner):
        size, turn = mark.shape.size_m or (0.4, 0.4), mark.shape.turn_rad or 0.0
        middle = _carton_middle(mark, owner, size, turn)
    else:
        along, across = half_extent(mark.shape)
        grow = 2 * (1 + SETTINGS.stand_margin)
        size, turn, middle = (along * grow, across * grow), 0.0, mark.at_m[:2]
    c, s = np.cos(turn), np.sin(turn)
    unturn = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    foot = np.array([*middle, 0.0])
    stand = Vehicle(length_m=size[0], width_m=size[1], height_m=float(mark.at_m[2]))
    return body_hides(
        stand, unturn @ (camera.position_m - foot), (places_m - foot) @ unturn.T, margin_m=0.0
    )


def _carton_middle(
    mark: SingleMark, camera: Camera, size: tuple[float, float], turn: float
) -> Array:
    """The middle (2,) of a carton whose corner nearest the camera is the mark."""
    middle = np.array(mark.at_m[:2])
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    towards = camera.position_m[:2] - mark.at_m[:2]
    for axis, length in zip(axes, size, strict=True):
        middle -= (1 if axis @ towards > 0 else -1) * axis * length / 2
    return middle


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

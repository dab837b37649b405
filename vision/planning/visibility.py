"""What each camera would show of a layout: every point's pixel, size, and what hides it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.plan_fit import Points
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import LensPrior
from vision.job.body import body_hides
from vision.job.job import BoxCorner, Camera, Job, SingleMark, Vehicle
from vision.job.layout import BoardCorner, Layout, PlannedMark, place_sigma_m
from vision.job.pattern import drawable, half_extent
from vision.marks.measure.forecast import Light, forecast_covariances
from vision.marks.measure.patches import d_pixel_d_mark
from vision.planning.plan import PlannedView, ViewStatus
from vision.units.arrays import Array, Flags

SMALL_PX = 4.5
"""Shorter extent below which a mark is not counted on. Of those between 4 and 6 px in rendered and
drawn pictures of the sample layouts 18 of 24 were used, and all 28 between 6 and 12."""
SURE_PX = 7.0
"""The same where a layout is proposed: nothing may hang on marks that are sometimes missed."""
NARROW_PX = 4.0
"""Narrowest width below which a mark is not looked for again where it was missed."""
ROUGH_SIGMA_PX = 0.1
"""More than any mark of SURE_PX has on pictures that are fit to be judged."""
STAND_MARGIN = 0.5
"""Of a raised mark: the stand under it is wider than the mark by this share, as scenes draw it."""


def planned_views(
    job: Job,
    layout: Layout,
    camera: Camera,
    prior: LensPrior,
    light: Light | None,
    least_px: float = SMALL_PX,
) -> tuple[PlannedView, ...]:
    """Every point of the layout as `camera` would show it, aimed as intended, in order.

    Without a `light` every centre has the same cautious sigma, ROUGH_SIGMA_PX.
    """
    pose, lens = Pose.at(camera.position_m, camera.aim.rotation()), prior.guess
    points = [point for point in layout.points if drawable(point.shape)]
    pixels, extents, tips = _in_picture(pose, lens, points)
    lit = _in_lens(job, camera, pose, points)
    inside = np.asarray(lens.contains(pixels))
    hidden = _hidden_by(job, camera, points, tips)
    small = extents < least_px
    lit &= np.isfinite(pixels).all(axis=1)
    views = {}
    counted = []
    for row, point in enumerate(points):
        status = _status(lit[row], inside[row], hidden[row], small[row])
        known = status != "outside-lens"
        views[point.id] = PlannedView(
            camera=camera.name,
            mark=point.id,
            status=status,
            hidden_by=hidden[row] if status == "hidden" else None,
            pixel_px=pixels[row] if known else None,
            extent_px=float(extents[row]) if known else None,
        )
        if status == "seen":
            counted.append(point)
    rough = [ROUGH_SIGMA_PX**2 * np.eye(2)] * len(counted)
    measured = rough if light is None else forecast_covariances(pose, lens, counted, light)
    for point, covariance in zip(counted, measured, strict=True):
        views[point.id] = _with_covariance(views[point.id], covariance)
    return tuple(
        views.get(point.id) or PlannedView(camera=camera.name, mark=point.id, status="not-measured")
        for point in layout.points
    )


def _status(lit: bool, inside: bool, hidden_by: str | None, small: bool) -> ViewStatus:
    if not lit:
        return "outside-lens"
    if not inside:
        return "outside-picture"
    if hidden_by is not None:
        return "hidden"
    return "small" if small else "seen"


def _with_covariance(view: PlannedView, covariance: Array | None) -> PlannedView:
    """The view with its centre's covariance; a piece that leaves the picture is outside it."""
    sigma = None if covariance is None else float(np.sqrt(np.linalg.eigvalsh(covariance)[-1]))
    status: ViewStatus = "outside-picture" if covariance is None else "seen"
    return replace(view, status=status, covariance_px2=covariance, sigma_px=sigma)


def _in_picture(pose: Pose, lens: Lens, points: list[PlannedMark]) -> tuple[Array, Array, Array]:
    """Pixels (n, 2), extents (n,) in px, and the marks' tips (n, 4, 3) on the ground.

    An extent is the shorter of a mark's lines; of one that is too narrow between them, its width.
    """
    pixels, slopes = d_pixel_d_mark(pose, lens, points)
    half = np.array([half_extent(point.shape) for point in points]).reshape(-1, 2)
    reach_px = slopes * half[:, None, :]
    extents = 2 * np.linalg.norm(reach_px, axis=1).min(axis=1)
    narrowest = _narrowest_px(reach_px)
    marks = np.array([not isinstance(point.shape, BoardCorner) for point in points], dtype=bool)
    extents = np.where(marks & (narrowest < NARROW_PX), narrowest, extents)
    turn = np.array([point.heading_rad for point in points])
    zero = np.zeros_like(turn)
    along = np.stack([np.cos(turn), np.sin(turn), zero], axis=-1) * half[:, :1]
    across = np.stack([-np.sin(turn), np.cos(turn), zero], axis=-1) * half[:, 1:]
    centres = np.array([point.centre_m for point in points]).reshape(-1, 3)
    tips = np.stack([centres + along, centres - along, centres + across, centres - across], axis=1)
    return pixels, extents, tips


def _narrowest_px(reach_px: Array) -> Array:
    """Narrowest width (n,) of marks that reach so far to either side in the picture (n, 2, 2).

    Less than the shorter of the two lines: a flat view of a cross from its corner shows two long
    lines that lie nearly on each other. NaN outside the lens.
    """
    narrowest = np.full(len(reach_px), np.nan)
    seen = np.isfinite(reach_px).all(axis=(1, 2))
    narrowest[seen] = 2 * np.linalg.svd(reach_px[seen], compute_uv=False)[:, -1]
    return narrowest


def _in_lens(job: Job, camera: Camera, pose: Pose, points: list[PlannedMark]) -> Flags:
    """Whether points lie within the stated field; a fitted lens knows its own limit."""
    field = job.lens_of(camera).field_of_view_rad
    if field is None:
        return np.ones(len(points), dtype=bool)
    seen = pose.transform(np.array([point.centre_m for point in points]).reshape(-1, 3))
    angle = np.arctan2(np.hypot(seen[:, 0], seen[:, 1]), seen[:, 2])
    return np.asarray(angle <= 0.5 * field)


def _hidden_by(
    job: Job, camera: Camera, points: list[PlannedMark], tips: Array
) -> list[str | None]:
    """What hides any tip or the centre of each point: the body, a raised mark's stand, or None."""
    centres = np.array([point.centre_m for point in points]).reshape(-1, 1, 3)
    places = np.concatenate([centres, tips], axis=1)
    by: list[str | None] = [None] * len(points)
    shape = places.shape[:2]
    body = body_hides(job.vehicle, camera.position_m, places.reshape(-1, 3))
    hides = [("the body", body.reshape(shape).any(axis=1))]
    for mark in job.marks:
        if mark.at_m[2] > 0:
            nearest = min(job.cameras, key=lambda each: _apart(each, mark))
            stand = _stand_hides(mark, nearest, camera, places.reshape(-1, 3))
            own = np.array([point.id == mark.name for point in points], dtype=bool)
            hides.append((mark.name, stand.reshape(shape).any(axis=1) & ~own))
    for name, flags in hides:
        for row in np.flatnonzero(flags):
            by[row] = by[row] or name
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
        grow = 2 * (1 + STAND_MARGIN)
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
    points = Points(
        ids=tuple(view.mark for view in seen),
        planned_m=np.array([mark.centre_m for mark in marks]).reshape(-1, 3),
        mark_sigma_m=np.array([place_sigma_m(job, mark) for mark in marks]),
        pixels_px=np.array([view.pixel_px for view in seen]).reshape(-1, 2),
        covariance_px2=np.array([view.covariance_px2 for view in seen]).reshape(-1, 2, 2),
    )
    pose = Pose.at(camera.position_m, camera.aim.rotation())
    return CameraObservations(
        name=camera.name, prior=prior, points=points, start=(pose, prior.guess)
    )


def shown_marks(views: tuple[PlannedView, ...], layout: Layout) -> tuple[PlannedMark, ...]:
    """The marks of which any point is seen; a board counts once."""
    seen = {layout.mark_of(view.mark).id for view in views if view.status == "seen"}
    return tuple(mark for mark in layout.marks if mark.id in seen)

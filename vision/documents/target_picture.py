"""Where the marks should stand on the screen once a camera looks as intended.

People aim by a monitor and not only by a gauge: outlines of the planned marks and tape, drawn over
the picture as it is now, are what to turn the camera towards. They are seen from where the camera
is, through its lens, both as adjusted; without a fit from where it is stated to sit, through the
lens as guessed, which is good enough to find the way by.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import lens_prior
from vision.inspection.inspected import InspectedCamera
from vision.job.body import body_hides
from vision.job.job import Job
from vision.job.layout import Layout, PlannedMark, planned_layout
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, freeze

TAPE_STEP_M = 0.1
"""Between points of a tape's edge: a straight edge is bent in the picture."""
ARC_POINTS = 13
"""Points that a polygon keeps at most: more are not told apart at the size of a mark."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TargetMark:
    """One mark as it should appear: its centre (2,) and the outlines (n, 2) of its ink.

    All in px of the picture as delivered.
    """

    id: MarkId
    centre_px: Array
    outlines_px: tuple[Array, ...]

    def __post_init__(self) -> None:
        freeze(self, centre_px=(2,))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Target:
    """What a camera should show, in px of the picture as delivered; `rough` without a fit.

    `tapes_px` are runs (n, 2) of the edges of the strips' tapes, as far as they are in view.
    """

    marks: tuple[TargetMark, ...]
    tapes_px: tuple[Array, ...]
    rough: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _View:
    """A camera that looks as intended."""

    found: InspectedCamera
    pose: Pose
    lens: Lens

    def pixels(self, places_m: Array) -> Array:
        """Places (n, 3) on the ground in the picture as delivered; NaN out of view."""
        pixels = self.lens.project(self.pose.transform(places_m))
        seen = np.asarray(self.lens.contains(pixels))[:, None]
        return self.found.picture.as_delivered(np.where(seen, pixels, np.nan))


def target(job: Job, found: InspectedCamera) -> Target:
    """Outlines of what a camera of `job` should show: marks in view that the body leaves free."""
    view = _view(job, found)
    layout = planned_layout(job)
    return Target(
        marks=tuple(_marks(job, layout, view)),
        tapes_px=tuple(_tapes(job, view)),
        rough=found.adjusted is None,
    )


def _view(job: Job, found: InspectedCamera) -> _View:
    wanted = found.camera.aim.rotation()
    if found.adjusted is None:
        width, height = found.picture.width, found.picture.height
        prior = lens_prior(job.lens_of(found.camera), width, height)
        return _View(found=found, pose=Pose.at(found.camera.position_m, wanted), lens=prior.guess)
    adjusted = found.adjusted
    # Meant against the body, which may stand turned against the ground.
    body_from_ground = adjusted.camera_from_body.T @ adjusted.pose.R
    pose = Pose.at(adjusted.pose.camera_in_ground_m, wanted @ body_from_ground)
    return _View(found=found, pose=pose, lens=adjusted.lens)


def _marks(job: Job, layout: Layout, view: _View) -> list[TargetMark]:
    drawn = [mark for mark in layout.marks if mark.shape.drawn]
    centres = np.array([mark.centre_m for mark in drawn]).reshape(-1, 3)
    hidden = body_hides(job.vehicle, view.pose.camera_in_ground_m, centres)
    pixels = view.pixels(centres)
    marks = []
    for mark, hides, centre in zip(drawn, hidden, pixels, strict=True):
        if hides or not np.isfinite(centre).all():
            continue
        outlines = (view.pixels(each) for each in _outlines_m(mark))
        whole = tuple(each for each in outlines if np.isfinite(each).all())
        marks.append(TargetMark(id=mark.id, centre_px=centre, outlines_px=whole))
    return marks


def _outlines_m(mark: PlannedMark) -> list[Array]:
    """The ink's outlines on the mark's own height; of a board that of its panel."""
    along, across = (extent / 2 for extent in mark.shape.extent_m)
    panel = ((along, across), (-along, across), (-along, -across), (along, -across))
    turn = mark.heading_rad
    axes = np.array([[np.cos(turn), np.sin(turn), 0.0], [-np.sin(turn), np.cos(turn), 0.0]])
    return [
        mark.centre_m + np.array(corners[:: max(1, len(corners) // ARC_POINTS)]) @ axes
        for corners in ((panel,) if mark.shape.points else mark.shape.polygons)
    ]


def _tapes(job: Job, view: _View) -> list[Array]:
    """Runs of both edges of every tape that are in view and not behind the body."""
    runs = []
    for strip in job.strips:
        left = np.array([-strip.along[1], strip.along[0]])
        reach = strip.shape.half_extent_m[0]
        count = max(2, round((strip.length_m + 2 * reach) / TAPE_STEP_M))
        along = np.linspace(-reach, strip.length_m + reach, count)[:, None] * strip.along
        for side in (-0.5, 0.5):
            edge = strip.from_m + along + side * strip.tape_width_m * left
            places = np.column_stack([edge, np.zeros(count)])
            hidden = body_hides(job.vehicle, view.pose.camera_in_ground_m, places)
            runs += _runs(np.where(hidden[:, None], np.nan, view.pixels(places)))
    return runs


def _runs(pixels: Array) -> list[Array]:
    """The stretches of pixels (n, 2) without a gap, of two points or more."""
    gaps = np.flatnonzero(~np.isfinite(pixels).all(axis=1))
    pieces = np.split(pixels, gaps)
    whole = [piece[np.isfinite(piece).all(axis=1)] for piece in pieces]
    return [piece for piece in whole if len(piece) > 1]

"""The body's own edges in the pictures of a check, of each camera that was as it should be."""

from __future__ import annotations

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.comparison.body.region import (
    FACES,
    can_show,
    circle_radius,
    meeting,
    within_circle,
)
from vision.comparison.body.settings import SETTINGS
from vision.comparison.body.values import BodyEdges, Unkept
from vision.inspection.inspected import InspectedCamera, Inspection
from vision.job.job import Camera, Job
from vision.job.layout import planned_layout
from vision.marks.picture import Picture
from vision.marks.strands.find import find_pieces
from vision.marks.strands.light import gradient_of, light_of
from vision.marks.strands.match import match
from vision.marks.strands.pieces import Pieces
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason


def kept_edges(inspection: Inspection) -> tuple[BodyEdges | Unkept, ...]:
    """The edges of every camera of a check, or why there are none."""
    return tuple(_of(inspection.job, each) for each in inspection.cameras)


def _of(job: Job, camera: InspectedCamera) -> BodyEdges | Unkept:
    if camera.verdict != "keep" or camera.adjusted is None:
        return Unkept(camera=camera.name, reason=Reason("body-camera-not-keep"))
    return edges_of(job, camera.camera, camera.adjusted, camera.picture)


def edges_of(
    job: Job, camera: Camera, adjusted: AdjustedCamera, picture: Picture
) -> BodyEdges | Unkept:
    """The edges that one camera's picture shows where the body can be, and that stay.

    Further pictures of the camera, in another light, must show an edge as well.
    """
    pose, lens = adjusted.pose, adjusted.lens
    where = can_show(job.vehicle, pose, lens)
    where &= within_circle(lens, circle_radius(light_of(picture.bgr), lens))
    pieces = find_pieces(picture.bgr, where)
    pieces = pieces.only(~_on_what_was_laid(job, pose, lens, pieces.middle_px))
    for shot in picture.shots:
        found = match(gradient_of(shot.bgr), pieces.places(), pieces.profile, 1.0)
        pieces = pieces.only(found.found & (np.abs(np.nan_to_num(found.off_px)) < 0.5))
    if len(pieces) < SETTINGS.least_pieces:
        return Unkept(camera=camera.name, reason=Reason("body-no-edges", pieces=len(pieces)))
    met = meeting(job.vehicle, pose, lens.unproject(pieces.middle_px))
    return BodyEdges(
        camera=camera.name,
        pose=pose,
        lens=lens,
        covariance=adjusted.covariance,
        pieces=pieces,
        depth_m=met.depth_m,
        depth_log_sigma=met.depth_log_sigma,
        face=tuple(FACES[each] for each in met.face),
    )


def _on_what_was_laid(job: Job, pose: Pose, lens: Lens, pixels_px: Array) -> Flags:
    """Whether pixels (n, 2) show the ground by a strip's tape, a mark or what a mark stands on."""
    ways = lens.unproject(pixels_px) @ pose.R
    start = pose.camera_in_ground_m
    with np.errstate(divide="ignore", invalid="ignore"):
        far = np.where(ways[:, 2] < 0, -start[2] / ways[:, 2], np.nan)
    ground = start[:2] + far[:, None] * ways[:, :2]
    laid = np.zeros(len(pixels_px), dtype=bool)
    for strip in job.strips:
        off = ground - 0.5 * (strip.from_m + strip.to_m)
        along = np.abs(off @ strip.along) < 0.5 * strip.length_m + SETTINGS.beyond_m
        left = np.array([-strip.along[1], strip.along[0]])
        laid |= along & (np.abs(off @ left) < 0.5 * strip.tape_width_m + SETTINGS.laid_m)
    for mark in planned_layout(job).marks:
        reach = max(mark.shape.half_extent_m) + SETTINGS.laid_m
        seen = lens.project(pose.transform(mark.centre_m + _ring(reach)))
        box = np.nanmin(seen, axis=0, initial=np.inf), np.nanmax(seen, axis=0, initial=-np.inf)
        laid |= ((pixels_px > box[0]) & (pixels_px < box[1])).all(axis=1)
    return laid


def _ring(reach_m: float) -> Array:
    """Offsets (8, 3) round a mark."""
    turns = np.arange(8) * np.pi / 4
    return reach_m * np.stack([np.cos(turns), np.sin(turns), np.zeros(8)], axis=-1)


def struck_out(
    camera: Camera, pieces: Pieces, lens: Lens, corner_px: tuple[int, int] = (0, 0)
) -> Flags:
    """Whether a person struck pieces (n,) out: they lie where the job says that things move.

    That is said in pixels of a picture's file, in which the picture that showed the pieces, of the
    size of their `lens`, begins at `corner_px`.
    """
    middle = pieces.middle_px.copy()
    if camera.mirrored:
        middle[:, 0] = lens.width - 1 - middle[:, 0]
    middle += np.array(corner_px)
    struck = np.zeros(len(pieces), dtype=bool)
    for left, top, width, height in camera.moving_px:
        low, high = np.array([left, top]), np.array([left + width, top + height])
        struck |= ((middle >= low) & (middle < high)).all(axis=1)
    return struck

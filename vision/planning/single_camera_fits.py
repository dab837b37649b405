"""Cameras fitted alone to a layout as planned, and the gap that a seam then usually shows.

A display fits each camera alone to the layout as planned. Strips laid to a centimetre, a lens known
by its field and marks read to a tenth of a pixel move that fit, for neighbours differently, and the
seam shows the difference. First-order propagation of every stated sigma through both plan fits:
with C the covariance of a fit and A its whitened rows, a row's error e moves the fit by C A^T e.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.elimination import reduce
from vision.adjustment.groups import Group
from vision.adjustment.plan_fit import PlanFit, camera_network, planned_covariance
from vision.adjustment.settings import SETTINGS as ADJUSTMENT
from vision.adjustment.solving import weighted
from vision.adjustment.state import UNKNOWNS
from vision.adjustment.world import NO_BLOCK, World, build_world
from vision.job.job import Camera, Job
from vision.job.layout import Layout
from vision.units.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SingleCameraFit:
    """One camera's plan fit of a layout exactly as planned, and how such fits usually err.

    `own` (14, 14) is the covariance by what the camera has for itself: pixels, lens and mounting.
    `by_world` (14, w) is the response to the whitened deviations of strips and marks, which two
    cameras that see them share.
    """

    fit: PlanFit
    own: Array
    by_world: Array


def single_camera_fits(
    job: Job, layout: Layout, observations: tuple[CameraObservations, ...]
) -> dict[str, SingleCameraFit]:
    """Each camera's fit to its own marks as planned; one that has none is left out."""
    world = build_world(job, layout, dict.fromkeys(i for o in observations for i in o.points.ids))
    cameras = {camera.name: camera for camera in job.cameras}
    fits = {}
    for seen in observations:
        if len(seen.points.ids) < ADJUSTMENT.fewest_marks:
            continue
        fit = _fit_of(world, cameras[seen.name], seen)
        if fit is not None:
            fits[seen.name] = fit
    return fits


def _fit_of(world: World, camera: Camera, seen: CameraObservations) -> SingleCameraFit | None:
    points = seen.points
    network = camera_network(camera, seen.prior, points, seen.start, ADJUSTMENT.place_sigma_m)
    at = network.seen(network.start)
    slope, d_ground = at.by_camera, at.by_place
    total, full = planned_covariance(at, points)
    reduced = reduce(network.rows(at, weighted(full, np.ones(len(full)))))
    found = None if reduced is None else reduced.covariance()
    if found is None:
        return None
    covariance = found.kept
    _, d_known = network.statements[Group("lens", camera.name)].rows(network.start)
    gain = covariance @ np.swapaxes(slope, 1, 2) @ np.linalg.inv(total)
    by_kept, by_own, blocks = world.d_places(
        [world.mark_of_point[point] for point in points.ids], points.planned_m
    )
    d_place = np.zeros((len(points.ids), 3, world.size))
    d_place[..., : world.kept] = by_kept
    for row in np.flatnonzero(blocks != NO_BLOCK):
        first = world.kept + blocks[row] * world.own_size
        d_place[row, :, first : first + world.own_size] = by_own[row]
    own = (gain @ points.covariance_px2 @ np.swapaxes(gain, 1, 2)).sum(axis=0)
    known = covariance[:, 6:] @ d_known.T
    place = covariance[:, :3] * camera.position_sigma_m / ADJUSTMENT.place_sigma_m**2
    return SingleCameraFit(
        fit=_as_planned(seen, covariance),
        own=own + known @ known.T + place @ place.T,
        by_world=(gain @ d_ground @ d_place).sum(axis=0) * world.sigma,
    )


def _as_planned(seen: CameraObservations, covariance: Array) -> PlanFit:
    """The fit without a residual: `fit_plan` would stay where it starts."""
    none = np.zeros((len(seen.points.ids), 2))
    return PlanFit(
        pose=seen.start[0],
        lens=seen.start[1],
        covariance=covariance,
        points=seen.points,
        used=np.ones(len(none), dtype=bool),
        residual_px=none,
        residual_m=none,
        chi2=0.0,
    )


def usual_gaps_m(slopes: Array, pair: tuple[SingleCameraFit, SingleCameraFit]) -> Array:
    """RMS gap (n,) in m at points whose gaps have the slopes (n, 2, 28) by both cameras."""
    own = np.zeros((2 * UNKNOWNS, 2 * UNKNOWNS))
    own[:UNKNOWNS, :UNKNOWNS], own[UNKNOWNS:, UNKNOWNS:] = pair[0].own, pair[1].own
    shared = np.concatenate([pair[0].by_world, pair[1].by_world])
    covariance = slopes @ (own + shared @ shared.T) @ np.swapaxes(slopes, -1, -2)
    return np.asarray(np.sqrt(np.trace(covariance, axis1=-2, axis2=-1)))

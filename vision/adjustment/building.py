"""Lay out the network of a job: its unknowns, its points, and their constant derivatives."""

from __future__ import annotations

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.elimination import incidence
from vision.adjustment.network import Network
from vision.adjustment.readings import reading_views
from vision.adjustment.state import PointRows, View
from vision.adjustment.world import World, build_world
from vision.camera.lens_prior import LensPrior
from vision.job.job import Camera, Job
from vision.job.layout import Layout


def build_network(
    job: Job, layout: Layout, observations: tuple[CameraObservations, ...]
) -> Network:
    """Lay out unknowns and constant derivatives for the cameras in `observations`."""
    ids = [i for seen in observations for i in seen.points.ids]
    names = [seen.name for seen in observations]
    world = build_world(job, layout, dict.fromkeys(ids), names)
    cameras = {camera.name: camera for camera in job.cameras}
    types = _shared_types(cameras, observations)
    type_names = list(types)
    views, first = [], 0
    for seen in observations:
        camera, count = cameras[seen.name], len(seen.points.ids)
        shares = type_names.index(camera.lens) if camera.lens in types else None
        rows = slice(first, first + count)
        views.append(View(camera=camera, observations=seen, rows=rows, shares=shares))
        first += count
    return Network(
        views=tuple(views),
        points=_points(world, observations),
        types=tuple(types.items()),
        world=world,
        readings=reading_views(job, world, names),
    )


def _shared_types(
    cameras: dict[str, Camera], observations: tuple[CameraObservations, ...]
) -> dict[str, LensPrior]:
    """Lenses that several cameras with pictures of one size name, with their priors."""
    by_name: dict[str, list[LensPrior]] = {}
    for seen in observations:
        by_name.setdefault(cameras[seen.name].lens, []).append(seen.prior)
    return {
        name: priors[0]
        for name, priors in by_name.items()
        if len(priors) > 1 and len({(p.guess.width, p.guess.height) for p in priors}) == 1
    }


def _points(world: World, observations: tuple[CameraObservations, ...]) -> PointRows:
    ids = tuple(i for seen in observations for i in seen.points.ids)
    planned = np.concatenate([np.zeros((0, 3)), *(seen.points.planned_m for seen in observations)])
    by_kept, by_own, blocks = world.d_places([world.mark_of_point[i] for i in ids], planned)
    count = (world.size - world.kept) // world.own_size
    # A single mark is kept, and so is what a reading names, but their spread is their own alike.
    kept_sigma = world.sigma[: world.kept].copy()
    for columns in world.strips.values():
        kept_sigma[columns] = 0.0
    kept_sigma[list(world.bows.values())] = 0.0
    _, own_sigma = world.split(world.sigma, blocks)
    spread = np.concatenate([by_kept * kept_sigma, by_own * own_sigma[:, None]], axis=2)
    covariance = [seen.points.covariance_px2 for seen in observations]
    camera = np.repeat(np.arange(len(observations)), [len(s.points.ids) for s in observations])
    pixels = np.concatenate([np.zeros((0, 2)), *(seen.points.pixels_px for seen in observations)])
    return PointRows(
        camera=camera.astype(np.intp),
        ids=ids,
        planned_m=planned,
        pixels_px=pixels,
        covariance_px2=np.concatenate([np.zeros((0, 2, 2)), *covariance]),
        by_kept_m=by_kept,
        by_own_m=by_own,
        by_block=incidence(blocks, count),
        blocks=blocks,
        spread_m2=spread @ spread.transpose(0, 2, 1),
    )

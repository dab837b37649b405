"""Lay out the network of a job: its unknowns, its points, and everything that was stated."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.groups import Group
from vision.adjustment.network import Network, network_of, points_of
from vision.adjustment.readings import Known, read_statement
from vision.adjustment.settings import SETTINGS
from vision.adjustment.state import Columns, Indices, View
from vision.adjustment.statements import Even, Held, OfLens, OnTurnedBody, Statement, of_lens
from vision.adjustment.world import World, build_world, knot_shares
from vision.camera.lens_prior import LensPrior
from vision.job.job import Camera, Job, Strip
from vision.job.layout import Layout
from vision.job.mark_id import MarkId
from vision.units.arrays import Array


def build_network(
    job: Job, layout: Layout, observations: tuple[CameraObservations, ...]
) -> Network:
    """Lay out unknowns and statements for the cameras in `observations`."""
    ids = [i for seen in observations for i in seen.points.ids]
    names = [seen.name for seen in observations]
    world = build_world(job, layout, dict.fromkeys(ids), names)
    cameras = {camera.name: camera for camera in job.cameras}
    types = _shared_types(cameras, observations)
    columns = Columns.by_camera(len(observations), len(types))
    views = views_of(observations, poses=range(len(names)), lenses=range(len(names)))
    poses = [seen.start[0] for seen in observations]
    lenses = [seen.start[1].as_vector() for seen in observations]
    lenses += [prior.guess.as_vector() for prior in types.values()]
    known = _known(job, world, columns, names)
    read = (
        read_statement(Group.of_reading(number), reading, known)
        for number, reading in enumerate(job.readings, 1)
    )
    held = (mounting(cameras[n], columns.pose[i, :3]) for i, n in enumerate(names))
    mountings = (_on_body(each, world, columns.base) for each in held)
    return network_of(
        columns,
        views,
        points_of(views, *joined(observations), world),
        [
            *laid_statements(job, world, columns.base, mountings),
            *_lens_statements(cameras, observations, types, columns),
            *(each for each in read if each is not None),
        ],
        columns.state(poses, lenses, world.size),
        world,
    )


def known_to(job: Job, network: Network) -> Known:
    """What can be read between things of a network."""
    return _known(job, network.world, network.columns, [view.name for view in network.views])


def _known(job: Job, world: World, columns: Columns, names: Sequence[str]) -> Known:
    cameras = {name: index for index, name in enumerate(names)}
    return Known(job=job, world=world, columns=columns, cameras=cameras)


def views_of(
    observations: Sequence[CameraObservations], poses: Sequence[int], lenses: Sequence[int]
) -> tuple[View, ...]:
    """One view for each camera's observations, their points in turn."""
    views, first = [], 0
    for seen, pose, lens in zip(observations, poses, lenses, strict=True):
        rows = slice(first, first + len(seen.points.ids))
        first = rows.stop
        views.append(View(name=seen.name, pose=pose, lens=lens, rows=rows, like=seen.prior.guess))
    return tuple(views)


def mounting(camera: Camera, columns: Indices) -> Held:
    """Where a camera was measured to be, its place being the unknowns at `columns` (3,)."""
    return Held(
        group=Group("mounting", camera.name),
        columns=columns,
        degrees=3,
        sigma=camera.position_sigma_m,
        stated=camera.position_m,
        planned_m=np.zeros(3),
    )


def _on_body(each: Held, world: World, base: int) -> Held | OnTurnedBody:
    """The mounting as it turns with the body, where it is unknown how far that does."""
    if not world.stance:
        return each
    stance = base + np.array(list(world.stance.values()), dtype=np.intp)
    return OnTurnedBody(
        group=each.group,
        columns=np.concatenate([each.columns, stance]),
        degrees=each.degrees,
        sigma=each.sigma,
        stated=each.stated,
        by_stance=world.d_turned_m(each.stated),
        planned_m=np.zeros(3),
    )


def laid_statements(
    job: Job, world: World, base: int, mountings: Iterable[Held | OnTurnedBody] = ()
) -> Iterator[Held | OnTurnedBody]:
    """What was stated of places: strips' ends, bows and ground, mountings, single marks."""

    def deviation(
        group: Group, own: slice, planned_m: Array | None, strip: Strip | None = None
    ) -> Held:
        columns = base + np.arange(own.start, own.stop)
        return Held(
            group=group,
            columns=columns,
            degrees=len(columns),
            sigma=float(world.sigma[own.start]),
            stated=np.zeros(len(columns)),
            planned_m=planned_m,
            strip=strip,
        )

    for name, strip in world.laid.items():
        ends_m = np.concatenate([strip.from_m, strip.to_m])
        yield deviation(Group("strip", name), world.strips[name], ends_m, strip)
    for name, column in world.bows.items():
        yield deviation(Group("bow", name), slice(column, column + 1), None)
    for name, own in world.heights.items():
        columns = base + np.arange(own.start, own.stop)
        yield Even(
            group=Group("ground", name),
            columns=columns,
            degrees=len(columns),
            sigma=SETTINGS.unevenness_m,
            freed_sigma=SETTINGS.freed.height_m,
            stated=np.zeros(len(columns)),
            shares=knot_shares(world.laid[name]),
        )
    yield from mountings
    for name, own in world.cameras.items():
        yield deviation(Group("mounting", name), own, job.camera(name).position_m)
    for mark_id in world.single:
        planned_m = world.planned[mark_id].centre_m
        yield deviation(Group("mark", mark_id.name), world.marks[mark_id], planned_m)


def _lens_statements(
    cameras: dict[str, Camera],
    observations: tuple[CameraObservations, ...],
    types: dict[str, LensPrior],
    columns: Columns,
) -> Iterator[Statement]:
    """Each camera's lens as stated, or as one of its type; then the types."""
    own, shared = np.split(columns.lens, [len(observations)])
    of_type = dict(zip(types, shared, strict=True))
    for seen, at in zip(observations, own, strict=True):
        type_at = of_type.get(cameras[seen.name].lens)
        group = Group("lens", seen.name)
        if type_at is None:
            yield of_lens(group, at, seen.prior)
        else:
            yield of_lens(group, np.concatenate([at, type_at]), seen.prior, shared=True)
    for name, prior in types.items():
        freed = SETTINGS.freed.lens_share / prior.scale_sigma
        yield OfLens(
            group=Group("lens-type", name), columns=of_type[name], prior=prior, freed_sigma=freed
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


def joined(
    observations: Sequence[CameraObservations],
) -> tuple[tuple[MarkId, ...], Array, Array, Array]:
    """Points of several pictures in turn: ids, planned places, pixels and their covariances."""
    points = [seen.points for seen in observations]
    return (
        tuple(i for each in points for i in each.ids),
        np.concatenate([np.zeros((0, 3)), *(each.planned_m for each in points)]),
        np.concatenate([np.zeros((0, 2)), *(each.pixels_px for each in points)]),
        np.concatenate([np.zeros((0, 2, 2)), *(each.covariance_px2 for each in points)]),
    )

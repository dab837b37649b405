"""From two checks to the network that joins them: what both state alike is stated once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.state import whiteners
from vision.camera.geometry import Pose, rotation_angle
from vision.camera.lens_prior import LensPrior
from vision.comparison.change import Epoch
from vision.comparison.epoch_ground import Ground, Laid, lay_out
from vision.comparison.network import GIVE_M, PairNetwork, PairState, Seen
from vision.job.job import Camera
from vision.units.arrays import Array, Flags

ARM_M = 0.1
"""A lens lies within this of what its bracket turns about: a turn takes it along by so much."""

STANCE_SIGMA = (
    0.02,
    0.02,
    0.03,
    float(np.radians(1)),
    float(np.radians(1)),
    float(np.radians(0.3)),
)
"""Load, tyres and suspension, and a layout measured anew from the body; m and rad: common practice,
no source."""

UNTOUCHED_SIGMA = (0.001, 0.001, 0.001, *(float(np.radians(0.01)),) * 3)
"""Of a vehicle that nobody moved, loaded or entered."""

FREED_MOUNTING_M = 1.0


def build_pair(
    epochs: tuple[Epoch, Epoch], not_relaid: frozenset[str], untouched: bool
) -> PairNetwork:
    """Lay out the network of two checks, whose cameras have pictures of one size in both."""
    ground, laid = lay_out(epochs, not_relaid)
    by_name = [{o.name: o for o in epoch.observations} for epoch in epochs]
    names = tuple(dict.fromkeys([*by_name[0], *by_name[1]]))
    both = tuple(i for i, name in enumerate(names) if name in by_name[0] and name in by_name[1])
    seen = []
    for number, epoch in enumerate(epochs):
        first = 0
        for observations in epoch.observations:
            count = len(observations.points.ids)
            used = epoch.adjustment.camera(observations.name).used
            own = laid[number][first : first + count]
            first += count
            index = names.index(observations.name)
            seen.append(_seen(index, number, observations, own, ground, used))
    cameras = [_camera(epochs, by_name, name) for name in names]
    sigma = UNTOUCHED_SIGMA if untouched else STANCE_SIGMA
    return PairNetwork(
        names=names,
        both=both,
        seen=tuple(seen),
        priors=tuple(_priors([each.get(name) for each in by_name]) for name in names),
        mountings=tuple(_mountings(epochs, cameras)),
        shift_give_m=tuple(_shift_give(epochs, name) for name in names),
        ground=ground,
        stance_sigma=np.array(sigma),
        start=_start(epochs, names, len(ground.sigma)),
    )


def _camera(
    epochs: tuple[Epoch, Epoch], by_name: list[dict[str, CameraObservations]], name: str
) -> tuple[Camera | None, Camera | None]:
    """The camera as each check's job has it, None where it took no part."""
    found: list[Camera | None] = []
    for epoch, seen in zip(epochs, by_name, strict=True):
        found.append(next((c for c in epoch.job.cameras if c.name == name and name in seen), None))
    return found[0], found[1]


def _seen(
    index: int,
    epoch: int,
    observations: CameraObservations,
    laid: list[Laid],
    ground: Ground,
    used: Flags,
) -> Seen:
    d_place = np.zeros((len(laid), 3, len(ground.sigma)))
    for row, each in enumerate(laid):
        d_place[row][:, each.columns] = each.slope
    points = observations.points
    kept = np.flatnonzero(used)
    chosen = replace(
        points,
        ids=tuple(points.ids[row] for row in kept),
        planned_m=points.planned_m[kept],
        mark_sigma_m=points.mark_sigma_m[kept],
        pixels_px=points.pixels_px[kept],
        covariance_px2=points.covariance_px2[kept],
    )
    return Seen(
        index=index,
        epoch=epoch,
        observations=replace(observations, points=chosen),
        d_place=d_place[kept],
        whiteners=whiteners(chosen.covariance_px2),
    )


def _priors(seen: list[CameraObservations | None]) -> tuple[LensPrior, ...]:
    """One prior where both checks state the lens alike: it is one piece of knowledge, not two."""
    priors = [each.prior for each in seen if each is not None]
    if len(priors) == 2:
        lens = priors[0].guess.with_vector(priors[0].guess.as_vector() * 1.001)
        alike = [prior.residuals(lens)[0] for prior in priors]
        if len(alike[0]) == len(alike[1]) and np.allclose(alike[0], alike[1], rtol=1e-9):
            return (priors[0],)
    return tuple(priors)


def _mountings(
    epochs: tuple[Epoch, Epoch], cameras: list[tuple[Camera | None, Camera | None]]
) -> list[tuple[int, bool, Array, float]]:
    """Stated places, once where both checks state the same: it was measured once."""
    freed = {
        group.name
        for epoch in epochs
        for group in epoch.adjustment.all_freed
        if group.kind == "mounting"
    }
    rows = []
    for index, pair in enumerate(cameras):
        stated = [(later, each) for later, each in enumerate(pair) if each is not None]
        if len(stated) == 2 and np.array_equal(stated[0][1].position_m, stated[1][1].position_m):
            stated = stated[:1]
        for later, camera in stated:
            sigma = FREED_MOUNTING_M if camera.name in freed else camera.position_sigma_m
            rows.append((index, bool(later), camera.position_m, sigma))
    return rows


def _shift_give(epochs: tuple[Epoch, Epoch], name: str) -> float:
    """A camera that was turned, by what both checks say alone, had its lens taken along."""
    found = [c.pose.R for each in epochs for c in each.adjustment.cameras if c.name == name]
    return max(GIVE_M, ARM_M * rotation_angle(found[0], found[-1]))


def _start(epochs: tuple[Epoch, Epoch], names: tuple[str, ...], ground: int) -> PairState:
    """Where the checks' own adjustments ended; nothing changed."""
    found = [{c.name: c for c in epoch.adjustment.cameras} for epoch in epochs]
    cameras = [found[0].get(name) or found[1][name] for name in names]
    return PairState(
        poses=tuple(camera.pose for camera in cameras),
        lenses=tuple(camera.lens for camera in cameras),
        turns=(np.eye(3),) * len(names),
        shifts=(np.zeros(3),) * len(names),
        stance=Pose(R=np.eye(3), t_m=np.zeros(3)),
        ground=np.zeros(ground),
    )

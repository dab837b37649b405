"""Where the marks of two layings of a layout lie: what was laid anew has unknowns of its own.

Both layings are one world, as of `vision.adjustment.world`, of one job that holds the strips and
marks of both. What was not laid anew is in it once. What was is in it twice, the later one under
another name.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.settings import SETTINGS as ADJUSTMENT
from vision.adjustment.world import World, build_world
from vision.comparison.change import Epoch
from vision.comparison.settings import SETTINGS
from vision.job.job import Job, SingleMark, Strip
from vision.job.layout import PlannedMark, planned_layout
from vision.units.arrays import Array

Laid = TypeVar("Laid", Strip, SingleMark)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """The world of both layings, and by epoch what its cameras saw, by the names of that world."""

    world: World
    before: tuple[CameraObservations, ...]
    after: tuple[CameraObservations, ...]


def same_laying(one: Job, other: Job, name: str) -> bool | None:
    """Whether two jobs plan the strip or single mark `name` alike; None where one lacks it."""
    ends = [_planned(job, name) for job in (one, other)]
    if ends[0] is None or ends[1] is None:
        return None
    places = [
        {each.id: each.centre_m for each in planned_layout(job).points if _belongs(each, name)}
        for job in (one, other)
    ]
    if places[0].keys() != places[1].keys():
        return False
    same = all(np.allclose(places[0][i], places[1][i], atol=SETTINGS.planned_m) for i in places[0])
    return same and np.allclose(ends[0], ends[1], atol=SETTINGS.planned_m)


def _planned(job: Job, name: str) -> Array | None:
    for strip in job.strips:
        if strip.name == name:
            return np.concatenate([strip.from_m, strip.to_m])
    return next((mark.at_m for mark in job.marks if mark.name == name), None)


def _belongs(mark: PlannedMark, name: str) -> bool:
    return mark.id.name == name


def lay_out(epochs: tuple[Epoch, Epoch], shared: Collection[str]) -> Ground:
    """The world of both layings, in which the strips and marks in `shared` are one."""

    def anew(name: str) -> str:
        # No name of a job has a quotation mark in it.
        return name if name in shared else f"{name}'"

    freed = [_freed(epoch) for epoch in epochs]
    first = _with_laid(epochs[0].job, freed[0] | freed[1] & set(shared), _as_it_is)
    again = _with_laid(epochs[1].job, freed[1], anew)
    both = replace(
        first,
        strips=(*first.strips, *(each for each in again.strips if each.name not in shared)),
        marks=(*first.marks, *(each for each in again.marks if each.name not in shared)),
        readings=(),
    )
    before, after = (
        tuple(_used(each, epoch, rename) for each in epoch.observations)
        for epoch, rename in zip(epochs, (_as_it_is, anew), strict=True)
    )
    ids = [dict.fromkeys(i for seen in each for i in seen.points.ids) for each in (before, after)]
    moving = {point_id.name for point_id in ids[1] if point_id.strip in shared}
    world = build_world(both, planned_layout(both), ids[0] | ids[1], moving=moving)
    return Ground(world=world, before=before, after=after)


def _freed(epoch: Epoch) -> set[str]:
    """Strips and single marks whose stated place this epoch's own adjustment gave up."""
    return {g.name for g in epoch.adjustment.all_freed if g.kind in ("strip", "mark")}


def _as_it_is(name: str) -> str:
    return name


def _with_laid(job: Job, freed: Collection[str], rename: Callable[[str], str]) -> Job:
    """The job whose strips and marks have other names, and some a place as good as unstated."""

    def changed(each: Laid) -> Laid:
        if each.name in freed:
            each = replace(each, position_sigma_m=ADJUSTMENT.freed.place_m)
        return replace(each, name=rename(each.name))

    strips, marks = tuple(map(changed, job.strips)), tuple(map(changed, job.marks))
    return replace(job, strips=strips, marks=marks)


def _used(
    seen: CameraObservations, epoch: Epoch, rename: Callable[[str], str]
) -> CameraObservations:
    """The points that the epoch's own adjustment used, by their names in the world of both."""
    points = seen.points
    rows = np.flatnonzero(epoch.adjustment.camera(seen.name).used)
    ids = (points.ids[row] for row in rows)
    kept = replace(
        points,
        ids=tuple(each._replace(name=rename(each.name)) for each in ids),
        planned_m=points.planned_m[rows],
        mark_sigma_m=points.mark_sigma_m[rows],
        pixels_px=points.pixels_px[rows],
        covariance_px2=points.covariance_px2[rows],
    )
    return replace(seen, points=kept)

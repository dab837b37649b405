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
from vision.job.layout import planned_layout
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
    here, there = (_planned(job, name) for job in (one, other))
    if here is None or there is None:
        return None
    return here.keys() == there.keys() and all(
        np.allclose(here[each], there[each], atol=SETTINGS.planned_m) for each in here
    )


def _planned(job: Job, name: str) -> dict[str, Array] | None:
    """Places of a strip's ends and marks, or of a single mark, as a job plans them."""
    ends = {
        **{each.name: np.concatenate([each.from_m, each.to_m]) for each in job.strips},
        **{each.name: each.at_m for each in job.marks},
    }
    if name not in ends:
        return None
    points = planned_layout(job).points
    return {"": ends[name], **{str(p.id): p.centre_m for p in points if p.id.name == name}}


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
    kept = seen.points.only(epoch.adjustment.camera(seen.name).used)
    ids = tuple(each._replace(name=rename(each.name)) for each in kept.ids)
    return replace(seen, points=replace(kept, ids=ids))

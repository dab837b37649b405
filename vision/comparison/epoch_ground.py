"""Where the marks of two layings of a layout lie: deviations from the plan, shared or not.

A strip has its two ends and a bow, each of its marks a deviation of its own along and across (a
panel also a turn), a single mark one in x, y and z; see `vision.adjustment` for the same of one
laying. What was not laid anew has one set of unknowns for both checks. Its strips then have, beside
it, how far each end was moved in between, which is nothing unless a test says otherwise.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from vision.adjustment.world import QUARTER_TURN, own_sigmas
from vision.comparison.change import Epoch
from vision.job.job import Job, Strip
from vision.job.layout import PlannedMark, planned_layout
from vision.job.mark_id import MarkId
from vision.units.arrays import Array

FREED_SIGMA_M = 1.0
"""Of a strip or mark whose place one of the checks found to be other than stated."""


PLANNED_M = 1e-6
"""Planned places this near to each other are the same."""


@dataclass(slots=True, kw_only=True)
class Ground:
    """Unknowns of both layings as they are laid out; `sigma` grows with each that is added.

    `moved` maps a strip that was not laid anew to the columns of its move in between.
    """

    sigma: list[float]
    columns: dict[tuple[int, MarkId | str], slice]
    moved: dict[str, slice]

    def add(self, key: tuple[int, MarkId | str], sigmas: Sequence[float]) -> slice:
        """Columns for `key`, made with these sigmas where it is new."""
        if key not in self.columns:
            self.columns[key] = slice(len(self.sigma), len(self.sigma) + len(sigmas))
            self.sigma += sigmas
        return self.columns[key]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """One point's derivative by the ground's unknowns: `columns` (m,) and `slope` (3, m)."""

    columns: Array
    slope: Array


def same_laying(one: Job, other: Job, name: str) -> bool | None:
    """Whether two jobs plan the strip or single mark `name` alike; None where one lacks it."""
    ends = [_planned(job, name) for job in (one, other)]
    if ends[0] is None or ends[1] is None:
        return None
    places = [
        {each.id: each.centre_m for each in planned_layout(job).points if _belongs(each, name)}
        for job in (one, other)
    ]
    common = set(places[0]) & set(places[1])
    same = all(np.allclose(places[0][i], places[1][i], atol=PLANNED_M) for i in common)
    return same and bool(common) and np.allclose(ends[0], ends[1], atol=PLANNED_M)


def _planned(job: Job, name: str) -> Array | None:
    for strip in job.strips:
        if strip.name == name:
            return np.concatenate([strip.from_m, strip.to_m])
    return next((mark.at_m for mark in job.marks if mark.name == name), None)


def lay_out(
    epochs: tuple[Epoch, Epoch], shared: Collection[str]
) -> tuple[Ground, list[list[Laid]]]:
    """Unknowns of both layings, and each epoch's points (all its cameras in order) by them."""
    ground = Ground(sigma=[], columns={}, moved={})
    points: list[list[Laid]] = []
    freed_in = [_freed(epoch) for epoch in epochs]
    for number, epoch in enumerate(epochs):
        layout = planned_layout(epoch.job)
        freed = freed_in[number] | (freed_in[0] | freed_in[1]) & set(shared)
        laid = []
        for seen in epoch.observations:
            for point_id, planned in zip(seen.points.ids, seen.points.planned_m, strict=True):
                mark = layout.mark_of(point_id)
                laid.append(_point(ground, epoch.job, mark, planned, number, shared, freed))
        points.append(laid)
    return ground, points


def _freed(epoch: Epoch) -> set[str]:
    """Strips and single marks whose stated place this epoch's own adjustment gave up."""
    return {g.name for g in epoch.adjustment.all_freed if g.kind in ("strip", "mark")}


def _belongs(mark: PlannedMark, name: str) -> bool:
    return mark.id.name == name


def _point(
    ground: Ground,
    job: Job,
    mark: PlannedMark,
    planned_m: Array,
    number: int,
    shared: Collection[str],
    freed: Collection[str],
) -> Laid:
    whose = mark.id.name
    key = 0 if whose in shared else number
    if mark.strip is None:
        single = job.mark(mark.id.name)
        sigma = FREED_SIGMA_M if whose in freed else single.position_sigma_m
        own = ground.add((key, mark.id), [sigma] * 3)
        return Laid(columns=np.arange(own.start, own.stop), slope=np.eye(3))
    strip = job.strip(mark.strip)
    ends_sigma = FREED_SIGMA_M if whose in freed else strip.position_sigma_m
    line = ground.add((key, strip.name), [ends_sigma] * 4 + [strip.mark_sigma_m])
    own_sigma = own_sigmas(strip)
    own = ground.add((key, mark.id), own_sigma)
    ends, bow, axes = _on_strip(strip, planned_m, mark.centre_m)
    parts = [line, own]
    slopes = [ends, bow[:, None], axes[:, : len(own_sigma)]]
    if whose in shared and number == 1:
        if whose not in ground.moved:
            start = len(ground.sigma)
            ground.sigma += [FREED_SIGMA_M] * 4
            ground.moved[whose] = slice(start, start + 4)
        parts.append(ground.moved[whose])
        slopes.append(ends)
    slope = np.zeros((3, sum(part.stop - part.start for part in parts)))
    slope[:2] = np.hstack(slopes)
    return Laid(columns=np.concatenate([np.arange(p.start, p.stop) for p in parts]), slope=slope)


def _on_strip(strip: Strip, point_m: Array, centre_m: Array) -> tuple[Array, Array, Array]:
    """Derivatives of a place by the strip's ends (2, 4), its bow (2,) and the mark's own (2, 3)."""
    along = strip.along
    across = QUARTER_TURN @ along
    a, c = np.stack([along, across]) @ (point_m[:2] - strip.from_m) / strip.length_m
    to = a * np.eye(2) + c * QUARTER_TURN
    turned = QUARTER_TURN @ (point_m[:2] - centre_m[:2])
    own = np.stack([along, across, turned], axis=-1)
    return np.hstack([np.eye(2) - to, to]), 4 * a * (1 - a) * across, own

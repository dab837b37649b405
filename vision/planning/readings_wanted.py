"""Which lengths to tape before the cameras, and what they would tell: Job -> Wanted.

A forecast like a plan's: everything read exactly as planned, with a tape of class II.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment.groups import Group
from vision.adjustment.search import adjust_readings
from vision.camera.solver import NoFit
from vision.job.job import Job, LengthReading
from vision.job.layout import planned_layout
from vision.job.mark_id import PlaceId
from vision.planning.setting_out.readings import (
    PlannedReading,
    readings_to_take,
)
from vision.units.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Lengths that are still to be taped, and what all readings together would then tell.

    `sure_m` is, for each strip, the least shift of the whole of it that would be named in 98 of 100
    lots.
    """

    readings: tuple[PlannedReading, ...]
    sure_m: dict[str, float]


def wanted(job: Job) -> Wanted:
    """What to tape yet, with what it would tell if everything lay as planned."""
    readings, layout = readings_to_take(job), planned_layout(job)
    place_m: dict[PlaceId, Array] = {mark.id: mark.centre_m for mark in layout.marks}
    known = tuple(
        replace(each, value_m=_planned_m(each, place_m))
        for each in job.readings
        if isinstance(each, LengthReading) and place_m.keys() >= set(each.between)
    )
    planned = replace(job, readings=(*known, *(each.as_planned() for each in readings)))
    found = adjust_readings(planned, layout)
    sure_m = dict.fromkeys((strip.name for strip in job.strips), float("inf"))
    if not isinstance(found, NoFit):
        tests = {name: found.groups.get(Group("strip", name)) for name in sure_m}
        sure_m |= {n: test.faults["shift"].named for n, test in tests.items() if test}
    return Wanted(readings=readings, sure_m=sure_m)


def _planned_m(reading: LengthReading, place_m: dict[PlaceId, Array]) -> float:
    places = [place_m[name] for name in reading.between]
    if reading.kind == "offset":
        return abs(float(places[0][1]))
    return float(np.linalg.norm(places[0] - places[1]))

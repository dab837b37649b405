"""What to tape once the strips are laid.

Strips answer for one another: every distance between two end marks that the body does not stand in
the way of says something of both strips, and the offsets tie them to the centre line. First come
the lengths, then where strips come nearest, then the offsets, then all others.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from typing import Literal

import numpy as np

from vision.job.job import Job, LengthReading
from vision.job.mark_id import MarkId
from vision.job.reading_keys import tape_sigma_m
from vision.job.settings import SETTINGS as JOB
from vision.planning.setting_out.checks import under_body
from vision.planning.setting_out.running_marks import exact
from vision.units.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedReading:
    """A length to tape, of two end marks or of one from the centre line, and what it should be."""

    kind: Literal["distance", "offset"]
    between: tuple[MarkId, ...]
    length_m: Fraction

    def as_planned(self) -> LengthReading:
        """The reading that would come out if everything lay as planned; a tape of class II."""
        length_m = float(self.length_m)
        return LengthReading(
            kind=self.kind,
            between=self.between,
            value_m=length_m,
            sigma_m=tape_sigma_m("II", length_m),
        )


def readings_to_take(job: Job) -> tuple[PlannedReading, ...]:
    """Every length worth taping between the strips' end marks, but for those the job has."""
    ends = {
        strip.name: (
            (MarkId(strip.name, 0), strip.from_m),
            (MarkId(strip.name, len(strip.at_m) - 1), strip.to_m),
        )
        for strip in job.strips
    }
    lengths = [_distance(*pair) for pair in ends.values()]
    nearest, others = [], []
    for one, other in combinations(ends.values(), 2):
        pairs = [(a, b) for a in one for b in other if not under_body(job.vehicle, a[1], b[1])]
        found = sorted((_distance(a, b) for a, b in pairs), key=lambda each: each.length_m)
        nearest += found[:1]
        others += found[1:]
    offsets = [
        PlannedReading(kind="offset", between=(name,), length_m=exact(abs(float(at[1]))))
        for pair in ends.values()
        for name, at in pair
        if abs(float(at[1])) > JOB.centre_line_m
    ]
    others.sort(key=lambda each: each.length_m)
    taken = {frozenset(each.between) for each in job.readings if isinstance(each, LengthReading)}
    every = (*lengths, *nearest, *offsets, *others)
    return tuple(each for each in every if frozenset(each.between) not in taken)


def _distance(a: tuple[MarkId, Array], b: tuple[MarkId, Array]) -> PlannedReading:
    return PlannedReading(
        kind="distance",
        between=(a[0], b[0]),
        length_m=exact(float(np.hypot(*(b[1] - a[1])))),
    )

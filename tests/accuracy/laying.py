"""Print what tape readings alone tell of simulated lots: `python -m tests.accuracy.laying`.

    python -m tests.accuracy.laying [--lots 100] [--seed 1]

The strips of the sample vehicle, laid to 3 or 2 mm at each end, and readings a person with one tape
takes: seventeen (each strip's length, offsets of the side strips' ends from the centre line, the
gaps at the corners, both long diagonals, both ends' distances between the strips), or thirty-two
(offsets, and the distances between all eight ends). Each has the error of a class II tape and of
holding it. One fault a lot: a strip that lies off as a whole, or one reading an inch wrong. Counted
is what was said, apart by whether the lot's own readings say that such a fault is surely named. The
job allows a strip 2 cm.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace
from itertools import combinations

import numpy as np

from tests.paths import CLEAR_DAY
from vision.adjustment.adjusted import Adjustment
from vision.adjustment.groups import Group
from vision.adjustment.search import adjust_readings
from vision.camera.solver import NoFit
from vision.files.disk import read_job
from vision.inspection.verdict.reliability import reliabilities
from vision.job.job import Job, LengthReading
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId

SIGMA_M = 0.0026
"""A class II tape over 9 m taken as uniform, and 2 mm for holding it."""
LAID_SIGMA_M, LAID_WELL_SIGMA_M = 0.003, 0.002
"""How well a strip is laid to chalk marks, each end; common practice, no source."""
STRIP_FAULT_M, INCH_M = 0.02, 0.0254
LATERAL = ("left", "right")
SURELY, NOT_SURELY = "surely named", "not surely"
"""Whether the fault is as large as one that the lot's own readings say is named 98 times of 100."""


def lot(*, every: bool = False, laid_sigma_m: float = LAID_SIGMA_M) -> Job:
    """The sample job with its readings as planned: seventeen, or `every` distance of two ends."""
    job, _ = read_job(CLEAR_DAY)
    last = {strip.name: len(strip.at_m) - 1 for strip in job.strips}
    ends = {name: (MarkId(name, 0), MarkId(name, count)) for name, count in last.items()}
    pairs = [ends[name] for name in last]
    pairs += [(ends["left"][i], ends["right"][j]) for i in (0, 1) for j in (0, 1)]
    pairs += [(ends["left"][1], ends["front"][1]), (ends["right"][1], ends["front"][0])]
    pairs += [(ends["left"][0], ends["rear"][1]), (ends["right"][0], ends["rear"][0])]
    pairs += [(ends["front"][0], ends["rear"][1])]
    if every:
        pairs = list(combinations([place for pair in ends.values() for place in pair], 2))
    readings = [_reading("distance", pair) for pair in pairs]
    readings += [_reading("offset", (place,)) for name in LATERAL for place in ends[name]]
    strips = tuple(replace(strip, position_sigma_m=laid_sigma_m) for strip in job.strips)
    return replace(
        job,
        strips=strips,
        readings=tuple(readings),
        marks=(),
        tolerances=replace(job.tolerances, strip_m=STRIP_FAULT_M),
    )


def _reading(kind: str, between: tuple[MarkId, ...]) -> LengthReading:
    return LengthReading(
        kind=kind,
        between=between,
        value_m=0.0,
        sigma_m=SIGMA_M,
        tape=None,
        scale_sigma=0.0,
    )


def draw(
    job: Job, rng: np.random.Generator, shift: dict[str, np.ndarray], wrong: int | None
) -> Job:
    """Lay the strips with errors, shift some, and read every length; one reading an inch wrong."""
    places = {}
    for strip in job.strips:
        ends = np.stack([strip.from_m, strip.to_m])
        ends = ends + rng.normal(0, strip.position_sigma_m, (2, 2)) + shift.get(strip.name, 0.0)
        own = rng.normal(0, strip.mark_sigma_m, (2, 2))
        for name, place in zip((0, len(strip.at_m) - 1), ends + own, strict=True):
            places[MarkId(strip.name, name)] = place
    readings = []
    for number, reading in enumerate(job.readings):
        assert isinstance(reading, LengthReading)
        points = [places[name] for name in reading.between]
        length = (
            abs(points[0][1])
            if reading.kind == "offset"
            else np.linalg.norm(np.diff(points, axis=0))
        )
        off = INCH_M * rng.choice([-1, 1]) if number == wrong else 0.0
        value = float(length) + rng.normal(0, SIGMA_M) + off
        readings.append(replace(reading, value_m=value))
    return replace(job, readings=tuple(readings))


def word(job: Job, found: Adjustment, cause: Group | None) -> str:
    """What was said where `cause` is at fault (None for nothing)."""
    strangers = [str(group) for group in found.freed if group != cause]
    if strangers or any(cause not in tie for tie in found.freed_alternatives):
        return f"wrong: {', '.join(strangers) or found.freed_alternatives}"
    if not cause:
        return "nothing named"
    standing = next(each for each in reliabilities(job, found) if each.group == cause)
    return {
        "wrong": "right alone",
        "one-of-several": "cannot tell which, right among them",
        "cannot-tell": "cannot tell whether it is sound",
        "sound": "missed: taken for sound",
    }[standing.word]


def simulate(job: Job, kind: str, lots: int, rng: np.random.Generator) -> dict[str, Counter[str]]:
    """Count outcomes by whether the fault is one that is surely named."""
    counts: dict[str, Counter[str]] = {name: Counter() for name in (SURELY, NOT_SURELY, "no fault")}
    for _ in range(lots):
        shift, wrong, cause, direction = {}, None, None, np.ones(1)
        if kind == "strip":
            name = rng.choice([strip.name for strip in job.strips])
            angle = rng.uniform(0, 2 * np.pi)
            direction = np.array([np.cos(angle), np.sin(angle)])
            shift, cause = {name: STRIP_FAULT_M * direction}, Group("strip", name)
        elif kind == "inch":
            wrong = int(rng.integers(len(job.readings)))
            cause = Group.of_reading(wrong + 1)
        drawn = draw(job, rng, shift, wrong)
        found = adjust_readings(drawn, planned_layout(drawn))
        if isinstance(found, NoFit):
            counts["no fault"][found.code] += 1
            continue
        where = "no fault"
        if cause:
            size = STRIP_FAULT_M if kind == "strip" else INCH_M
            least = found.groups[cause].faults["shift"].named_along(direction)
            where = SURELY if size >= least else NOT_SURELY
        counts[where][word(drawn, found, cause)] += 1
    return counts


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lots", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    lots = (
        lot(),
        lot(every=True),
        lot(every=True, laid_sigma_m=LAID_WELL_SIGMA_M),
    )
    for job in lots:
        rng = np.random.default_rng(given.seed)
        laid_mm = 1000 * job.strips[0].position_sigma_m
        print(f"{len(job.readings)} readings, laid to {laid_mm:.0f} mm")
        for kind in ("none", "strip", "inch"):
            for where, count in simulate(job, kind, given.lots, rng).items():
                if count:
                    print(f"  {kind:6s} {where:12s} {dict(count)}")


if __name__ == "__main__":
    main()

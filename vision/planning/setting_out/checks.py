"""What is taped to see that the strips are square: pairs of diagonals, and 3-4-5 triangles.

One distance shows little: it is wrong when either end is. Two that answer to the same fault with
opposite signs show it by their difference, free of the tape's own error. A strip slid along itself
by s against the opposite one, in a rectangle L by W with diagonals D, makes them differ by
2 L s / D; a strip turned by a about the corner of a 3-4-5 triangle of part k changes its long side
by (3 k)(4 k) / (5 k) a = 2.4 k a (law of cosines, to first order).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction
from typing import Literal, NamedTuple

import numpy as np

from vision.job.body import body_hides
from vision.job.job import Job, Vehicle
from vision.job.mark_id import MarkId
from vision.planning.setting_out.running_marks import (
    Diagonal,
    DiagonalPair,
    Legs,
    Side,
    StripLine,
    Triangle,
    exact,
)
from vision.planning.settings import SETTINGS
from vision.units.arrays import Array
from vision.units.lengths import UNITS

ABOVE_GROUND_M = 0.01
"""A tape lies a finger's breadth above the ground: at 0 the body's box would only be touched."""

METRIC_STEP_M = Fraction(1, 10)
IMPERIAL_STEP_M = UNITS["ft"] / 2
"""Steps of the triangle's part: its three sides are then round in that system."""

End = tuple[MarkId, Array]
"""Id and place (2,) of an end mark."""

OPPOSITE: dict[Side, Side] = {"left": "right", "front": "rear"}


def diagonal_pairs(job: Job, strips: tuple[StripLine, ...]) -> tuple[DiagonalPair, ...]:
    """Every pair worth taping, those across the vehicle first."""
    pairs = (_pair(job, candidate) for candidate in _candidates(strips))
    return tuple(pair for pair in pairs if pair is not None)


class _Candidate(NamedTuple):
    """Two lengths that may answer to one fault of `strip`: the ends of each, rear or right first.

    The fault moves the second end of the first along `moved` (2,), that of the second by `sign`
    times as much.
    """

    fault: Literal["slide", "turn"]
    strip: StripLine
    against: StripLine | None
    lengths: tuple[tuple[End, End], tuple[End, End]]
    moved: Array
    sign: int


def _candidates(strips: tuple[StripLine, ...]) -> Iterator[_Candidate]:
    """What faces across the vehicle, then from the side strips' near ends to each end strip's.

    Diagonals of strips that face each other show one slid against the other; how far apart they
    are at both ends shows one turned, and so do the legs to an end strip.
    """
    facing = [pair for side in OPPOSITE for pair in _facing(strips, side)]
    for one, other in facing:
        (a0, a1), (b0, b1) = _ends(one), _ends(other)
        yield _Candidate("slide", one, other, ((b0, a1), (b1, a0)), one.strip.along, 1)
        yield _Candidate("turn", one, other, ((b0, a0), (b1, a1)), _out(one), -1)
    for left, right in [pair for pair in facing if pair[0].side == "left"][:1]:
        for end in (line for line in strips if line.side in ("front", "rear")):
            near = -1 if end.side == "front" else 0
            ends = _ends(end)
            lengths = (_ends(left)[near], ends[1]), (_ends(right)[near], ends[0])
            yield _Candidate("turn", end, None, lengths, _out(end), -1)


def _facing(strips: tuple[StripLine, ...], side: Side) -> Iterator[tuple[StripLine, StripLine]]:
    """Strips of `side`, each with the opposite one that mirrors it best."""
    others = [line for line in strips if line.side == OPPOSITE[side]]
    mirror = np.array([1.0, -1.0] if side == "left" else [-1.0, 1.0])
    for line in (each for each in strips if each.side == side):
        if others:
            wanted = _middle(line) * mirror
            best = min(others, key=lambda each: float(np.hypot(*(_middle(each) - wanted))))
            others.remove(best)
            yield line, best


def _middle(line: StripLine) -> Array:
    return (line.strip.from_m + line.strip.to_m) / 2


def _out(line: StripLine) -> Array:
    """Unit vector (2,) square to a strip."""
    return np.array([-line.strip.along[1], line.strip.along[0]])


def _ends(line: StripLine) -> list[End]:
    """Id and place (2,) of the two end marks: rear before front, right before left."""
    axis = 0 if line.side in ("left", "right") else 1
    ends = [(line.marks[0].id, line.strip.from_m), (line.marks[-1].id, line.strip.to_m)]
    return sorted(ends, key=lambda each: float(each[1][axis]))


def under_body(vehicle: Vehicle, a_m: Array, b_m: Array) -> bool:
    """Whether a tape between two places (2,) on the ground runs under the body."""
    low, high = (np.append(each, ABOVE_GROUND_M) for each in (a_m, b_m))
    return bool(body_hides(vehicle, low, high[None], margin_m=0.0)[0])


def _diagonal(vehicle: Vehicle, a: End, b: End) -> Diagonal:
    return Diagonal(
        between=(a[0], b[0]),
        ends_m=np.stack([a[1], b[1]]),
        length_m=exact(float(np.hypot(*(b[1] - a[1])))),
        under_body=under_body(vehicle, a[1], b[1]),
    )


def _pair(job: Job, of: _Candidate) -> DiagonalPair | None:
    """A pair, or None where it would not show the fault, or the body is in the way of it."""
    first, second = (_diagonal(job.vehicle, *ends) for ends in of.lengths)
    # The diagonals across the vehicle run under it, and are taped there.
    if of.fault == "turn" and (first.under_body or second.under_body):
        return None
    if min(first.length_m, second.length_m) <= 0:
        return None
    along = [np.diff(each.ends_m, axis=0)[0] for each in (first, second)]
    by_fault = [float(each @ of.moved) / float(np.hypot(*each)) for each in along]
    answer = abs(by_fault[0] - of.sign * by_fault[1])
    if answer < SETTINGS.least_answer:
        return None
    return DiagonalPair(
        fault=of.fault,
        strip=of.strip.strip.name,
        against=of.against.strip.name if of.against else None,
        first=first,
        second=second,
        difference_m=first.length_m - second.length_m,
        answer=answer,
        allowed_m=answer * job.tolerances.strip_m,
    )


# --------------------------------------------------------------------------------------- triangles


def triangles(job: Job, strips: tuple[StripLine, ...]) -> tuple[Triangle, ...]:
    """A triangle for every end strip that the centre line crosses, within the room beyond it."""
    found = []
    for line in strips:
        if line.side not in ("front", "rear") or not line.crosses:
            continue
        assert line.crossing_m is not None
        at = float(line.crossing_m)
        reach_m = max(at, float(line.marks[-1].running_m) - at)
        if reach_m < SETTINGS.least_reach_m:
            continue
        turn_rad = job.tolerances.strip_m / reach_m
        part_m = min(reach_m / 4, SETTINGS.end_room_m / 3)
        found.append(
            Triangle(
                strip=line.strip.name,
                corner_m=line.strip.from_m + at * line.strip.along,
                away=1 if line.side == "front" else -1,
                metric=_sides(part_m, METRIC_STEP_M, turn_rad),
                imperial=_sides(part_m, IMPERIAL_STEP_M, turn_rad),
            )
        )
    return tuple(found)


def _sides(part_m: float, step_m: Fraction, turn_rad: float) -> Legs:
    # The chalk line may be drawn on beyond a short strip: a part below one step has no use.
    part = max(1, math.floor(Fraction(part_m) / step_m + Fraction(1, 10**6))) * step_m
    return Legs(
        along_strip_m=4 * part,
        along_line_m=3 * part,
        across_m=5 * part,
        allowed_m=2.4 * float(part) * turn_rad,
    )

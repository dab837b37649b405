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
from typing import Literal

import numpy as np

from vision.job.body import body_hides
from vision.job.job import Job, Vehicle
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

OPPOSITE: dict[Side, Side] = {"left": "right", "front": "rear"}


def diagonal_pairs(job: Job, strips: tuple[StripLine, ...]) -> tuple[DiagonalPair, ...]:
    """Every pair worth taping, those across the vehicle first."""
    tolerance_m = job.tolerances.strip_m
    found: list[DiagonalPair | None] = []
    facing = [pair for side in OPPOSITE for pair in _facing(strips, side)]
    for one, other in facing:
        found.append(_crossed(job.vehicle, one, other, tolerance_m))
        found.append(_widths(job.vehicle, one, other, tolerance_m))
    sides = next(((a, b) for a, b in facing if a.side == "left"), None)
    if sides is not None:
        ends = [line for line in strips if line.side in ("front", "rear")]
        found += [_legs(job.vehicle, end, sides, tolerance_m) for end in ends]
    return tuple(pair for pair in found if pair is not None)


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


def _ends(line: StripLine) -> list[tuple[str, Array]]:
    """Id and place (2,) of the two end marks: rear before front, right before left."""
    axis = 0 if line.side in ("left", "right") else 1
    ends = [(line.marks[0].id, line.strip.from_m), (line.marks[-1].id, line.strip.to_m)]
    return sorted(ends, key=lambda each: float(each[1][axis]))


def under_body(vehicle: Vehicle, a_m: Array, b_m: Array) -> bool:
    """Whether a tape between two places (2,) on the ground runs under the body."""
    low, high = (np.append(each, ABOVE_GROUND_M) for each in (a_m, b_m))
    return bool(body_hides(vehicle, low, high[None], margin_m=0.0)[0])


def _diagonal(vehicle: Vehicle, a: tuple[str, Array], b: tuple[str, Array]) -> Diagonal:
    return Diagonal(
        between=(a[0], b[0]),
        ends_m=np.stack([a[1], b[1]]),
        length_m=exact(float(np.hypot(*(b[1] - a[1])))),
        under_body=under_body(vehicle, a[1], b[1]),
    )


def _pair(
    fault: Literal["slide", "turn"],
    strips: tuple[StripLine, StripLine | None],
    diagonals: tuple[Diagonal, Diagonal],
    shift: tuple[Array, Array],
    tolerance_m: float,
) -> DiagonalPair | None:
    """A pair, or None where it would not show the fault.

    `shift`: unit vectors by which the fault moves the second end of each diagonal.
    """
    if min(each.length_m for each in diagonals) <= 0:
        return None
    answers = []
    for diagonal, moved in zip(diagonals, shift, strict=True):
        along = diagonal.ends_m[1] - diagonal.ends_m[0]
        answers.append(float(along @ moved) / float(np.hypot(*along)))
    answer = abs(answers[0] - answers[1])
    if answer < SETTINGS.least_answer:
        return None
    return DiagonalPair(
        fault=fault,
        strip=strips[0].strip.name,
        against=strips[1].strip.name if strips[1] else None,
        first=diagonals[0],
        second=diagonals[1],
        difference_m=diagonals[0].length_m - diagonals[1].length_m,
        answer=answer,
        allowed_m=answer * tolerance_m,
    )


def _crossed(
    vehicle: Vehicle, one: StripLine, other: StripLine, tolerance_m: float
) -> DiagonalPair | None:
    """The two diagonals of strips that face each other: one slid against the other."""
    (a0, a1), (b0, b1) = _ends(one), _ends(other)
    diagonals = _diagonal(vehicle, b0, a1), _diagonal(vehicle, b1, a0)
    along = one.strip.along
    return _pair("slide", (one, other), diagonals, (along, along), tolerance_m)


def _widths(
    vehicle: Vehicle, one: StripLine, other: StripLine, tolerance_m: float
) -> DiagonalPair | None:
    """How far apart strips that face each other are at both ends: one turned."""
    (a0, a1), (b0, b1) = _ends(one), _ends(other)
    diagonals = _diagonal(vehicle, b0, a0), _diagonal(vehicle, b1, a1)
    if any(each.under_body for each in diagonals):
        return None
    out = np.array([-one.strip.along[1], one.strip.along[0]])
    return _pair("turn", (one, other), diagonals, (out, -out), tolerance_m)


def _legs(
    vehicle: Vehicle, end: StripLine, sides: tuple[StripLine, StripLine], tolerance_m: float
) -> DiagonalPair | None:
    """From the side strips' near ends to the end strip's: the end strip turned."""
    near = -1 if end.side == "front" else 0
    left, right = _ends(sides[0])[near], _ends(sides[1])[near]
    end_right, end_left = _ends(end)
    diagonals = _diagonal(vehicle, left, end_left), _diagonal(vehicle, right, end_right)
    if any(each.under_body for each in diagonals):
        return None
    out = np.array([-end.strip.along[1], end.strip.along[0]])
    return _pair("turn", (end, None), diagonals, (out, -out), tolerance_m)


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

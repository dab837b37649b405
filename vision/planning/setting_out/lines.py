"""Where each strip lies against the body, and its marks by running distance."""

from __future__ import annotations

import math
from fractions import Fraction

from vision.job.job import Job, Strip, Vehicle
from vision.job.mark_id import MarkId
from vision.planning.setting_out.running_marks import (
    Offset,
    RunningMark,
    Side,
    StripLine,
    exact,
)
from vision.planning.settings import SETTINGS


def strip_lines(job: Job) -> tuple[StripLine, ...]:
    """Set out every strip of the job, in its order."""
    return tuple(_line(strip, job.vehicle) for strip in job.strips)


def side_of(strip: Strip) -> Side:
    """Which side of the body the strip runs along or across."""
    x, y = (strip.from_m + strip.to_m) / 2
    ahead, left = strip.along
    if abs(left) < math.sin(SETTINGS.square_rad) and y != 0:
        return "left" if y > 0 else "right"
    if abs(ahead) < math.sin(SETTINGS.square_rad) and x != 0:
        return "front" if x > 0 else "rear"
    return "free"


def _line(strip: Strip, vehicle: Vehicle) -> StripLine:
    side = side_of(strip)
    first, last = Offset.of(strip.from_m), Offset.of(strip.to_m)
    body = inside = crossing = None
    if side != "free":
        axis = 1 if side in ("left", "right") else 0
        half = exact((vehicle.width_m if axis else vehicle.length_m) / 2)
        across = (first.left_m, last.left_m) if axis else (first.ahead_m, last.ahead_m)
        body = (abs(across[0]) - half, abs(across[1]) - half)
        edge = exact(strip.tape_width_m / 2)
        inside = (body[0] - edge, body[1] - edge)
        start, step = strip.from_m[1 - axis], strip.along[1 - axis]
        crossing = exact(-start / step)
    return StripLine(
        strip=strip,
        side=side,
        first=first,
        last=last,
        marks=tuple(
            RunningMark(id=MarkId(strip.name, index), index=index, running_m=exact(at))
            for index, at in enumerate(strip.at_m)
        ),
        body_m=body,
        inside_m=inside,
        crossing_m=crossing,
    )


def same(pair: tuple[Fraction, Fraction] | None) -> Fraction | None:
    """The one figure of both ends where they agree to a tenth of a millimetre, else None."""
    if pair is None or abs(pair[0] - pair[1]) > Fraction(1, 10**4):
        return None
    return pair[0]

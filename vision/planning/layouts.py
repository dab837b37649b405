"""One layout for a vehicle, from a few choices: strips and raised marks on tape-friendly figures.

Strips run along both sides and across both ends. An end strip reaches beyond the body's sides,
where the side cameras see it, and a side strip beyond the body's ends, where the end cameras see
it: those are the corner marks that neighbours share.

A layout that is the same from front and rear, or from left and right, lets swapped pictures fit as
well as the right ones. This one is lopsided on purpose: the right strip lies farther out than the
left, the rear one farther than the front, and every strip has one mark more, half a spacing from
its rear or its left end. A half turn takes the one strip's extra mark to the other's far end, and
so does a mirror, so neither leaves the layout as it was.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.job.job import Job, SingleMark, Strip
from vision.planning.settings import SETTINGS
from vision.planning.sizes import Size, raised_mark
from vision.units.arrays import Array
from vision.views.seams.lines import side_of

SIDES = ("front", "left", "rear", "right")
"""By the number that `side_of` gives."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What one layout is made from.

    `side_m` and `end_m`: spacing along the sides and across the ends; `out_m`: how far the front
    strip lies before the body; `rows`: outer rows at the ends and at the sides; `raised`: a raised
    mark at each corner; `grid_m`: what every figure is a multiple of.
    """

    size: Size
    side_m: float
    end_m: float
    out_m: float
    rows: tuple[bool, bool]
    raised: bool
    grid_m: float = 0.05


def laid_out(vehicle_job: Job, choice: Choice) -> Job:
    """The job with the layout of `choice`; its own strips and marks, if any, are replaced."""
    strips = _strips(vehicle_job, choice)
    longest = vehicle_job.means.tape_longest_m
    if longest is not None:
        strips = [part for strip in strips for part in _split(strip, longest)]
    job = replace(vehicle_job, strips=tuple(strips), marks=())
    return replace(job, marks=_raised(job, choice)) if choice.raised else job


def extent_m(job: Job) -> tuple[float, float]:
    """Length and width (m) of what a layout covers, body and tape ends included."""
    places = [strip.from_m - SETTINGS.tape_beyond_m * strip.along for strip in job.strips]
    places += [strip.to_m + SETTINGS.tape_beyond_m * strip.along for strip in job.strips]
    places += [mark.at_m[:2] for mark in job.marks]
    places.append(np.array([job.vehicle.length_m, job.vehicle.width_m]) / 2)
    reach = np.abs(np.array(places)).max(axis=0)
    return float(2 * reach[0]), float(2 * reach[1])


def _grid(value: float, choice: Choice, *, up: bool = True) -> float:
    """A length brought to the grid: figures that a tape measure shows."""
    steps = value / choice.grid_m
    return float((np.ceil(steps - 1e-6) if up else np.floor(steps + 1e-6)) * choice.grid_m)


def _strips(job: Job, choice: Choice) -> list[Strip]:
    """Every strip of the sides that have a camera, each with its outer row where there is one."""
    sides = {side_of(camera) for camera in job.cameras}
    places = _places(job, choice)
    across, (behind, ahead) = _across(job, choice), _reach(places, choice)
    row = _grid(SETTINGS.outer_m, choice)
    beside = _grid(job.vehicle.length_m / 2, choice, up=False)
    strips = []
    for number, name in enumerate(SIDES):
        if number not in sides:
            continue
        at, lengthways = places[name], number % 2 == 1
        outer = at + np.sign(at) * row
        spacing = choice.side_m if lengthways else choice.end_m
        ends = ((behind, at), (ahead, at)) if lengthways else ((at, across), (at, -across))
        strips.append(_strip(name, ends, spacing, choice))
        if choice.rows[int(lengthways)]:
            # Where it would cross an end strip that reaches as far, a side's row stops at the body.
            clear = abs(outer) - choice.size.side_width_m / 2 > across + SETTINGS.tape_beyond_m
            first, last = (behind, ahead) if clear else (-beside, beside)
            far = (
                ((first, outer), (last, outer))
                if lengthways
                else ((outer, across), (outer, -across))
            )
            strips.append(_strip(f"{name}_outer", far, SETTINGS.row_spacings * spacing, choice))
    return strips


def _places(job: Job, choice: Choice) -> dict[str, float]:
    """Where each side's strip lies: x of the end strips, y of the side strips."""
    half_length, half_width = job.vehicle.length_m / 2, job.vehicle.width_m / 2
    beside = SETTINGS.walk_m + choice.size.side_width_m / 2
    return {
        "front": _grid(half_length + choice.out_m, choice),
        "left": _grid(half_width + beside, choice),
        "rear": -_grid(half_length + choice.out_m + SETTINGS.lopsided_m, choice),
        "right": -_grid(half_width + beside + SETTINGS.lopsided_m, choice),
    }


def _reach(places: dict[str, float], choice: Choice) -> tuple[float, float]:
    """First and last x of the side strips: their tape ends before the end strips' begins."""
    clear = SETTINGS.tape_beyond_m + choice.size.end_width_m / 2
    return (
        -_grid(-places["rear"] - clear, choice, up=False),
        _grid(places["front"] - clear, choice, up=False),
    )


def _across(job: Job, choice: Choice) -> float:
    """How far to the left and right of the centre line an end strip's marks reach."""
    return _grid(job.vehicle.width_m / 2 + SETTINGS.aside * choice.out_m, choice)


def _strip(
    name: str,
    ends: tuple[tuple[float, float], tuple[float, float]],
    spacing: float,
    choice: Choice,
) -> Strip:
    start, end = np.array(ends[0]), np.array(ends[1])
    size, lengthways = choice.size, bool(start[1] == end[1])
    return Strip(
        name=name,
        from_m=start,
        to_m=end,
        at_m=_marks_at(float(np.linalg.norm(end - start)), spacing, choice),
        shape=size.side if lengthways else size.end,
        tape_width_m=size.side_tape_m if lengthways else size.end_tape_m,
        position_sigma_m=SETTINGS.strip_sigma_m,
        mark_sigma_m=SETTINGS.mark_sigma_m,
    )


def _marks_at(length: float, spacing: float, choice: Choice) -> Array:
    """Distances from the first mark: even, the last at the end, and one more half a spacing in.

    What is left over goes into the last interval, which is between half a spacing and one and a
    half: every other mark then lies on a round figure.
    """
    even = [float(each) for each in np.arange(0.0, length - spacing / 2 + 1e-9, spacing)]
    if length - even[-1] < spacing / 2 - 1e-9 and len(even) > 1:
        even.pop()
    extra = _grid(spacing / 2, choice)
    first = sorted({*even, extra, length})
    return np.array([round(each, 6) for each in first])


def _split(strip: Strip, longest_m: float) -> list[Strip]:
    """A strip in as many pieces as the tape at hand makes it; each of two marks or more."""
    tape = strip.length_m + 2 * SETTINGS.tape_beyond_m
    count = int(np.ceil(tape / longest_m - 1e-9))
    if count < 2 or len(strip.at_m) < 2 * count:
        return [strip]
    parts = np.array_split(strip.at_m, count)
    return [
        replace(
            strip,
            name=f"{strip.name}_{number}",
            from_m=strip.from_m + at[0] * strip.along,
            to_m=strip.from_m + at[-1] * strip.along,
            at_m=np.round(at - at[0], 6),
        )
        for number, at in enumerate(parts, start=1)
    ]


def _raised(job: Job, choice: Choice) -> tuple[SingleMark, ...]:
    """A raised mark beyond each corner between an end strip and a side strip."""
    sides = {SIDES[side_of(camera)] for camera in job.cameras}
    places = _places(job, choice)
    across = _across(job, choice)
    stand = (1 + SETTINGS.stand_margin) * SETTINGS.raised_reach_m
    beyond = _grid(choice.size.end_width_m / 2 + stand + SETTINGS.raised_clear_m, choice)
    marks = []
    for end in ("front", "rear"):
        for side in ("left", "right"):
            if not {end, side} <= sides:
                continue
            x = places[end] + np.sign(places[end]) * beyond
            y = np.sign(places[side]) * (across + beyond)
            name = f"{end}_{side}_raised"
            marks.append(raised_mark(job, name, float(x), float(y), choice.size.kind))
    return tuple(marks)

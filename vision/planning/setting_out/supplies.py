"""How much ground, tape and string the layout needs."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np

from vision.job.job import Job, SingleMark, Strip
from vision.job.kinds.mark_shape import MarkShape
from vision.planning.setting_out.running_marks import CutList, LotSize, Piece, exact
from vision.planning.settings import SETTINGS
from vision.units.arrays import Array


def lot_size(job: Job) -> LotSize:
    """The ground that body, layout, people and open doors take, as a rectangle."""
    half = np.array([job.vehicle.length_m, job.vehicle.width_m]) / 2
    corners = [tape_corners(strip, panels=True) for strip in job.strips]
    for mark in job.marks:
        corners.append(mark.at_m[:2] + SETTINGS.stand_m * np.array([[1.0, 1.0], [-1.0, -1.0]]))
    taken = np.concatenate([*corners, np.stack([half, -half])])
    ahead, left = taken.max(axis=0) - half
    behind, right = -taken.min(axis=0) - half
    return LotSize(
        vehicle_length_m=job.vehicle.length_m,
        vehicle_width_m=job.vehicle.width_m,
        ahead_m=float(ahead) + SETTINGS.end_room_m,
        behind_m=float(behind) + SETTINGS.end_room_m,
        left_m=max(float(left) + SETTINGS.side_room_m, SETTINGS.door_room_m),
        right_m=max(float(right) + SETTINGS.side_room_m, SETTINGS.door_room_m),
    )


def extent_m(shape: MarkShape) -> tuple[Fraction, Fraction]:
    """Size of a mark along and across its strip; a board's with its light border."""
    along, across = shape.extent_m
    return exact(along), exact(across)


def tape_length_m(strip: Strip) -> Fraction:
    """Length of the tape under a strip: its marks, and an overhang at each end."""
    return exact(strip.at_m[-1]) + extent_m(strip.shape)[0] + 2 * SETTINGS.overhang_m


def tape_corners(strip: Strip, *, panels: bool = False) -> Array:
    """The four corners (4, 2) of a strip's tape, or of its widest `panels`, in order round it."""
    along, left = strip.along, np.array([-strip.along[1], strip.along[0]])
    beyond = float(tape_length_m(strip) - exact(strip.at_m[-1])) / 2
    width = max(strip.tape_width_m, float(extent_m(strip.shape)[1]) if panels else 0.0)
    start, end, aside = strip.from_m - beyond * along, strip.to_m + beyond * along, width / 2 * left
    return np.stack([start + aside, end + aside, end - aside, start - aside])


def carton_corners_m(job: Job, mark: SingleMark) -> Array:
    """Foot of a carton (4, 2), in order round it: the corner that counts, then its long side's end.

    For a carton whose size or turn is not told, a usual one that stands as the vehicle does.
    """
    corner = mark.at_m[:2]
    stand = mark.shape.stand(mark.at_m, job.set_up_for(mark.at_m).position_m)
    assert stand is not None, "what is not drawn brings its own stand"
    c, s = np.cos(stand.turn_rad), np.sin(stand.turn_rad)
    axes = np.array([[c, s], [-s, c]])
    long, short = 2 * (axes @ (stand.middle_m - corner))[:, None] * axes
    return np.stack([corner, corner + long, corner + long + short, corner + short])


def cut_list(job: Job, lot: LotSize) -> CutList:
    """Tape for the strips, pieces for crosses, prints for the rest, string for the datum lines."""
    tape = tuple(
        Piece(
            of=strip.name,
            what="light tape" if strip.ink == "dark" else "dark tape",
            count=1,
            length_m=tape_length_m(strip),
            width_m=exact(strip.tape_width_m),
        )
        for strip in job.strips
    )
    marks: list[Piece] = []
    laid: tuple[Strip | SingleMark, ...] = (*job.strips, *job.marks)
    for each in laid:
        marks += _mark_pieces(each)
    return CutList(tape=tape, marks=tuple(marks), string_m=math.ceil(lot.length_m + lot.width_m))


def _mark_pieces(each: Strip | SingleMark) -> list[Piece]:
    count = len(each.at_m) if isinstance(each, Strip) else 1
    lines = [
        Piece(
            of=each.name,
            what=f"{each.ink} line {line.way}",
            count=count,
            length_m=exact(line.length_m),
            width_m=exact(line.width_m),
        )
        for line in each.shape.lines
    ]
    if lines or not each.shape.drawn:
        return lines
    along, across = extent_m(each.shape)
    what = f"printed {each.shape.kind}"
    return [Piece(of=each.name, what=what, count=count, length_m=along, width_m=across)]

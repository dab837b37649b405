"""A mark as it is printed: its ink as convex shapes, true to size, and where the paper is cut.

Mark coordinates as in `vision.job.pattern`, in millimetres: s along the strip, q to its left, from
the mark's centre. `vision.job.pattern` says how the same mark is looked for; the tests hold the
two against each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from vision.documents.sheets.drawing import Point
from vision.job.job import Board, Cross, Ink, Quadrant, SingleMark, Strip
from vision.job.pattern import BOARD_BORDER, half_extent

TRIM_MM = 4.0
"""Paper left beyond the ends of a mark on tape, which goes on in the same colour."""

ALONE_MM = 20.0
"""Paper left round a mark that lies on no tape, so that it stands out from what it lies on."""

ARC_STEPS = 90
"""Chords of a quarter circle: with a radius of 0.2 m they stay within 0.01 mm of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkArt:
    """What is printed for a mark: `inked` shapes (s, q) in mm; half the size of the cut paper.

    With `ink` light the paper is printed dark and the ink left white.
    """

    inked: tuple[tuple[Point, ...], ...]
    half_along: float
    half_across: float
    ink: Ink


def mark_art(laid: Strip | SingleMark) -> MarkArt | None:
    """The art of a strip's marks, or of a single mark; None for what is not printed."""
    shape = laid.shape
    if not isinstance(shape, Cross | Quadrant | Board):
        return None
    along, across = (1000 * half for half in half_extent(shape))
    match shape:
        case Board():
            border = 1000 * BOARD_BORDER * shape.square_m
            along, across = along + border, across + border
        case _ if isinstance(laid, Strip):
            along = along + TRIM_MM
            # No wider than the tape where the mark allows it: the tape keeps its own edges.
            across = max(across, min(across + TRIM_MM, 500 * laid.tape_width_m))
        case _:
            along, across = along + ALONE_MM, across + ALONE_MM
    return MarkArt(inked=_inked(shape), half_along=along, half_across=across, ink=laid.ink)


def _inked(shape: Cross | Quadrant | Board) -> tuple[tuple[Point, ...], ...]:
    match shape:
        case Cross():
            half = 500 * shape.line_m
            along, across = 1000 * shape.arm_along_m, 1000 * shape.arm_across_m
            return _rectangle(-along, along, -half, half), _rectangle(-half, half, -across, across)
        case Quadrant():
            return _sector(1000 * shape.radius_m, 0), _sector(1000 * shape.radius_m, 2)
        case Board():
            side = 1000 * shape.square_m
            rear, right = (
                -(corners + 1) / 2 * side for corners in (shape.corners_along, shape.corners_across)
            )
            return tuple(
                _rectangle(rear + i * side, rear + (i + 1) * side,
                           right + j * side, right + (j + 1) * side)
                for i in range(shape.corners_along + 1)
                for j in range(shape.corners_across + 1)
                # The square behind-right is the first of both counts, and inked.
                if (i + j) % 2 == 0
            )  # fmt: skip


def _rectangle(s0: float, s1: float, q0: float, q1: float) -> tuple[Point, ...]:
    return (s0, q0), (s1, q0), (s1, q1), (s0, q1)


def _sector(radius: float, quarter: int) -> tuple[Point, ...]:
    """A quarter disc; quarter 0 is ahead-left, counted counter-clockwise seen from above."""
    angles = [math.pi / 2 * (quarter + step / ARC_STEPS) for step in range(ARC_STEPS + 1)]
    return (0.0, 0.0), *((radius * math.cos(a), radius * math.sin(a)) for a in angles)

"""A mark as it is printed: its ink as convex shapes, true to size, and where the paper is cut.

Mark coordinates as in `vision.job.pattern`, in millimetres: s along the strip, q to its left, from
the mark's centre. `vision.job.pattern` says how the same mark is looked for; the tests hold the
two against each other.
"""

from __future__ import annotations

from dataclasses import dataclass

from vision.documents.sheets.drawing import Point
from vision.job.job import Ink, SingleMark, Strip

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
    if not shape.drawn:
        return None
    along, across = (1000 * half for half in shape.half_extent_m)
    if shape.border_m:
        along, across = along + 1000 * shape.border_m, across + 1000 * shape.border_m
    elif isinstance(laid, Strip):
        along = along + TRIM_MM
        # No wider than the tape where the mark allows it: the tape keeps its own edges.
        across = max(across, min(across + TRIM_MM, 500 * laid.tape_width_m))
    else:
        along, across = along + ALONE_MM, across + ALONE_MM
    inked = tuple(tuple((1000 * s, 1000 * q) for s, q in each) for each in shape.polygons)
    return MarkArt(inked=inked, half_along=along, half_across=across, ink=laid.ink)

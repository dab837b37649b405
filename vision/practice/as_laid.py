"""What lies flat: asphalt, tapes with their marks, sheets, and spots upon them, without light.

A mark's edges are sharp here and softened by many rays per pixel, so that nothing is shared with
the drawing the checker measures by.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.job.layout import PlannedMark
from vision.practice.boxes import Box
from vision.practice.deviations import Floats, Ground
from vision.practice.ground_texture import Yard
from vision.practice.placed import to_local
from vision.practice.spots import Spots, paper_and_ink
from vision.practice.world import Tape, World, sheet_half_m
from vision.units.arrays import Array, Flags

ASPHALT = (88.0, 91.0, 92.0)
WET_ASPHALT, WET_TAPE = 0.45, 0.1
"""Share of light that soaked asphalt and tape lose: a film of water keeps it in; from memory."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scenery:
    """All that a shading needs: the world as one camera meets it, textures, ground, the sun.

    `spots` are those of the world that lie on the ground; `px_rad` is the angle of a pixel, for how
    much ground one covers; `to_sun` (3,) or None.
    """

    world: World
    body: Box
    yard: Yard
    spots: Spots
    ground: Ground
    to_sun: Array | None
    px_rad: float

    @property
    def boxes(self) -> tuple[Box, ...]:
        """The vehicle's body, then all other boxes."""
        return (self.body, *self.world.boxes)


def ground_colours(
    scenery: Scenery, points: Floats, reach: Floats, steepness: Floats
) -> tuple[Floats, Flags]:
    """Colours (n, 3) of ground points (n, 2) in even light, and where tape or a sheet is near."""
    x, y = points[:, 0], points[:, 1]
    footprint = reach * np.float32(scenery.px_rad)
    mean, longest = footprint / np.sqrt(steepness), footprint / steepness
    yard = scenery.yard
    grain = yard.grain.at(x, y, mean)
    factor = (1 + grain + yard.blotches.at(x, y, mean)) * yard.painted.at(x, y, mean)
    colours = factor[:, None] * np.array(ASPHALT, dtype=np.float32)
    wet = np.float32(scenery.ground.wet)
    colours *= 1 - np.float32(WET_ASPHALT) * wet
    bare = colours.copy() if scenery.spots.each else colours
    fine = np.zeros(len(points), dtype=bool)
    world = scenery.world
    relief = (1 + 0.25 * grain) * (1 - np.float32(WET_TAPE) * wet)
    for tape in world.tapes:
        marks = [mark for mark in world.marks if mark.strip == tape.name]
        _lay_tape(tape, marks, points, longest, (colours, fine, relief))
    for mark in world.marks:
        if mark.strip is None and mark.centre_m[2] == 0:
            _lay_sheet(mark, points, longest, (colours, fine))
    scenery.spots.lay(points, colours, bare)
    return colours, fine


def _lay_tape(
    tape: Tape,
    marks: list[PlannedMark],
    points: Floats,
    longest: Floats,
    onto: tuple[Floats, Flags, Floats],
) -> None:
    colours, fine, relief = onto
    s, q = to_local(points, tape.middle_m, tape.heading_rad)
    sheet = sheet_half_m(marks[0]) or (0.0, 0.0)
    width = max(tape.half_m[1], sheet[1])
    margin = 1.5 * longest
    swing = abs(tape.bow_m) + 2 * float(np.abs(tape.waves[:, 0]).sum())
    beside = np.abs(q) < width + swing + margin
    close = np.flatnonzero(beside & (np.abs(s) < tape.half_m[0] + margin))
    fine[close] = True
    s, q = s[close], q[close]
    centres = np.array([mark.centre_m for mark in marks], dtype=np.float32)
    at, off = to_local(centres, tape.middle_m, tape.heading_rad)
    if not tape.straight:
        middle, slope = tape.off(s)
        q = q - middle
        # The mark turns with its tape: along the curve, s lags by the slope times q.
        s = s + slope * q
        at_off, at_slope = tape.off(at)
        off = off - at_off
        at = at + at_slope * off
    order = np.argsort(at)
    at, off = at[order], off[order]
    nearest = np.searchsorted((at[1:] + at[:-1]) / 2, s)
    ds, dq = s - at[nearest], q - off[nearest]
    taped = (np.abs(q) < tape.half_m[1]) & (np.abs(s) < tape.half_m[0])
    taped |= (np.abs(ds) < sheet[0]) & (np.abs(dq) < sheet[1])
    inked = marks[0].shape.inked(ds, dq)
    paper, ink = paper_and_ink(marks[0].ink)
    colours[close[taped]] = relief[close[taped], None] * paper
    colours[close[inked]] = ink


def _lay_sheet(
    mark: PlannedMark, points: Floats, longest: Floats, onto: tuple[Floats, Flags]
) -> None:
    colours, fine = onto
    half = sheet_half_m(mark)
    if half is None:
        return
    s, q = to_local(points, mark.centre_m[:2], mark.heading_rad)
    margin = 1.5 * longest
    fine |= (np.abs(s) < half[0] + margin) & (np.abs(q) < half[1] + margin)
    paper, ink = paper_and_ink(mark.ink)
    colours[(np.abs(s) < half[0]) & (np.abs(q) < half[1])] = paper
    colours[mark.shape.inked(s, q)] = ink

"""Where the marks truly lie: strips, single marks and their own deviations as linear unknowns.

Every unknown here is a deviation from the plan, so its prior is zero with a stated sigma, and every
point's place is the planned one plus a constant matrix times the unknowns. A strip has its two ends
(from x, from y, to x, to y); a point with coordinates (a, c) along and across the strip as planned
moves with them by the similarity that takes the planned ends to the true ones, which for a mark on
the strip's line is plain interpolation. Each seen mark of a strip deviates by itself along and
across; a board panel also turns. A single mark deviates in x, y and z. Each named tape has one
scale error, and the ground two slopes where an angle was read against gravity.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from vision.geometry import Array
from vision.job import AngleReading, Board, Job, LengthReading, Strip
from vision.layout import Layout, PlannedMark

QUARTER_TURN = np.array([[0.0, -1.0], [1.0, 0.0]])

SLOPE_SIGMA = 0.0175
"""Slope of a yard against the horizontal, 1 degree each way: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class World:
    """The unknowns of the ground.

    `sigma` (w,) of each unknown's prior, in metres (radians for a panel's turn). `strips` maps each
    seen strip to its four columns and `marks` each seen mark to its own columns, counted from 0
    within the world. `tapes` maps each tape to its column and `slope` are the ground's two, None
    where nothing was read against gravity. `in_pictures` are the marks that some camera shows; the
    others are here because somebody measured to them.
    """

    job: Job
    planned: dict[str, PlannedMark]
    mark_of_point: dict[str, str]
    sigma: Array
    strips: dict[str, slice]
    marks: dict[str, slice]
    tapes: dict[str, int]
    slope: slice | None
    in_pictures: frozenset[str]

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return len(self.sigma)

    @property
    def single(self) -> tuple[str, ...]:
        """Names of the single marks among `marks`."""
        return tuple(name for name in self.marks if self.planned[name].strip is None)

    def d_place(self, mark_id: str, planned_m: Array) -> Array:
        """Differentiate a point's place by the unknowns, (3, w).

        The point belongs to `mark_id` and lies at `planned_m` (3,) as planned: the mark's centre,
        or a corner of its panel.
        """
        out = np.zeros((3, self.size))
        mark, own = self.planned[mark_id], self.marks[mark_id]
        if mark.strip is None:
            out[:, own] = np.eye(3)
            return out
        strip = self.job.strip(mark.strip)
        along = strip.along
        across = QUARTER_TURN @ along
        a, c = np.stack([along, across]) @ (planned_m[:2] - strip.from_m) / strip.length_m
        to = a * np.eye(2) + c * QUARTER_TURN
        out[:2, self.strips[strip.name]] = np.hstack([np.eye(2) - to, to])
        own_axes = [along, across, QUARTER_TURN @ (planned_m[:2] - mark.centre_m[:2])]
        out[:2, own] = np.stack(own_axes[: own.stop - own.start], axis=-1)
        return out


def _mark_of(point_id: str, planned: dict[str, PlannedMark]) -> str:
    """Find the mark that a point belongs to: itself, or the panel of a board corner."""
    for mark_id in (point_id, point_id.rsplit("/", 2)[0]):
        if mark_id in planned:
            return mark_id
    raise ValueError(f"point {point_id!r}: expected a mark of the layout, found none of that id")


def _own_sigma(strip: Strip) -> list[float]:
    """Sigmas of one mark's own deviation: along, across and, for a panel, its turn."""
    sigma = [strip.mark_sigma_m] * 2
    if isinstance(strip.shape, Board):
        board = strip.shape
        corners = np.array([board.corners_along - 1, board.corners_across - 1])
        # A panel that is laid to mark_sigma at its outer corners turns by that over their distance.
        half_diagonal_m = 0.5 * board.square_m * float(np.hypot(*corners))
        sigma.append(strip.mark_sigma_m / max(half_diagonal_m, board.square_m))
    return sigma


def build_world(job: Job, layout: Layout, point_ids: Iterable[str]) -> World:
    """Lay out the unknowns of every strip and mark that a camera sees or a reading names."""
    planned = {mark.id: mark for mark in layout.marks}
    mark_of_point = {point_id: _mark_of(point_id, planned) for point_id in point_ids}
    in_pictures = frozenset(mark_of_point.values())
    lengths = [each for each in job.readings if isinstance(each, LengthReading)]
    needed = in_pictures.union(*(each.between for each in lengths))
    ordered = [mark for mark in layout.marks if mark.id in needed]
    sigma: list[float] = []
    strips: dict[str, slice] = {}
    marks: dict[str, slice] = {}
    for strip in job.strips:
        if any(mark.strip == strip.name for mark in ordered):
            strips[strip.name] = slice(len(sigma), len(sigma) + 4)
            sigma += [strip.position_sigma_m] * 4
    single = {mark.name: mark for mark in job.marks}
    for mark in ordered:
        if mark.strip is not None:
            own = _own_sigma(job.strip(mark.strip))
        else:
            own = [single[mark.id].position_sigma_m] * 3
        marks[mark.id] = slice(len(sigma), len(sigma) + len(own))
        sigma += own
    tapes: dict[str, int] = {}
    for each in lengths:
        if each.tape is not None and each.tape not in tapes:
            tapes[each.tape] = len(sigma)
            sigma.append(each.scale_sigma)
    slope = None
    if any(isinstance(each, AngleReading) and each.against == "gravity" for each in job.readings):
        slope = slice(len(sigma), len(sigma) + 2)
        sigma += [SLOPE_SIGMA] * 2
    return World(
        job=job,
        planned=planned,
        mark_of_point=mark_of_point,
        sigma=np.array(sigma),
        strips=strips,
        marks=marks,
        tapes=tapes,
        slope=slope,
        in_pictures=in_pictures,
    )

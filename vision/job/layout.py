"""Where every mark lies as planned."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vision.job.job import Ink, Job
from vision.job.kinds.mark_shape import MarkShape
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, frozen_array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedMark:
    """One mark as planned: its centre (3,) in ground metres and the direction of its strip.

    `strip` is None for a single mark; `index` counts along the strip from 0. `tape_width_m` is None
    where the mark is on no tape.
    """

    id: MarkId
    strip: str | None
    index: int
    centre_m: Array
    heading_rad: float
    shape: MarkShape
    tape_width_m: float | None
    ink: Ink

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_m", frozen_array(self.centre_m, (3,), "centre_m"))

    @property
    def is_corner(self) -> bool:
        """Whether this is one of several points of a mark: a board's corner."""
        return self.shape.is_part


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """Every mark of a job, strips first and in the order of the job file.

    `points` are all that a picture is measured at: each mark, or each corner of a board.
    """

    marks: tuple[PlannedMark, ...]
    points: tuple[PlannedMark, ...] = field(init=False)
    _by_id: dict[MarkId, PlannedMark] = field(init=False, repr=False)
    _mark_of: dict[MarkId, PlannedMark] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        marks = {mark.id: mark for mark in self.marks}
        pairs = [(point, mark) for mark in self.marks for point in points_of(mark)]
        object.__setattr__(self, "points", tuple(point for point, _ in pairs))
        object.__setattr__(self, "_by_id", {point.id: point for point, _ in pairs} | marks)
        object.__setattr__(self, "_mark_of", {point.id: mark for point, mark in pairs} | marks)

    @property
    def centres_m(self) -> Array:
        """Planned centres, (n, 3)."""
        return np.array([mark.centre_m for mark in self.marks]).reshape(-1, 3)

    @property
    def ids(self) -> tuple[MarkId, ...]:
        """The marks' ids, in order."""
        return tuple(mark.id for mark in self.marks)

    def mark(self, mark_id: MarkId) -> PlannedMark:
        """The mark or board corner called `mark_id`; KeyError where there is none."""
        return self._by_id[mark_id]

    def mark_of(self, point_id: MarkId) -> PlannedMark:
        """The mark that a point belongs to: itself, or a corner's board; KeyError for none."""
        return self._mark_of[point_id]


def points_of(mark: PlannedMark) -> tuple[PlannedMark, ...]:
    """The points at which a mark is measured: itself, or its shape's points as marks of their own.

    Such a point is called `mark/row/column`, column along the strip and row across it to its left.
    """
    turn = mark.heading_rad
    along, left = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    return tuple(
        PlannedMark(
            id=mark.id.corner(point.row, point.column),
            strip=mark.strip,
            index=mark.index,
            centre_m=mark.centre_m + np.array([*(point.s_m * along + point.q_m * left), 0.0]),
            heading_rad=turn,
            shape=point.shape,
            tape_width_m=None,
            ink=mark.ink,
        )
        for point in mark.shape.points
    ) or (mark,)


def place_sigma_m(job: Job, mark: PlannedMark) -> float:
    """Sigma of a mark's planned place, per coordinate: the strip's ends and the mark's own."""
    if mark.strip is None:
        return job.mark(mark.id.name).position_sigma_m
    strip = job.strip(mark.strip)
    return float(np.hypot(strip.position_sigma_m, strip.mark_sigma_m))


def planned_layout(job: Job) -> Layout:
    """Lay out every mark of `job` on its planned place."""
    marks = []
    for strip in job.strips:
        heading = float(np.arctan2(strip.along[1], strip.along[0]))
        for index, distance in enumerate(strip.at_m):
            x, y = strip.from_m + distance * strip.along
            marks.append(
                PlannedMark(
                    id=MarkId(strip.name, index),
                    strip=strip.name,
                    index=index,
                    centre_m=np.array([x, y, 0.0]),
                    heading_rad=heading,
                    shape=strip.shape,
                    tape_width_m=strip.tape_width_m,
                    ink=strip.ink,
                )
            )
    for single in job.marks:
        marks.append(
            PlannedMark(
                id=MarkId(single.name),
                strip=None,
                index=0,
                centre_m=single.at_m,
                heading_rad=0.0,
                shape=single.shape,
                tape_width_m=None,
                ink=single.ink,
            )
        )
    return Layout(marks=tuple(marks))

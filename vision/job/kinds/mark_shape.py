"""What a kind of mark says of itself, so that nobody else has to know which kinds there are.

Mark coordinates: s along the strip, q to its left, in metres from the mark's centre.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar, Literal, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from vision.job.coverage import Blurred, Drawn
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason
from vision.units.tables import Table

FilterName = Literal["cross", "saddle", "board"]
"""By which filter a mark's centre is found in a picture: lines that cross, a saddle of the grey
levels, a crowd of saddles."""

Polygon = tuple[tuple[float, float], ...]
"""Corners (s, q) of a convex polygon, in metres."""

Floats = NDArray[np.floating[Any]]
"""Of either precision: pictures are drawn in the lighter one."""

Way = Literal["ahead", "behind", "left", "right"]

WriteLength = Callable[[float], object]
"""Puts metres as a value of a job file."""

ARC_STEPS = 90
"""Chords of a quarter circle: with a radius of 0.2 m they stay within 0.01 mm of it."""


class Point(NamedTuple):
    """A point of a mark that has several: where it lies, and what is seen there."""

    row: int
    column: int
    s_m: float
    q_m: float
    shape: MarkShape


class Line(NamedTuple):
    """A straight piece that a mark is laid of, and which way it lies on the strip."""

    way: Literal["along", "across"]
    length_m: float
    width_m: float


class Feature(NamedTuple):
    """What of a mark is easily picked in place of its centre: a code, its place and its side."""

    code: str
    s_m: float
    q_m: float
    way: Way | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stand:
    """A box on the ground that a raised mark is part of: middle (2,) and size in ground metres."""

    middle_m: Array
    size_m: tuple[float, float]
    turn_rad: float


class MarkShape(ABC):
    """A kind of mark with its sizes, the same for all marks of a strip.

    `kind` is its name in a job file and the code for its words; `keys` are those of its sizes.
    `on_strips` and `alone`: whether a strip may carry it, whether it may be a single mark. What is
    not `drawn` has no ink of its own: it is found and measured in a way of its own. What
    `may_be_missing` does not hold up a job where it is not found or not sure. What `is_part` is one
    of the points of another.
    """

    __slots__ = ()

    kind: ClassVar[str]
    keys: ClassVar[tuple[str, ...]]
    filter_name: ClassVar[FilterName] = "saddle"
    on_strips: ClassVar[bool] = True
    alone: ClassVar[bool] = True
    drawn: ClassVar[bool] = True
    may_be_missing: ClassVar[bool] = False
    is_part: ClassVar[bool] = False

    @classmethod
    @abstractmethod
    def read(cls, table: Table) -> Self:
        """Read the sizes from a table of a job file, noting every fault there."""

    @abstractmethod
    def written(self, length: WriteLength) -> dict[str, object]:
        """The size keys with their values, as `read` reads them."""

    @property
    @abstractmethod
    def half_extent_m(self) -> tuple[float, float]:
        """Half the size of the ink along and across; 0 where nothing is drawn."""

    @abstractmethod
    def ink(self, at: Blurred) -> Drawn:
        """Share of ink at each place, under a blur."""

    @property
    @abstractmethod
    def polygons(self) -> tuple[Polygon, ...]:
        """The ink as convex polygons, counter-clockwise."""

    def inked(self, s: Floats, q: Floats) -> Flags:
        """Whether places (n,) lie on ink: sharp, as it is printed."""
        found: Flags = np.zeros(len(s), dtype=bool)
        for corners in self.polygons:
            inside = np.ones(len(s), dtype=bool)
            for (s0, q0), (s1, q1) in zip(corners, (*corners[1:], corners[0]), strict=True):
                inside &= (s1 - s0) * (q - q0) > (q1 - q0) * (s - s0)
            found |= inside
        return found

    def tape(self, width_m: float | None, at: Blurred, offset_m: float | Array = 0.0) -> Drawn:
        """Share of tape at each place, the tape lying `offset_m` to the left of the mark.

        Without a width all is tape.
        """
        if width_m is None:
            return at.whole()
        return at.drawn(at.band("q", width_m / 2, offset_m))

    @property
    def border_m(self) -> float:
        """Light border that the mark brings with it on a panel; 0 for one that brings none."""
        return 0.0

    @property
    def extent_m(self) -> tuple[float, float]:
        """Size along and across, border and all."""
        along, across = self.half_extent_m
        return 2 * (along + self.border_m), 2 * (across + self.border_m)

    @property
    def width_m(self) -> float:
        """The narrowest width by which it is told in a picture."""
        return 2 * min(self.half_extent_m)

    @property
    def stroke_m(self) -> float:
        """Width of the lines or squares that its filter has to take for such; 0 for neither."""
        return 0.0

    @property
    def points(self) -> tuple[Point, ...]:
        """The points at which it is measured, row by row; none where it is its own point."""
        return ()

    @property
    def turn_arm_m(self) -> float | None:
        """Arm by which a rigid panel turns if its outer points are displaced; None for one point.

        Where there is one point alone, a turn of the mark moves nothing that is measured.
        """
        return None

    @property
    def lines(self) -> tuple[Line, ...]:
        """What it can be laid of from tape; none where it is printed."""
        return ()

    @property
    def features(self) -> tuple[Feature, ...]:
        """What of it is easily picked beside the centre and its own points."""
        return ()

    @property
    def size(self) -> Reason:
        """Its size for words, by its kind's code: the longer and the shorter way across."""
        longer, shorter = sorted((2 * half for half in self.half_extent_m), reverse=True)
        return Reason(self.kind, longer_m=longer, shorter_m=shorter)

    def stand(self, at_m: Array, towards_m: Array) -> Stand | None:
        """The box whose part the mark at `at_m` (3,) is, set up for a camera at `towards_m`.

        None for a mark that lies on something else.
        """
        del at_m, towards_m
        return None


def rectangle(s0: float, s1: float, q0: float, q1: float) -> Polygon:
    """A rectangle from (s0, q0) to (s1, q1)."""
    return (s0, q0), (s1, q0), (s1, q1), (s0, q1)


def quarter_disc(radius_m: float, quarter: int) -> Polygon:
    """A quarter disc; quarter 0 is ahead-left, counted counter-clockwise seen from above."""
    angles = [math.pi / 2 * (quarter + step / ARC_STEPS) for step in range(ARC_STEPS + 1)]
    return (0.0, 0.0), *((radius_m * math.cos(a), radius_m * math.sin(a)) for a in angles)

"""A checkerboard panel: one mark, whose inner corners are the points that are measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np

from vision.job.coverage import Blurred, Drawn
from vision.job.kinds.mark_shape import (
    FilterName,
    Floats,
    MarkShape,
    Point,
    Polygon,
    WriteLength,
    rectangle,
)
from vision.job.settings import SETTINGS
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason
from vision.units.tables import Table


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardCorner(MarkShape):
    """One inner corner of a board: four squares meet, and the ink is on two opposite ones.

    `ahead_left`: the inked squares are those ahead-left and behind-right, else the other two. No
    kind that a job file names: a board has it.
    """

    kind: ClassVar[str] = "board_corner"
    keys: ClassVar[tuple[str, ...]] = ()
    on_strips: ClassVar[bool] = False
    alone: ClassVar[bool] = False
    is_part: ClassVar[bool] = True

    square_m: float
    ahead_left: bool

    @classmethod
    def read(cls, table: Table) -> Self:
        """No table holds one."""
        raise TypeError(f"{table.path}: a corner is read with its board")

    def written(self, length: WriteLength) -> dict[str, object]:
        """No table holds one."""
        raise TypeError("a corner is written with its board")

    @property
    def half_extent_m(self) -> tuple[float, float]:
        """How far round it is drawn: the next corners stay outside the blur."""
        reach = SETTINGS.corner_reach * self.square_m
        return reach, reach

    @property
    def width_m(self) -> float:
        """That of the squares."""
        return self.square_m

    def ink(self, at: Blurred) -> Drawn:
        """Two opposite quarters."""
        quarters = at.opposite_quarters()
        return quarters if self.ahead_left else at.whole() + quarters.times(-1.0)

    @property
    def polygons(self) -> tuple[Polygon, ...]:
        """Two squares that meet."""
        side = self.square_m
        if self.ahead_left:
            return rectangle(0, side, 0, side), rectangle(-side, 0, -side, 0)
        return rectangle(-side, 0, 0, side), rectangle(0, side, -side, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Board(MarkShape):
    """A checkerboard panel with inner corners counted along and across; behind-right is dark.

    Keys: `square`, the side of a square, a length above 0; `corners`, [along, across], whole
    numbers from 2 to `most_corners`, one odd and one even: else the board looks alike after half a
    turn. Both are required.
    """

    kind: ClassVar[str] = "board"
    keys: ClassVar[tuple[str, ...]] = ("square", "corners")
    filter_name: ClassVar[FilterName] = "board"
    alone: ClassVar[bool] = False

    square_m: float
    corners_along: int
    corners_across: int

    @classmethod
    def read(cls, table: Table) -> Self:
        """A board whose turn can be told."""
        square, most = table.length("square"), SETTINGS.most_corners
        expected = f"[along, across], from 2 to {most}, one odd and one even"
        along, across = 0, 0
        if table.needs("corners", expected):
            value = table.values["corners"]
            if (
                isinstance(value, list)
                and len(value) == 2
                and all(type(each) is int and 2 <= each <= most for each in value)
                and sum(value) % 2
            ):
                along, across = value
            else:
                table.wrong("board-corners", "corners", expected, "count the inner corners")
        return cls(square_m=square, corners_along=along, corners_across=across)

    def written(self, length: WriteLength) -> dict[str, object]:
        """The square and the corners."""
        return {
            "square": length(self.square_m),
            "corners": [self.corners_along, self.corners_across],
        }

    @property
    def half_extent_m(self) -> tuple[float, float]:
        """Of its squares, without the border."""
        return (
            (self.corners_along + 1) / 2 * self.square_m,
            (self.corners_across + 1) / 2 * self.square_m,
        )

    @property
    def border_m(self) -> float:
        """Light paper round the squares."""
        return SETTINGS.board_border * self.square_m

    @property
    def stroke_m(self) -> float:
        """The squares are seen like lines where they are small."""
        return self.square_m

    def ink(self, at: Blurred) -> Drawn:
        """Half of the panel, and half of a wave along times one across."""
        waves = at.corner(
            at.alternating("s", self.corners_along + 1, self.square_m),
            at.alternating("q", self.corners_across + 1, self.square_m),
        )
        half_along, half_across = self.half_extent_m
        panel = at.corner(at.band("s", half_along), at.band("q", half_across))
        return (panel + waves).times(0.5)

    def tape(self, width_m: float | None, at: Blurred, offset_m: float | Array = 0.0) -> Drawn:
        """The panel, which may be wider than its tape, and the tape."""
        along, across = (half + self.border_m for half in self.half_extent_m)
        panel = at.corner(at.band("s", along), at.band("q", across))
        if width_m is None:
            return panel
        tape = at.drawn(at.band("q", width_m / 2, offset_m))
        return panel + tape + (panel * tape).times(-1.0)

    @property
    def polygons(self) -> tuple[Polygon, ...]:
        """The inked squares: the one behind-right is the first of both counts."""
        side = self.square_m
        rear, right = (-half for half in self.half_extent_m)
        return tuple(
            rectangle(
                rear + i * side, rear + (i + 1) * side, right + j * side, right + (j + 1) * side
            )
            for i in range(self.corners_along + 1)
            for j in range(self.corners_across + 1)
            if (i + j) % 2 == 0
        )

    def inked(self, s: Floats, q: Floats) -> Flags:
        """On a square whose column and row together are even."""
        column = np.floor(s / self.square_m + (self.corners_along + 1) / 2)
        row = np.floor(q / self.square_m + (self.corners_across + 1) / 2)
        inside = (column >= 0) & (column <= self.corners_along)
        inside &= (row >= 0) & (row <= self.corners_across)
        return np.asarray(inside & (np.mod(row + column, 2) == 0))

    @property
    def points(self) -> tuple[Point, ...]:
        """Its inner corners. The square behind-right of corner 0/0 is the dark corner square."""
        return tuple(
            Point(
                row,
                column,
                (column - (self.corners_along - 1) / 2) * self.square_m,
                (row - (self.corners_across - 1) / 2) * self.square_m,
                BoardCorner(square_m=self.square_m, ahead_left=(row + column) % 2 == 0),
            )
            for row in range(self.corners_across)
            for column in range(self.corners_along)
        )

    @property
    def turn_arm_m(self) -> float:
        """From the middle to the outer corners, and a square at least."""
        corners = np.array([self.corners_along - 1, self.corners_across - 1])
        return max(0.5 * self.square_m * float(np.hypot(*corners)), self.square_m)

    @property
    def size(self) -> Reason:
        """Squares one way and the other, the more first, and their side."""
        counts = (self.corners_along + 1, self.corners_across + 1)
        return Reason("board", more=max(counts), fewer=min(counts), square_m=self.square_m)

"""Marks that a proposed layout may carry: each kind in growing sizes, with what a size takes up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from vision.job.job import Board, Cross, MarkShape, Quadrant
from vision.planning.setting_out.supplies import extent_m

MarkKind = Literal["cross", "quadrant", "board"]
KINDS: tuple[MarkKind, ...] = get_args(MarkKind)

TAPE_MARGIN_M = 0.01
"""Tape on either side of a mark: what keeps its ends light all round."""
ROLL_M = 0.18
"""Of the usual roll of tape; a board's panel may be wider than what it lies on."""
ROOM = 2.4
"""Spacing in lengths of a mark: the nearest lie half a spacing apart, and what is drawn reaches a
fifth beyond a cross's ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """Marks of one kind and size, as they lie on a side strip and on an end strip."""

    side: MarkShape
    end: MarkShape

    @property
    def kind(self) -> MarkKind:
        """What the marks are."""
        match self.side:
            case Cross():
                return "cross"
            case Quadrant():
                return "quadrant"
            case Board():
                return "board"

    @property
    def words(self) -> str:
        """Several of them."""
        return {"cross": "crosses", "quadrant": "quadrants", "board": "boards"}[self.kind]

    @property
    def reach_m(self) -> float:
        """From the centre to the farthest end of what is printed."""
        return max(printed_m(self.side)) / 2

    @property
    def side_width_m(self) -> float:
        """What a side strip's marks take up across, with what must be light beside them."""
        return printed_m(self.side)[1] + 2 * TAPE_MARGIN_M

    @property
    def end_width_m(self) -> float:
        """The same of an end strip."""
        return printed_m(self.end)[1] + 2 * TAPE_MARGIN_M

    @property
    def side_tape_m(self) -> float:
        """Tape under a side strip's marks."""
        return min(self.side_width_m, ROLL_M) if self.kind == "board" else self.side_width_m

    @property
    def end_tape_m(self) -> float:
        """Tape under an end strip's marks."""
        return min(self.end_width_m, ROLL_M) if self.kind == "board" else self.end_width_m

    def crowded(self, side_m: float, end_m: float) -> bool:
        """Whether marks half a spacing apart would touch, or nearly."""
        along = printed_m(self.side)[0], printed_m(self.end)[0]
        return side_m < ROOM * along[0] or end_m < ROOM * along[1]


def printed_m(shape: MarkShape) -> tuple[float, float]:
    """Size of what is printed, along and across; a board's with its light border."""
    along, across = extent_m(shape)
    return float(along), float(across)


def _cross(reach_m: float, shorter_m: float, line_m: float) -> Size:
    """Crosses of one reach: the longer arm, centre to end.

    A camera looks along its own strip towards the far marks, and square across an end strip's from
    the side: foreshortening takes the arm along of the one and the arm across of the other. So it
    is that arm which is long.
    """
    return Size(
        side=Cross(arm_along_m=reach_m, arm_across_m=shorter_m, line_m=line_m),
        end=Cross(arm_along_m=shorter_m, arm_across_m=reach_m, line_m=line_m),
    )


def _quadrant(radius_m: float) -> Size:
    return Size(side=Quadrant(radius_m=radius_m), end=Quadrant(radius_m=radius_m))


def _board(square_m: float) -> Size:
    """The smallest board whose turn can be told: three by two inner corners.

    The three lie in the direction that foreshortening takes.
    """
    return Size(
        side=Board(square_m=square_m, corners_along=3, corners_across=2),
        end=Board(square_m=square_m, corners_along=2, corners_across=3),
    )


SIZES: dict[MarkKind, tuple[Size, ...]] = {
    "cross": tuple(
        _cross(*each)
        for each in (
            (0.12, 0.08, 0.025),
            (0.16, 0.1, 0.03),
            (0.2, 0.12, 0.04),
            (0.26, 0.15, 0.045),
            (0.34, 0.18, 0.05),
            (0.44, 0.22, 0.06),
            (0.56, 0.28, 0.07),
        )
    ),
    "quadrant": tuple(_quadrant(each) for each in (0.08, 0.1, 0.12, 0.16, 0.2, 0.26, 0.33)),
    "board": tuple(_board(each) for each in (0.06, 0.08, 0.1, 0.12, 0.15, 0.18)),
}
"""The smallest first. Lines of crosses stay thin: one of more than 14 px near its own camera is no
longer found as a line. Larger quadrants and boards would touch at the widest spacing that is tried
across the ends."""

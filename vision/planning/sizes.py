"""Marks that a plan proposes or tries: every kind in growing sizes, and raised marks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from vision.job.job import Job, SingleMark
from vision.job.kinds.board import Board
from vision.job.kinds.cross import Cross
from vision.job.kinds.mark_shape import MarkShape
from vision.job.kinds.quadrant import Quadrant
from vision.planning.settings import SETTINGS

MarkKind = Literal["cross", "quadrant", "board"]
KINDS: tuple[MarkKind, ...] = get_args(MarkKind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """Marks of one kind and size, as they lie on a side strip and on an end strip."""

    side: MarkShape
    end: MarkShape
    tape_m: float | None = None
    """Width of the tape at hand, where there is one to keep to."""

    @property
    def kind(self) -> str:
        """What the marks are."""
        return self.side.kind

    @property
    def side_width_m(self) -> float:
        """What a side strip's marks take up across, with what must be light beside them."""
        return self._width_m(self.side)

    @property
    def end_width_m(self) -> float:
        """The same of an end strip."""
        return self._width_m(self.end)

    def _width_m(self, shape: MarkShape) -> float:
        return max(shape.extent_m[1] + 2 * SETTINGS.tape_margin_m, self.tape_m or 0.0)

    @property
    def side_tape_m(self) -> float:
        """Tape under a side strip's marks."""
        return self._tape_m(self.side_width_m)

    @property
    def end_tape_m(self) -> float:
        """Tape under an end strip's marks."""
        return self._tape_m(self.end_width_m)

    def _tape_m(self, width_m: float) -> float:
        if self.tape_m is not None:
            return self.tape_m
        return min(width_m, SETTINGS.roll_m) if self.side.border_m else width_m

    @property
    def print_m(self) -> tuple[float, float]:
        """Width and height of the paper that the larger of its marks takes."""
        along, across = zip(self.side.extent_m, self.end.extent_m, strict=True)
        return max(across), max(along)

    def crowded(self, side_m: float, end_m: float) -> bool:
        """Whether marks half a spacing apart would touch, or nearly."""
        pairs = ((side_m, self.side), (end_m, self.end))
        least = SETTINGS.crowded_spacings
        return any(spacing_m < least * shape.extent_m[0] for spacing_m, shape in pairs)


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


_LINE_SHARE = 0.4
"""Of a cross's shorter arm, the width of its lines at most: the sizes above have a third or less,
and a line nearer to a square is no longer found as one."""


def sizes_for(
    kind: MarkKind, tape_m: float | None = None, page_m: tuple[float, float] | None = None
) -> tuple[Size, ...]:
    """Marks that lie on tape of one width, the smallest first; empty where none is so small.

    `page_m` is the width and height that a sheet of paper has for a mark: larger ones, printed in
    parts, come in only where none fits on one. Across the tape a cross is as long as the tape
    allows, and its lines stay thin against that; along the tape it is as long as ever. A board
    lies on a panel, which may be wider than its tape.
    """
    sizes: tuple[Size, ...] = SIZES[kind]
    if tape_m is not None:
        room_m = round(float(np.floor(500 * tape_m + 1e-6)) / 1000 - SETTINGS.tape_margin_m, 6)
        on_tape = (_on_tape(size, tape_m, room_m) for size in sizes)
        sizes = tuple(dict.fromkeys(size for size in on_tape if size is not None))
    if page_m is None:
        return sizes
    one_sheet = tuple(
        size
        for size in sizes
        if all(need <= most + 1e-9 for need, most in zip(size.print_m, page_m, strict=True))
    )
    return one_sheet or sizes


def narrowest_tape_m(kind: MarkKind) -> float:
    """The narrowest tape, to a centimetre, that any mark of a kind lies on."""
    widths = (number / 100 for number in range(1, 100))
    return next(width for width in widths if sizes_for(kind, width))


def _on_tape(size: Size, tape_m: float, room_m: float) -> Size | None:
    """The size as narrow as half a tape allows, `room_m`; None where it cannot be."""
    if isinstance(size.side, Cross) and isinstance(size.end, Cross):
        side_m = min(size.side.arm_across_m, room_m)
        end_m = min(size.end.arm_across_m, room_m)
        if min(side_m, end_m) < SETTINGS.shortest_arm_m:
            return None
        line_m = min(size.side.line_m, _LINE_SHARE * min(side_m, end_m))
        line_m = round(float(np.floor(1000 * line_m + 1e-6)) / 1000, 6)
        return Size(
            side=replace(size.side, arm_across_m=side_m, line_m=line_m),
            end=replace(size.end, arm_across_m=end_m, line_m=line_m),
            tape_m=tape_m,
        )
    panel = bool(size.side.border_m)
    fits = panel or max(size.side.half_extent_m[1], size.end.half_extent_m[1]) <= room_m + 1e-9
    return replace(size, tape_m=tape_m) if fits else None


def raised_height_m(job: Job) -> float:
    """Height for a raised mark, well below the lowest camera, in steps of `raised_step_m`."""
    lowest_m = min(float(camera.position_m[2]) for camera in job.cameras)
    height_m = min(SETTINGS.raised_height_m, SETTINGS.raised_share * lowest_m)
    steps = max(float(np.floor(height_m / SETTINGS.raised_step_m + 1e-9)), 1.0)
    return steps * SETTINGS.raised_step_m


def raised_mark(job: Job, name: str, x_m: float, y_m: float, kind: str = "cross") -> SingleMark:
    """A raised mark over a place, fit to stand beside marks of one kind.

    A single mark cannot be a board, and is a cross then.
    """
    reach_m = SETTINGS.raised_reach_m
    shape = Cross(arm_along_m=reach_m, arm_across_m=reach_m, line_m=SETTINGS.raised_line_m)
    return SingleMark(
        name=name,
        at_m=np.array([x_m, y_m, raised_height_m(job)]),
        shape=Quadrant(radius_m=reach_m) if kind == "quadrant" else shape,
        position_sigma_m=SETTINGS.raised_sigma_m,
    )

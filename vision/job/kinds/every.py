"""The kinds of mark by the names that a job file gives them."""

from __future__ import annotations

from vision.job.kinds.board import Board
from vision.job.kinds.box_corner import BoxCorner
from vision.job.kinds.cross import Cross
from vision.job.kinds.mark_shape import MarkShape
from vision.job.kinds.quadrant import Quadrant

KINDS: dict[str, type[MarkShape]] = {
    kind.kind: kind for kind in (Cross, Quadrant, Board, BoxCorner)
}

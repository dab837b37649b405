"""What is set out on the ground, as values: lines, running marks, checks, supplies, the lot.

Lengths that a person measures are exact `Fraction`s of metres, so that each printed figure is
rounded once, from its datum. Places are (x, y) in ground coordinates: ahead and left of the middle
of the body.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from vision.job.job import Camera, Job, SingleMark, Strip
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, freeze

FINEST_M = Fraction(1, 10**7)
"""What a length of the job is worth: a tenth of a micrometre takes the binary dust off a float."""

Side = Literal["left", "right", "front", "rear", "free"]


def exact(length_m: float) -> Fraction:
    """The length that was meant by a float of metres, to `FINEST_M`."""
    return round(Fraction(float(length_m)) / FINEST_M) * FINEST_M


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """A place by its two offsets: ahead of the mid line, left of the centre line (or minus)."""

    ahead_m: Fraction
    left_m: Fraction

    @classmethod
    def of(cls, place_m: Array) -> Offset:
        """The offsets of a place (2,) or (3,)."""
        return cls(ahead_m=exact(place_m[0]), left_m=exact(place_m[1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningMark:
    """One mark by its distance from the strip's datum, which is its first mark."""

    id: MarkId
    index: int
    running_m: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class StripLine:
    """How one strip is set out.

    `side` says which datum it is square to: a side strip runs beside the body, an end strip across
    its end; a free one is at an angle. `body_m`: from the body's face to the line of marks at the
    first and last mark, None for a free strip; `inside_m`: the same to the tape's inside edge.
    `crossing_m`: running distance at which the datum line square to the strip crosses it: the mid
    line for side strips, the centre line for end strips; None for a free strip.
    """

    strip: Strip
    side: Side
    first: Offset
    last: Offset
    marks: tuple[RunningMark, ...]
    body_m: tuple[Fraction, Fraction] | None
    inside_m: tuple[Fraction, Fraction] | None
    crossing_m: Fraction | None

    @property
    def crosses(self) -> bool:
        """Whether the datum line crosses between first and last mark."""
        length = self.marks[-1].running_m
        return self.crossing_m is not None and 0 <= self.crossing_m <= length


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Diagonal:
    """A taped distance between two marks; `ends_m` (2, 2)."""

    between: tuple[MarkId, MarkId]
    ends_m: Array
    length_m: Fraction
    under_body: bool

    def __post_init__(self) -> None:
        freeze(self, ends_m=(2, 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class DiagonalPair:
    """Two distances that answer to one fault with opposite signs.

    `against` faces `strip` and would show the same by the opposite fault; None where none does.
    `fault`: "slide", `strip` lies too far along itself; "turn", it is turned about its middle.
    `difference_m` is the first minus the second as planned; `allowed_m` how far the difference may
    be from that: what the fault makes of it when it moves `strip`'s end marks by the tolerance.
    `answer`: metres of difference for each metre that the fault moves them. Where the
    first is the longer, the strip slid towards its end in the first, or lies too far out there.
    """

    fault: Literal["slide", "turn"]
    strip: str
    against: str | None
    first: Diagonal
    second: Diagonal
    difference_m: Fraction
    answer: float
    allowed_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Legs:
    """A 3-4-5 triangle in the round figures of one system of units."""

    along_strip_m: Fraction
    along_line_m: Fraction
    across_m: Fraction
    allowed_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Triangle:
    """A right angle between the centre line and an end strip, its corner (2,) where they meet.

    Four parts lie along the strip, three along the centre line away from the body, five between.
    `allowed_m` of the five: what turns the strip so that its farthest mark is off by the tolerance.
    """

    strip: str
    corner_m: Array
    away: Literal[1, -1]
    metric: Legs
    imperial: Legs

    def __post_init__(self) -> None:
        freeze(self, corner_m=(2,))


@dataclass(frozen=True, slots=True, kw_only=True)
class LotSize:
    """The level ground that is needed, from the body's faces outward, metres."""

    vehicle_length_m: float
    vehicle_width_m: float
    ahead_m: float
    behind_m: float
    left_m: float
    right_m: float

    @property
    def length_m(self) -> float:
        """Along the vehicle."""
        return self.vehicle_length_m + self.ahead_m + self.behind_m

    @property
    def width_m(self) -> float:
        """Across the vehicle."""
        return self.vehicle_width_m + self.left_m + self.right_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Pieces to cut, all alike: for which strip or mark, what, how many, how long and wide."""

    of: str
    what: str
    count: int
    length_m: Fraction
    width_m: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class CutList:
    """Tape and marks to cut or print, and metres of string for the datum lines."""

    tape: tuple[Piece, ...]
    marks: tuple[Piece, ...]
    string_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingOut:
    """Everything that is needed to lay out `job` with a tape measure and string."""

    job: Job
    strips: tuple[StripLine, ...]
    pairs: tuple[DiagonalPair, ...]
    triangles: tuple[Triangle, ...]
    lot: LotSize
    cut: CutList

    @property
    def raised_marks(self) -> tuple[SingleMark, ...]:
        """Single marks above the ground."""
        return tuple(mark for mark in self.job.marks if mark.at_m[2] > 0)

    @property
    def cameras(self) -> tuple[Camera, ...]:
        """The cameras to preset."""
        return self.job.cameras

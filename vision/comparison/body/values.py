"""What is kept of a body's edges, and what a comparison with a picture gives, as values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.marks.strands.pieces import Pieces
from vision.units.arrays import Array, freeze
from vision.units.length_words import METRIC, LengthWords
from vision.units.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodyEdges:
    """The body's own edges in the picture of one camera that was as it should be.

    `pose` and `lens` of the joint adjustment, in the picture turned back, with `covariance`
    (14, 14) as there; `depth_m` (n,) with `depth_log_sigma` (n,) of its logarithm, as the box of
    the body allows, and `face` (n,), the name of the face that each piece is nearest to.
    """

    camera: str
    pose: Pose
    lens: Lens
    covariance: Array
    pieces: Pieces
    depth_m: Array
    depth_log_sigma: Array
    face: tuple[str, ...]

    def __post_init__(self) -> None:
        n = len(self.pieces)
        freeze(self, covariance=(14, 14), depth_m=(n,), depth_log_sigma=(n,))

    def only(self, which: np.ndarray) -> BodyEdges:
        """The same with those pieces (n,) bool alone."""
        return BodyEdges(
            camera=self.camera,
            pose=self.pose,
            lens=self.lens,
            covariance=self.covariance,
            pieces=self.pieces.only(which),
            depth_m=self.depth_m[which],
            depth_log_sigma=self.depth_log_sigma[which],
            face=tuple(f for f, yes in zip(self.face, which, strict=True) if yes),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Unkept:
    """A camera whose edges were not kept, and why."""

    camera: str
    reason: Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamEffect:
    """How far a turn moves one view along a seam as a display set before draws it, with sigma."""

    between: tuple[str, str]
    moved_m: float
    sigma_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodyTurn:
    """How one camera turned against the body, later minus baseline.

    `aim_rad` (3,) is the change of pan, tilt and roll with its sigma; `detectable_rad` (3,) the
    least turn of each that would have been seen in 95 of 100 cases; `significant` (3,) which of
    them are. `agreeing` of `kept` pieces agree, and `share` of their length. `turned_over`: the
    picture came mirrored unlike what the job says.
    """

    name: str
    aim_rad: Array
    aim_sigma_rad: Array
    detectable_rad: Array
    significant: tuple[bool, bool, bool]
    agreeing: int
    kept: int
    share: float
    turned_over: bool = False
    seams: tuple[SeamEffect, ...] = ()

    def __post_init__(self) -> None:
        freeze(self, aim_rad=(3,), aim_sigma_rad=(3,), detectable_rad=(3,))

    @property
    def turned(self) -> bool:
        """Whether it turned."""
        return any(self.significant)


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyComparison:
    """What the body's edges say of each camera; `not_judged` holds why of the others.

    `fine` names the cameras whose detectable turn is at most half of what is allowed.
    """

    cameras: tuple[BodyTurn, ...]
    not_judged: tuple[tuple[str, Reason], ...] = ()
    fine: frozenset[str] = frozenset()
    lengths: LengthWords = METRIC

    @property
    def turned(self) -> tuple[BodyTurn, ...]:
        """The cameras that turned."""
        return tuple(each for each in self.cameras if each.turned)

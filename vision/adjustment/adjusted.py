"""What the joint adjustment takes and gives, as values."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace

import numpy as np

from vision.adjustment.faults import GroupFault, GroupRows
from vision.adjustment.groups import FaultKind, Group
from vision.adjustment.plan_fit import Points
from vision.adjustment.settings import SETTINGS
from vision.camera.geometry import (
    ANGLES,
    Aim,
    Pose,
    aim_from_rotation,
    d_aim_d_rotation_vector,
    d_step_d_vector,
)
from vision.camera.lens import Lens
from vision.camera.lens_prior import LensPrior
from vision.camera.rotations import rotation_from_vector
from vision.camera.statistics import noncentrality
from vision.job.mark_id import MarkId, PlaceId
from vision.units.arrays import Array, Flags
from vision.units.plain import also_written, written

STRIP_NOT_SEEN, MARK_NOT_SEEN = "strip-not-seen", "mark-not-seen"
"""Codes of why there is no figure of where something lies."""


def _freeze(
    value: AdjustedCamera | BodyTurn | AdjustedStrip | AdjustedMark | AdjustedReading | Adjustment,
) -> None:
    """Replace every array of a value by a read-only copy, NaN allowed."""
    for each in fields(value):
        array = getattr(value, each.name)
        if isinstance(array, np.ndarray):
            copy = array.copy()
            copy.setflags(write=False)
            object.__setattr__(value, each.name, copy)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CameraObservations:
    """What one camera brings to the network: its marks, its lens prior and where to start."""

    name: str
    prior: LensPrior
    points: Points
    start: tuple[Pose, Lens]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodyTurn:
    """How the body stands turned against the ground, where that was read with a level.

    `turn_rad` (3,) is the small rotation vector of `ground_from_body`, in ground coordinates, 0
    about an axis of which nothing was `read` (x, y) and about z. `covariance_rad2` (6, 6) is that
    of a camera's own turn, in camera coordinates, and of this.
    """

    turn_rad: Array
    read: tuple[bool, bool]
    covariance_rad2: Array

    def __post_init__(self) -> None:
        _freeze(self)

    @property
    def sigma_rad(self) -> Array:
        """Sigmas (3,) of the turn."""
        return np.sqrt(np.diag(self.covariance_rad2)[3:])

    def carried(self, by_turn: Array) -> BodyTurn:
        """The same beside a camera that turns then by `by_turn` (3, 3) times what it does now."""
        carry = np.eye(6)
        carry[:3, :3] = by_turn
        return replace(self, covariance_rad2=carry @ self.covariance_rad2 @ carry.T)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AdjustedCamera:
    """One camera after the adjustment.

    `covariance` (14, 14) as in PlanFit; `used` (n,) bool by the camera's points; `residual_px`
    (n, 2) against the adjusted marks. `stance` is how the body is turned against the ground: aims
    are measured against the ground and meant against the body.
    """

    name: str
    pose: Pose = written(flat=Pose)
    lens: Lens = written()
    covariance: Array
    used: Flags
    residual_px: Array
    stance: BodyTurn | None = None

    def __post_init__(self) -> None:
        _freeze(self)

    @property
    def aim(self) -> Aim:
        """Pan, tilt and roll."""
        return self.pose.aim

    @property
    def aim_covariance_rad2(self) -> Array:
        """Covariance (3, 3) of pan, tilt and roll; NaN where the camera looks straight down."""
        by_turn = d_aim_d_rotation_vector(self.pose.R)
        return np.asarray(by_turn @ self.covariance[3:6, 3:6] @ by_turn.T)

    @property
    @also_written(4, degrees=True, names=ANGLES)
    def aim_sigma_rad(self) -> Array:
        """Sigmas (3,) of pan, tilt and roll; NaN where the camera looks straight down."""
        return np.sqrt(np.diag(self.aim_covariance_rad2))

    @property
    def camera_from_body(self) -> Array:
        """Rotation (3, 3) from the body's coordinates, as far as that was read; else the ground's.

        `Aim` is taken from it in the same way.
        """
        if self.stance is None:
            return self.pose.R
        # SciPy takes no read-only vector.
        turn = rotation_from_vector(self.stance.turn_rad)
        return np.asarray(self.pose.R @ turn)

    @property
    def aim_on_body(self) -> Aim:
        """Pan, tilt and roll against the body."""
        return aim_from_rotation(self.camera_from_body)

    @property
    def turn_on_body_covariance_rad2(self) -> Array:
        """Covariance (3, 3) of a small turn against the body, in camera coordinates.

        A step of the stance turns the camera's axes by the step as the camera sees it.
        """
        if self.stance is None:
            return self.covariance[3:6, 3:6]
        by_both = np.hstack([np.eye(3), self.pose.R @ d_step_d_vector(self.stance.turn_rad)])
        return np.asarray(by_both @ self.stance.covariance_rad2 @ by_both.T)

    @property
    def aim_on_body_sigma_rad(self) -> Array:
        """Sigmas (3,) of pan, tilt and roll against the body; NaN as of `aim_sigma_rad`."""
        by_turn = d_aim_d_rotation_vector(self.camera_from_body)
        return np.sqrt(np.diag(by_turn @ self.turn_on_body_covariance_rad2 @ by_turn.T))

    @property
    @also_written(4, degrees=True, names=ANGLES, optional=True, key="aim_body_deg")
    def read_aim_rad(self) -> tuple[float, ...] | None:
        """The aim against the body where its turn was read."""
        return None if self.stance is None else tuple(self.aim_on_body.as_array())

    @property
    @also_written(4, degrees=True, names=ANGLES, optional=True, key="aim_body_sigma_deg")
    def read_aim_sigma_rad(self) -> tuple[float, ...] | None:
        """Its sigmas."""
        return None if self.stance is None else tuple(self.aim_on_body_sigma_rad)

    @property
    @also_written(5)
    def position_sigma_m(self) -> Array:
        """Sigmas (3,) of its place."""
        return np.sqrt(np.diag(self.covariance)[:3])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AdjustedStrip:
    """One strip after the adjustment.

    `ends_m` (2, 2): first and last mark; `covariance_m2` (4, 4) of those; `shift_m` (2,) of the
    middle against the plan, `turn_rad` counter-clockwise from above, with sigmas; `mark_ids` and
    `mark_shift_m` (k, 2), `mark_shift_covariance_m2` (k, 2, 2): each seen mark against its plan
    (strip and the mark's own deviation together). `seen` is False when no camera saw the strip.
    `heights_m` (k,) is how much higher than the plane of all the ground under it lies, from its
    first end to its last in equal steps, with sigmas; empty where no camera saw it.
    """

    name: str
    ends_m: Array
    covariance_m2: Array
    shift_m: Array = written(5, missing=STRIP_NOT_SEEN)
    shift_sigma_m: Array = written(5, missing=STRIP_NOT_SEEN)
    turn_rad: float = written(4, degrees=True, missing=STRIP_NOT_SEEN)
    turn_sigma_rad: float = written(4, degrees=True, missing=STRIP_NOT_SEEN)
    mark_ids: tuple[MarkId, ...]
    mark_shift_m: Array
    mark_shift_covariance_m2: Array
    seen: bool
    heights_m: Array = field(default_factory=lambda: np.zeros(0))
    height_sigma_m: Array = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        _freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AdjustedMark:
    """One single (raised) mark after the adjustment: shift (3,) against the plan, covariance.

    `views` is in how many pictures it was used.
    """

    name: str
    shift_m: Array = written(5, missing=MARK_NOT_SEEN)
    covariance_m2: Array
    seen: bool
    views: int = 0

    def __post_init__(self) -> None:
        _freeze(self)

    @property
    @also_written(5, key="shift_sigma_m", missing=MARK_NOT_SEEN)
    def sigma_m(self) -> Array:
        """Standard deviations (3,) of the shift."""
        return np.sqrt(np.diag(self.covariance_m2))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AdjustedReading:
    """One [[reading]] after the adjustment.

    `residual` (k,) is read minus
    adjusted, in m, or in rad for an angle (tilt first, then roll); `sigma` (k,) is that of the
    adjusted value. `blunder_m` is the usual blunder that
    explains a reading which was set free: 0.0254 where it was read an inch too long.
    """

    group: Group
    residual: Array
    sigma: Array
    blunder_m: float | None = None

    def __post_init__(self) -> None:
        _freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class FurtherReading:
    """A reading that nobody took and that would tell explanations apart.

    `kind` is 'distance', 'offset', 'tilt' or 'roll'; `between` names its places, or its camera.
    `statistic` is the least chi-square by which the explanations' predictions differ.
    """

    kind: str
    between: tuple[PlaceId, ...]
    statistic: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """What explains that something does not fit: a group that was set free, or several that tie.

    `groups`, best first, are the only one or those among which the data cannot choose. `log_bayes`
    of each is the logarithm of how much likelier the data are with a fault there than with
    none. `rival` is the best explanation that was turned down, with its own. `decided_by` is
    the one further reading that would best tell apart those that tie; None where none would, or
    where there is nothing to tell apart.
    """

    groups: tuple[Group, ...]
    log_bayes: tuple[float, ...]
    rival: Group | None
    rival_log_bayes: float
    decided_by: FurtherReading | None = None

    @property
    def odds(self) -> float:
        """How many times likelier the best one is than the best that was turned down."""
        return float(np.exp(min(self.log_bayes[0] - self.rival_log_bayes, 700.0)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroupTest:
    """How one group (a strip, a mounting, a single mark, a reading) stands to what was stated.

    `statistic` is the drop of chi-square that setting it free brings, with `degrees_of_freedom`
    the number of its directions that the rest controls, `p_value` the chance of such a drop
    without a fault and `level` that below which it is set free. `rows` is what faults follow from.
    """

    group: Group
    statistic: float
    degrees_of_freedom: int
    p_value: float
    level: float
    log_bayes: float
    rows: GroupRows

    @property
    def redundancy(self) -> float:
        """The share of an error that shows.

        0 where only the statement itself holds the group and 1 where the rest fixes it.
        """
        return float(np.trace(self.rows.redundancy) / len(self.rows.redundancy))

    @property
    def faults(self) -> dict[FaultKind, GroupFault]:
        """The ways in which it can be wrong as a whole.

        The shift of a strip (x, y; both ends alike) and its turn about its middle, the shift of a
        mounting or mark, that of each length and the turn of each angle read, the scale of a lens.
        """
        return {
            kind: self.rows.fault(
                kind, degrees_of_freedom=self.degrees_of_freedom, level=self.level
            )
            for kind in self.rows.ways
        }

    def times_detectable(self, bias: Array) -> float:
        """How many times as large as one just detectable a fault is that moves the rows so (k,)."""
        if not self.degrees_of_freedom:
            return 0.0
        least = noncentrality(self.degrees_of_freedom, self.level, SETTINGS.power)
        return float(np.sqrt(bias @ self.rows.redundancy @ bias / least)) / self.rows.sigma


@dataclass(frozen=True, slots=True, kw_only=True)
class Datum:
    """How well the whole layout is held against the body, cameras and all.

    No picture shows a common shift or turn of everything: strips and marks and mountings move
    together. Only what was stated about their places holds it, and offsets from the centre line
    that were read. Sigmas of the shift in x and y and of the turn about the origin.
    """

    shift_sigma_m: tuple[float, float]
    turn_sigma_rad: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Adjustment:
    """The joint solution.

    `freed` are the groups that failed their test and were set free, where the data say which it is.
    Where they do not, `freed_alternatives` holds the groups that explain the data nearly as well as
    one another, best first: one of them is wrong, all were set free. `explanations` say for each of
    both how much better it is than others, and what to read to decide. `inflated` maps strips that
    were held, but less firmly than stated, to the sigma in m that they were held with. `groups` are
    the tests of all groups, `readings` those that took part. `mark_m` maps each mark seen by a
    camera to its adjusted place (3,). `parameter_covariance` is that of all unknowns but the marks'
    own deviations; `camera_slice` maps a camera to its 14 columns. `datum` is what no picture can
    show.
    """

    cameras: tuple[AdjustedCamera, ...]
    strips: tuple[AdjustedStrip, ...]
    marks: tuple[AdjustedMark, ...]
    mark_m: dict[MarkId, Array]
    freed: tuple[Group, ...]
    chi2: float
    degrees_of_freedom: int
    parameter_covariance: Array
    camera_slice: dict[str, slice]
    freed_alternatives: tuple[tuple[Group, ...], ...] = ()
    groups: dict[Group, GroupTest] = field(default_factory=dict)
    readings: tuple[AdjustedReading, ...] = ()
    explanations: tuple[Explanation, ...] = ()
    datum: Datum | None = None
    inflated: dict[Group, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _freeze(self)

    @property
    def all_freed(self) -> tuple[Group, ...]:
        """Every group that is free, whether or not the data say which is wrong."""
        return (*self.freed, *(group for tie in self.freed_alternatives for group in tie))

    def camera(self, name: str) -> AdjustedCamera:
        """Find the camera called `name`; KeyError where it took no part."""
        for camera in self.cameras:
            if camera.name == name:
                return camera
        raise KeyError(name)

    def covariance_of(self, first: str, second: str) -> Array:
        """Joint covariance (28, 28) of two cameras' pose steps and lens parameters."""
        columns = np.r_[self.camera_slice[first], self.camera_slice[second]]
        return np.asarray(self.parameter_covariance[np.ix_(columns, columns)])

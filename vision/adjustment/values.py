"""What the joint adjustment takes and gives, as values."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from vision.geometry import Aim, Array, Pose
from vision.lens import Lens
from vision.lens_prior import LensPrior
from vision.plan_fit import Flags, Points


def _freeze(value: AdjustedCamera | AdjustedStrip | AdjustedMark | Adjustment) -> None:
    """Replace every array of a value by a read-only copy, NaN allowed."""
    for field in fields(value):
        array = getattr(value, field.name)
        if isinstance(array, np.ndarray):
            copy = array.copy()
            copy.setflags(write=False)
            object.__setattr__(value, field.name, copy)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CameraObservations:
    """What one camera brings to the network: its marks, its lens prior and where to start."""

    name: str
    prior: LensPrior
    points: Points
    start: tuple[Pose, Lens]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AdjustedCamera:
    """One camera after the adjustment.

    `covariance` (14, 14) as in PlanFit; `aim_covariance_rad2` (3, 3) of pan, tilt, roll (NaN where
    the camera looks straight down); `used` (n,) bool by the camera's points; `residual_px` (n, 2)
    against the adjusted marks.
    """

    name: str
    pose: Pose
    lens: Lens
    covariance: Array
    aim_covariance_rad2: Array
    position_sigma_m: Array
    used: Flags
    residual_px: Array

    def __post_init__(self) -> None:
        _freeze(self)

    @property
    def aim(self) -> Aim:
        """Pan, tilt and roll."""
        return self.pose.aim


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AdjustedStrip:
    """One strip after the adjustment.

    `ends_m` (2, 2): first and last mark; `covariance_m2` (4, 4) of those; `shift_m` (2,) of the
    middle against the plan, `turn_rad` counter-clockwise from above, with sigmas; `mark_ids` and
    `mark_shift_m` (k, 2), `mark_shift_covariance_m2` (k, 2, 2): each seen mark against its plan
    (strip and the mark's own deviation together). `seen` is False when no camera saw the strip.
    """

    name: str
    ends_m: Array
    covariance_m2: Array
    shift_m: Array
    shift_sigma_m: Array
    turn_rad: float
    turn_sigma_rad: float
    mark_ids: tuple[str, ...]
    mark_shift_m: Array
    mark_shift_covariance_m2: Array
    seen: bool

    def __post_init__(self) -> None:
        _freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AdjustedMark:
    """One single (raised) mark after the adjustment: shift (3,) against the plan, covariance."""

    name: str
    shift_m: Array
    covariance_m2: Array
    seen: bool

    def __post_init__(self) -> None:
        _freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Adjustment:
    """The joint solution.

    `freed` names the groups ('strip right', 'mounting front') whose stated place failed its test
    and was set free. `mark_m` maps each mark seen by a camera to its adjusted place (3,).
    `parameter_covariance` is the full matrix; `camera_slice` maps a camera to its 14 columns.
    """

    cameras: tuple[AdjustedCamera, ...]
    strips: tuple[AdjustedStrip, ...]
    marks: tuple[AdjustedMark, ...]
    mark_m: dict[str, Array]
    freed: tuple[str, ...]
    chi2: float
    degrees_of_freedom: int
    parameter_covariance: Array
    camera_slice: dict[str, slice]

    def __post_init__(self) -> None:
        _freeze(self)

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

"""What may be changed, and what is then predicted, as values."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera
from vision.adjustment.state import UNKNOWNS
from vision.camera.geometry import Aim, Pose
from vision.camera.rotations import rotation_from_vector
from vision.camera.solver import NoFit
from vision.inspection.verdict.rule import Judgement
from vision.units.arrays import Array
from vision.units.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Cameras turned, and the vehicle standing differently.

    `turns_rad` adds to (pan, tilt, roll) of each named camera. `lower_m` is how much lower the
    vehicle rides, `lean_rad` how much it leans to its right, `nose_down_rad` how much its front
    dips, both about the ground under its middle. `laid` names strips and single marks that are then
    where they were planned.
    """

    turns_rad: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    lower_m: float = 0.0
    lean_rad: float = 0.0
    nose_down_rad: float = 0.0
    laid: frozenset[str] = frozenset()

    @property
    def stance(self) -> Pose:
        """From where a point of the body is now to where it then is, in ground coordinates."""
        R = rotation_from_vector(np.array([self.lean_rad, self.nose_down_rad, 0.0]))
        return Pose(R=R, t_m=np.array([0.0, 0.0, -self.lower_m]))

    @property
    def moves_vehicle(self) -> bool:
        """Whether the vehicle itself stands differently."""
        return any((self.lower_m, self.lean_rad, self.nose_down_rad))

    def pose(self, name: str, pose: Pose) -> Pose:
        """Where the camera called `name` then stands, and how it looks."""
        turn = np.array(self.turns_rad.get(name, (0.0, 0.0, 0.0)))
        R = Aim(**_three(pose.aim.as_array() + turn)).rotation() if turn.any() else pose.R
        stance = self.stance
        return Pose.at(stance.transform(pose.camera_in_ground_m), R @ stance.R.T)

    def camera(self, now: AdjustedCamera) -> AdjustedCamera:
        """A camera as it then stands, its covariance carried along.

        The change itself is taken as exact: what is unsure now is as unsure then.
        """
        own = self.carry(now)
        stance = None if now.stance is None else now.stance.carried(own[3:6, 3:6])
        return replace(
            now,
            pose=self.pose(now.name, now.pose),
            covariance=own @ now.covariance @ own.T,
            stance=stance,
        )

    def carry(self, now: AdjustedCamera) -> Array:
        """Derivative (14, 14) of the steps of a camera's pose then, and its lens, by those now."""
        pose, R = self.pose(now.name, now.pose), self.stance.R
        carry = np.eye(UNKNOWNS)
        carry[:3, :3] = R
        # A small rotation w now is Q w then, Q being the turn from the axes now to those then.
        carry[3:6, 3:6] = pose.R @ R @ now.pose.R.T
        return carry


def _three(values: Array) -> dict[str, float]:
    return dict(zip(("pan_rad", "tilt_rad", "roll_rad"), map(float, values), strict=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A length in m with its sigma, and its verdict against what the job accepts.

    NaN, and not judged, where there is no such length.
    """

    value_m: float
    sigma_m: float
    verdict: Judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraForecast:
    """One camera now and then: marks in view, nearest ground, and how it looks against its aim.

    `off_rad` is pan, tilt and roll then minus as intended, with `off_sigma_rad`; `aim` its verdict.
    The nearest ground is infinite where none is seen.
    """

    name: str
    marks_now: int
    marks_then: int
    nearest_now: Figure
    nearest_then: Figure
    off_rad: tuple[float, float, float]
    off_sigma_rad: tuple[float, float, float]
    aim: Judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamForecast:
    """One seam: its worst gap now, then with the display as it is, and then with it set anew.

    `moved_m` is the most that the two views move against each other with the display as it is.
    The overlap is that of the ground both cameras see.
    """

    between: tuple[str, str]
    now: Figure
    as_set: Figure
    set_anew: Figure
    moved_m: float
    overlap_now: Figure
    overlap_then: Figure


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """What a change would do, by the joint adjustment; `notes` say what could not be predicted."""

    cameras: tuple[CameraForecast, ...]
    seams: tuple[SeamForecast, ...]
    notes: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensitivity:
    """How far each seam's two views move apart, m, under one small change; the display stays."""

    change: Change
    moved_m: dict[tuple[str, str], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamCause:
    """Why the two views of a seam lie too far apart: what is out, and what the gap then is.

    `parts` are the strips, marks and cameras that have to be seen to, the fewest that will do; none
    where nothing that is to be done explains the gap. `gap_then` is of a display set anew.
    """

    between: tuple[str, str]
    parts: tuple[str, ...]
    gap_then: Figure


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """What each recommended turn would do, by its camera, and how the seams follow small changes.

    `causes` is of each seam that is beyond. Nothing of either without a joint adjustment.
    """

    turns: dict[str, tuple[Change, Forecast | NoFit]] = field(default_factory=dict)
    causes: tuple[SeamCause, ...] = ()
    moves: tuple[Sensitivity, ...] = ()

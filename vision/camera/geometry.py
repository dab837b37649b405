"""Poses, rotations and aim.

Ground coordinates: origin on the ground under the plan centre of the body, x forward, y left, z up
(the directions of ISO 8855, from memory), metres. Camera coordinates: x right, y down, z along the
optical axis.

A pose is perturbed by six numbers in this order: the camera's place (x, y, z in ground coordinates,
metres), then a small rotation vector in camera coordinates (radians), R' = exp([w]x) R. Place and
aim stay apart this way: a measured mounting position is an observation of the first three alone,
and pan, tilt and roll depend on the last three alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.camera.rotations import rotation_from_vector, vector_from_rotation
from vision.units.arrays import Array, frozen_array
from vision.units.plain import also_written, written

ANGLES = ("pan", "tilt", "roll")
"""Of an aim, in the order of every vector and covariance of them."""

ORTHONORMAL_TOLERANCE = 1e-9
"""How far R may be from a rotation before it is refused: some thousand roundings of a float64."""


def wrap_angle(angle_rad: Array | float) -> Array:
    """Bring angles into (-pi, pi]; any shape."""
    return -((-np.asarray(angle_rad, dtype=np.float64) + np.pi) % (2 * np.pi) - np.pi)


def wrap_degrees(angle_deg: Array | float) -> Array:
    """Bring angles into (-180, 180]; any shape."""
    return np.degrees(wrap_angle(np.radians(angle_deg)))


def cross_matrix(vectors: Array) -> Array:
    """Matrix [v]x with [v]x w = v x w; (..., 3) to (..., 3, 3)."""
    vectors = np.asarray(vectors, dtype=np.float64)
    matrix = np.zeros((*vectors.shape, 3))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        matrix[..., j, i] = vectors[..., k]
        matrix[..., i, j] = -vectors[..., k]
    return matrix


def d_step_d_vector(vector_rad: Array) -> Array:
    """Derivative (3, 3) of the step s, exp(s) exp(v) = exp(v + dv), by dv, of a rotation vector v.

    The left Jacobian of the rotations, to the third order in v: for small turns.
    """
    cross = cross_matrix(vector_rad)
    return np.asarray(np.eye(3) + cross / 2 + cross @ cross / 6)


def rotation_angle(a: Array, b: Array) -> float:
    """Angle in radians of the rotation that takes `a` (3, 3) to `b` (3, 3), in [0, pi]."""
    return float(np.linalg.norm(vector_from_rotation(a @ b.T)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """Where a camera looks, in radians.

    pan: direction of the optical axis seen from above, counter-clockwise from straight ahead;
    tilt: below the horizontal; roll: the camera's own turn about its axis, clockwise as seen from
    behind it.
    """

    pan_rad: float = written(4, degrees=True, key="pan")
    tilt_rad: float = written(4, degrees=True, key="tilt")
    roll_rad: float = written(4, degrees=True, key="roll")

    def __post_init__(self) -> None:
        frozen_array(self.as_array(), (3,), "aim")

    @classmethod
    def from_degrees(cls, pan_deg: float, tilt_deg: float, roll_deg: float) -> Aim:
        """Aim from the degrees that files and people use."""
        pan, tilt, roll = np.radians([pan_deg, tilt_deg, roll_deg])
        return cls(pan_rad=float(pan), tilt_rad=float(tilt), roll_rad=float(roll))

    def as_array(self) -> Array:
        """(pan, tilt, roll) in radians."""
        return np.array([self.pan_rad, self.tilt_rad, self.roll_rad])

    def as_degrees(self) -> tuple[float, float, float]:
        """(pan, tilt, roll) in degrees, pan in (-180, 180]."""
        pan, tilt, roll = np.degrees(self.as_array())
        return float(wrap_degrees(pan)), float(tilt), float(roll)

    def minus(self, other: Aim) -> Array:
        """Differences (pan, tilt, roll) in radians, each in (-pi, pi]."""
        return wrap_angle(self.as_array() - other.as_array())

    def rotation(self) -> Array:
        """Rotation from ground to camera coordinates, (3, 3): rows are the camera's x, y, z."""
        cp, sp = np.cos(self.pan_rad), np.sin(self.pan_rad)
        ct, st = np.cos(self.tilt_rad), np.sin(self.tilt_rad)
        cr, sr = np.cos(self.roll_rad), np.sin(self.roll_rad)
        forward = np.array([ct * cp, ct * sp, -st])
        level = np.array([sp, -cp, 0.0])
        down = np.cross(forward, level)
        return np.stack([cr * level + sr * down, -sr * level + cr * down, forward])


def aim_from_rotation(R: Array) -> Aim:
    """Aim of a camera from its ground-to-camera rotation (3, 3).

    Straight up or down, pan and roll are one angle; roll is then reported as 0.
    """
    x, _, forward = R
    tilt = np.arctan2(-forward[2], np.hypot(forward[0], forward[1]))
    if np.hypot(forward[0], forward[1]) < 1e-9:
        return Aim(pan_rad=float(np.arctan2(x[0], -x[1])), tilt_rad=float(tilt), roll_rad=0.0)
    pan = np.arctan2(forward[1], forward[0])
    level = np.array([np.sin(pan), -np.cos(pan), 0.0])
    down = np.cross(forward, level)
    roll = np.arctan2(x @ down, x @ level)
    return Aim(pan_rad=float(pan), tilt_rad=float(tilt), roll_rad=float(roll))


def d_aim_d_rotation_vector(R: Array) -> Array:
    """Derivative of (pan, tilt, roll) by the rotation vector w of R' = exp([w]x) R, (3, 3).

    With level and down as the camera's x and y at roll 0, turning about level tips the axis up and
    turning about down swings it clockwise or back; roll follows pan by the sine of the tilt.
    Singular for a camera that looks straight up or down: there the first and last row are NaN.
    """
    aim = aim_from_rotation(R)
    cr, sr = np.cos(aim.roll_rad), np.sin(aim.roll_rad)
    ct, st = np.cos(aim.tilt_rad), np.sin(aim.tilt_rad)
    if ct < 1e-9:
        nan = [np.nan] * 3
        return np.array([nan, [cr, -sr, 0.0], nan])
    # `level` and `down` in camera coordinates, so that a product with w is the turn about each.
    level, down = np.array([cr, -sr, 0.0]), np.array([sr, cr, 0.0])
    pan = down / ct
    tilt = level
    roll = np.array([0.0, 0.0, -1.0]) + st * pan
    return np.stack([pan, tilt, roll])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pose:
    """A rigid change of coordinates, X_to = R X_from + t; name it `camera_from_ground`.

    `R` (3, 3) is a rotation, `t_m` (3,) in metres. Note that `t_m` is not the camera's place.
    """

    R: Array
    t_m: Array

    def __post_init__(self) -> None:
        R = frozen_array(self.R, (3, 3), "R")
        off = np.abs(R @ R.T - np.eye(3)).max()
        if off > ORTHONORMAL_TOLERANCE or np.linalg.det(R) < 0:
            raise ValueError(f"R: expected a rotation, found R R^T off by {off:.2g}")
        object.__setattr__(self, "R", R)
        object.__setattr__(self, "t_m", frozen_array(self.t_m, (3,), "t_m"))

    @classmethod
    def at(cls, camera_in_ground_m: Array, R: Array) -> Pose:
        """The pose of a camera standing at `camera_in_ground_m` (3,) with ground-to-camera `R`."""
        return cls(R=R, t_m=-R @ np.asarray(camera_in_ground_m, dtype=np.float64))

    @property
    @also_written(5, key="position_m")
    def camera_in_ground_m(self) -> Array:
        """The place of the camera's centre in ground coordinates, (3,)."""
        return -self.R.T @ self.t_m

    @property
    @also_written(key="aim_deg")
    def aim(self) -> Aim:
        """Pan, tilt and roll of a `camera_from_ground`."""
        return aim_from_rotation(self.R)

    def transform(self, points_m: Array) -> Array:
        """Take points (..., 3) from the one coordinates to the other."""
        return np.asarray(points_m, dtype=np.float64) @ self.R.T + self.t_m

    def inverse(self) -> Pose:
        """The opposite change of coordinates."""
        return Pose(R=self.R.T, t_m=-self.R.T @ self.t_m)

    def __matmul__(self, other: Pose) -> Pose:
        return Pose(R=self.R @ other.R, t_m=self.R @ other.t_m + self.t_m)

    def perturbed(self, step: Array) -> Pose:
        """The pose moved by `step` (6,): place in ground metres, then rotation vector in camera."""
        turned = rotation_from_vector(step[3:]) @ self.R
        # Products of many steps drift from a rotation; the nearest one keeps Pose's promise.
        u, _, vt = np.linalg.svd(turned)
        return Pose.at(self.camera_in_ground_m + step[:3], u @ vt)

    def d_point_d_pose(self, points_m: Array) -> Array:
        """Derivative of `transform(points_m)` by the six steps of `perturbed`, (..., 3, 6)."""
        seen = self.transform(points_m)
        turn = -cross_matrix(seen)
        place = np.broadcast_to(-self.R, turn.shape)
        return np.concatenate([place, turn], axis=-1)

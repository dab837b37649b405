"""What two checks of one vehicle have in common, as statements on the poses of both.

Coordinates are the ground's of each check. At the baseline they are the vehicle's own as well; by
the later check it may stand differently, which is one more pose, the stance (S, t): it takes the
vehicle's coordinates to the ground's of that check. A camera that nobody touched stands and looks
as it did: in the vehicle's coordinates its place is the same, and so is its rotation. How far that
is from true are its shift, S^T (place then - t) - place before, and its turn, the rotation vector
of R_then S R_before^T. Each is a group, held by what a bracket gives by itself unless it is free.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.adjustment.state import LENS, State
from vision.adjustment.statements import Statement
from vision.camera.geometry import cross_matrix
from vision.camera.lens_prior import LensPrior
from vision.camera.rotations import vector_from_rotation
from vision.comparison.settings import SETTINGS
from vision.units.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shift(Statement):
    """A camera's place at the later check, against that before or, without one, as stated.

    `columns` are the later place, the stance's place and turn, and the place before.
    """

    after: int
    stance: int
    before: int | None
    stated: Array
    degrees: int = 3

    def rows(self, state: State) -> tuple[Array, Array]:
        """The shift (3,) in the vehicle's coordinates, m."""
        S, places = state.R[self.stance], state.place_m
        away = places[self.after] - places[self.stance]
        parts = [S.T, -S.T, S.T @ cross_matrix(away)]
        if self.before is None:
            return S.T @ away - self.stated, np.concatenate(parts, axis=1)
        parts.append(-np.eye(3))
        return S.T @ away - places[self.before], np.concatenate(parts, axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Turn(Statement):
    """A camera's rotation at the later check against that before.

    `columns` are the later turn, the stance's and the one before.
    """

    after: int
    stance: int
    before: int
    degrees: int = 3

    def rows(self, state: State) -> tuple[Array, Array]:
        """The turn's rotation vector (3,) in the camera's coordinates, rad."""
        R, S = state.R[self.after], state.R[self.stance]
        turn = R @ S @ state.R[self.before].T
        vector = vector_from_rotation(turn)
        by_turn = d_vector_d_turn(vector)
        return vector, by_turn @ np.concatenate([np.eye(3), R, -turn], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exchange(Statement):
    """A camera's lens at the later check against that before, in what units of a type differ by.

    `columns` are the later lens and the one before; `whitening` (8, 8).
    """

    whitening: Array
    degrees: int = LENS

    def rows(self, state: State) -> tuple[Array, Array]:
        """Focal length, aspect, centre across and down, and the four terms of the curve (8,)."""
        after, before = np.split(state.x[self.columns], 2)
        return self.whitening @ (after - before), np.hstack([self.whitening, -self.whitening])


def unit_whitening(like: LensPrior) -> Array:
    """One over what units of a lens's type differ by, (8, 8), for pictures as of a prior."""
    guess, units = like.guess, SETTINGS.units
    whitening = np.zeros((LENS, LENS))
    whitening[0, 0] = 1 / (units.focal_share * guess.fx)
    whitening[1, :2] = np.array([-1 / guess.fx, 1 / guess.fy]) / units.aspect_share
    centre_px = units.centre_share * guess.width
    whitening[2, 2], whitening[3, 3] = 1 / centre_px, guess.fx / guess.fy / centre_px
    at = np.arange(4, LENS)
    whitening[at, at] = like.edge_rad ** (2.0 * np.arange(1, 5)) / units.curve_share
    return whitening


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stance(Statement):
    """How the vehicle stands at the later check against the baseline, over `sigmas` (6,)."""

    pose: int
    sigmas: Array
    degrees: int = 6

    def rows(self, state: State) -> tuple[Array, Array]:
        """Place and rotation vector in ground coordinates, whitened."""
        vector = vector_from_rotation(state.R[self.pose])
        jacobian = np.eye(6)
        jacobian[3:, 3:] = d_vector_d_turn(vector)
        off = np.concatenate([state.place_m[self.pose], vector])
        return off / self.sigmas, jacobian / self.sigmas[:, None]


def d_vector_d_turn(vector: Array) -> Array:
    """Derivative (3, 3) of the rotation vector v of exp([w]x) exp([v]x) by w at 0.

    The inverse of the left Jacobian of the rotations (Chirikjian, "Stochastic models, information
    theory, and Lie groups", vol. 2, 2012, eq. 10.86).
    """
    angle = float(np.linalg.norm(vector))
    # Below this the series' next term is less than rounding.
    bent = 1 / 12 if angle < 1e-4 else 1 / angle**2 - 0.5 / (angle * np.tan(0.5 * angle))
    cross = cross_matrix(vector)
    return np.eye(3) - 0.5 * cross + bent * cross @ cross

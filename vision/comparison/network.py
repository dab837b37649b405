"""Both checks in one network: what they share is one unknown, what may have changed is another.

Coordinates are the vehicle's own at the baseline, which are then the ground's. Between the checks
the vehicle may have come to stand differently (`stance`: it takes the vehicle's coordinates to the
ground's of the later check), and a camera may have moved on the vehicle: its place by `shift` in
the vehicle's coordinates, its rotation by `turn` in its own, R_later = turn R. So in the later
check a camera stands at S (C + shift) and looks along turn R S^-1.

Columns: for each camera six steps of its pose and eight of its lens; for each camera in both checks
three of its shift and three of its turn; six of the stance (place, then rotation vector in ground
coordinates); then the ground's unknowns. A shift, a turn and the move of a strip's ends are groups:
each is held by a prior of what it gives by itself, unless it is free.

Sharing is what makes a comparison sharp: from one picture an off-centre lens and a turned camera
look almost alike, but the same lens in both pictures cancels.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.groups import Group
from vision.adjustment.state import UNKNOWNS
from vision.camera.geometry import Pose, cross_matrix
from vision.camera.lens import Lens
from vision.camera.lens_prior import LensPrior, stepped
from vision.camera.solver import NoFit, Solution, solve
from vision.comparison.epoch_ground import Ground
from vision.units.arrays import Array

Columns = NDArray[np.intp]

CHANGE, STANCE = 6, 6
"""Unknowns of one camera's shift and turn, and of how the vehicle stands."""

GIVE_RAD, GIVE_M, STRIP_GIVE_M = float(np.radians(0.02)), 0.001, 0.001
"""What a camera on its body, and a tape on its ground, give with warmth and load though nobody
touched them; of each angle and coordinate: common practice, no source."""

FREED_SIGMA = 1.0
"""Of what is set free, m or rad: useless against what is looked for, and holds the solver."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PairState:
    """Poses and lenses at the baseline, turns (3, 3) and shifts (3,) since, stance and ground."""

    poses: tuple[Pose, ...]
    lenses: tuple[Lens, ...]
    turns: tuple[Array, ...]
    shifts: tuple[Array, ...]
    stance: Pose
    ground: Array

    def later(self, index: int) -> Pose:
        """The pose of a camera in the later check, in the ground's coordinates then."""
        pose = self.poses[index]
        R = self.turns[index] @ pose.R @ self.stance.R.T
        place = self.stance.transform(pose.camera_in_ground_m + self.shifts[index])
        u, _, vt = np.linalg.svd(R)
        return Pose.at(place, u @ vt)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """One camera's points in one check, with the ground's part of their derivative."""

    index: int
    epoch: int
    observations: CameraObservations
    d_place: Array
    whiteners: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PairNetwork:
    """Everything that stays the same while a pair is solved.

    `names` of the cameras; `both` are the indices of those in both checks; `priors` holds, for each
    camera, the lens priors that count (one, or two where the checks state the lens differently);
    `mountings` the stated places: (index, later, place, sigma). `shift_give_m` is how far each
    camera's lens may have been taken along without being moved.
    """

    names: tuple[str, ...]
    both: tuple[int, ...]
    seen: tuple[Seen, ...]
    priors: tuple[tuple[LensPrior, ...], ...]
    mountings: tuple[tuple[int, bool, Array, float], ...]
    shift_give_m: tuple[float, ...]
    ground: Ground
    stance_sigma: Array
    start: PairState

    @property
    def size(self) -> int:
        """How many columns there are."""
        return self.ground_start + len(self.ground.sigma)

    @property
    def stance_start(self) -> int:
        """First column of the stance."""
        return UNKNOWNS * len(self.names) + CHANGE * len(self.both)

    @property
    def ground_start(self) -> int:
        """First column of the ground."""
        return self.stance_start + STANCE

    def change_columns(self, index: int) -> slice:
        """The six columns of a camera's shift and turn."""
        start = UNKNOWNS * len(self.names) + CHANGE * self.both.index(index)
        return slice(start, start + CHANGE)

    def groups(self) -> dict[Group, Columns]:
        """Columns of everything that may have changed, by its name."""
        found: dict[Group, Columns] = {}
        for index in self.both:
            own = self.change_columns(index)
            found[Group("turn", self.names[index])] = np.arange(own.start + 3, own.stop)
            found[Group("shift", self.names[index])] = np.arange(own.start, own.start + 3)
        for name, own in self.ground.moved.items():
            found[Group("strip", name)] = self.ground_start + np.arange(own.start, own.stop)
        return found

    def give(self, group: Group) -> float:
        """How much a group changes by itself, m or rad: sigma of its prior while it is held."""
        kind, name = group
        if kind == "strip":
            return STRIP_GIVE_M
        return GIVE_RAD if kind == "turn" else self.shift_give_m[self.names.index(name)]

    def prior_sigma(self, free: frozenset[Group]) -> Array:
        """Sigma of each column's own prior (size,); infinite where it has none."""
        sigma = np.full(self.size, np.inf)
        sigma[self.stance_start : self.ground_start] = self.stance_sigma
        sigma[self.ground_start :] = self.ground.sigma
        for group, columns in self.groups().items():
            sigma[columns] = FREED_SIGMA if group in free else self.give(group)
        return sigma

    def retract(self, state: PairState, step: Array) -> PairState:
        """Move the state by a step of all columns (size,)."""
        poses, lenses = [], []
        turns, shifts = list(state.turns), list(state.shifts)
        for i, (pose, lens) in enumerate(zip(state.poses, state.lenses, strict=True)):
            own = step[UNKNOWNS * i : UNKNOWNS * (i + 1)]
            poses.append(pose.perturbed(own[:6]))
            lenses.append(stepped(lens, own[6:]))
        for i in self.both:
            own = step[self.change_columns(i)]
            shifts[i] = shifts[i] + own[:3]
            turns[i] = Rotation.from_rotvec(own[3:]).as_matrix() @ turns[i]
        own = step[self.stance_start : self.ground_start]
        turned = Rotation.from_rotvec(own[3:]).as_matrix() @ state.stance.R
        u, _, vt = np.linalg.svd(turned)
        return PairState(
            poses=tuple(poses),
            lenses=tuple(lenses),
            turns=tuple(turns),
            shifts=tuple(shifts),
            stance=Pose(R=u @ vt, t_m=state.stance.t_m + own[:3]),
            ground=state.ground + step[self.ground_start :],
        )

    def d_later(self, state: PairState, index: int) -> Array:
        """Derivative of the later pose's six steps by all columns, (6, size)."""
        out = np.zeros((6, self.size))
        S, turn = state.stance.R, state.turns[index]
        place = state.poses[index].camera_in_ground_m + state.shifts[index]
        own = UNKNOWNS * index
        out[:3, own : own + 3] = S
        out[3:, own + 3 : own + 6] = turn
        if index in self.both:
            change = self.change_columns(index)
            out[:3, change.start : change.start + 3] = S
            out[3:, change.start + 3 : change.stop] = np.eye(3)
        stance = self.stance_start
        out[:3, stance : stance + 3] = np.eye(3)
        out[:3, stance + 3 : stance + 6] = -cross_matrix(S @ place)
        out[3:, stance + 3 : stance + 6] = -state.later(index).R
        return out

    def points(self, state: PairState, seen: Seen) -> tuple[Array, Array]:
        """Whitened residuals (2 n,) of one camera in one check, and their derivative."""
        points, lens = seen.observations.points, state.lenses[seen.index]
        places = points.planned_m + seen.d_place @ state.ground
        pose = state.later(seen.index) if seen.epoch else state.poses[seen.index]
        pixels, d_camera, d_lens = lens.project_with_derivatives(pose.transform(places))
        jacobian = np.zeros((len(places), 2, self.size))
        d_pose = d_camera @ pose.d_point_d_pose(places)
        own = UNKNOWNS * seen.index
        if seen.epoch:
            jacobian += d_pose @ self.d_later(state, seen.index)
        else:
            jacobian[:, :, own : own + 6] = d_pose
        jacobian[:, :, own + 6 : own + UNKNOWNS] = d_lens
        jacobian[:, :, self.ground_start :] = (d_camera @ pose.R) @ seen.d_place
        residual = (seen.whiteners @ (pixels - points.pixels_px)[..., None]).ravel()
        return residual, (seen.whiteners @ jacobian).reshape(-1, self.size)

    def evaluate(self, state: PairState, free: frozenset[Group]) -> tuple[Array, Array]:
        """Whitened residuals (m,) and their derivative by all columns (m, size)."""
        rows = [self.points(state, seen) for seen in self.seen]
        for index, priors in enumerate(self.priors):
            for prior in priors:
                r, d_lens = prior.residuals(state.lenses[index])
                jacobian = np.zeros((len(r), self.size))
                jacobian[:, UNKNOWNS * index + 6 : UNKNOWNS * (index + 1)] = d_lens
                rows.append((r, jacobian))
        for index, later, place, sigma in self.mountings:
            off = state.poses[index].camera_in_ground_m - place
            jacobian = np.zeros((3, self.size))
            jacobian[:, UNKNOWNS * index : UNKNOWNS * index + 3] = np.eye(3)
            if later and index in self.both:
                off = off + state.shifts[index]
                own = self.change_columns(index)
                jacobian[:, own.start : own.start + 3] = np.eye(3)
            rows.append((off / sigma, jacobian / sigma))
        rows.append(self._own_priors(state, free))
        return np.concatenate([r for r, _ in rows]), np.concatenate([j for _, j in rows])

    def _own_priors(self, state: PairState, free: frozenset[Group]) -> tuple[Array, Array]:
        """Rows of shifts, turns, stance and ground, each against its own sigma."""
        value = np.zeros(self.size)
        for index in self.both:
            turned = Rotation.from_matrix(state.turns[index]).as_rotvec()
            value[self.change_columns(index)] = np.concatenate([state.shifts[index], turned])
        stance = Rotation.from_matrix(state.stance.R).as_rotvec()
        value[self.stance_start : self.ground_start] = np.concatenate([state.stance.t_m, stance])
        value[self.ground_start :] = state.ground
        sigma = self.prior_sigma(free)
        # Turns are small against a radian: their rotation vector's derivative is taken as one.
        rows = np.flatnonzero(np.isfinite(sigma))
        return (value / sigma)[rows], (np.eye(self.size) / sigma[:, None])[rows]

    def solve(self, free: frozenset[Group], start: PairState) -> Solution[PairState] | NoFit:
        """Solve with these groups free."""
        # Tests compare chi-squares of some tens: the last digits of a state do not matter.
        return solve(lambda state: self.evaluate(state, free), self.retract, start, tolerance=1e-9)

    def held(self, state: PairState, free: frozenset[Group]) -> PairState:
        """The state with everything back at zero that is not free, to start from."""
        turns, shifts, ground = list(state.turns), list(state.shifts), state.ground.copy()
        for index in self.both:
            if Group("turn", self.names[index]) not in free:
                turns[index] = np.eye(3)
            if Group("shift", self.names[index]) not in free:
                shifts[index] = np.zeros(3)
        for name, own in self.ground.moved.items():
            if Group("strip", name) not in free:
                ground[own] = 0.0
        return replace(state, turns=tuple(turns), shifts=tuple(shifts), ground=ground)

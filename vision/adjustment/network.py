"""The rows of the network: whitened residuals and their derivatives, over all cameras at once.

Columns: for each camera six pose steps as of `Pose.perturbed` and eight lens parameters; for each
type of lens that several cameras share its eight; then the unknowns of the `World`, of which the
marks' own deviations, last, are eliminated. Rows: the points (two each), the lens priors, the
readings, and the priors of single unknowns: mounting positions and all of the world.

Its groups are those of `vision.adjustment.groups`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from vision.adjustment.elimination import Rows
from vision.adjustment.groups import Group
from vision.adjustment.plan_fit import UNKNOWNS
from vision.adjustment.readings import ReadingView, reading_rows
from vision.adjustment.state import PointRows, Seen, State, View, Weights
from vision.adjustment.world import World
from vision.camera.geometry import cross_matrix
from vision.camera.lens import PARAMETERS, monotone_limits_rad, project_with_derivatives
from vision.camera.lens_prior import (
    CENTRE_SIGMA_PX,
    CENTRE_SIGMA_WIDTH_PX,
    SAME_TYPE_SIGMA,
    LensPrior,
)
from vision.units.arrays import Array, Flags

LENS = len(PARAMETERS)

FREED_SIGMA_M = 1.0
"""Prior of a group that is set free: useless against centimetres, enough to hold the gauge."""

FREED_LENS = 0.3
"""Share of the picture's size to which a lens that is set free is held: it stays a lens."""

CENTRE_ROWS = 2
"""Of a lens prior on the curve, the last two rows hold the centre: no matter of the lens's type."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Network:
    """Everything that stays the same while the network is solved."""

    views: tuple[View, ...]
    points: PointRows
    types: tuple[tuple[str, LensPrior], ...]
    world: World
    readings: tuple[ReadingView, ...] = ()

    @property
    def base(self) -> int:
        """Column at which the world's unknowns begin."""
        return UNKNOWNS * len(self.views) + LENS * len(self.types)

    @property
    def kept(self) -> int:
        """How many unknowns are kept: all but the marks' own deviations."""
        return self.base + self.world.kept

    @property
    def size(self) -> int:
        """How many unknowns there are, cameras and world."""
        return self.base + self.world.size

    @property
    def marks(self) -> tuple[str, ...]:
        """The mark that each point belongs to."""
        return tuple(self.world.mark_of_point[i] for i in self.points.ids)

    @property
    def camera_slice(self) -> dict[str, slice]:
        """Columns of each camera."""
        return {
            v.camera.name: slice(UNKNOWNS * i, UNKNOWNS * (i + 1)) for i, v in enumerate(self.views)
        }

    @property
    def start(self) -> State:
        """Where the cameras' own fits ended, everything else as planned."""
        starts = [view.observations.start for view in self.views]
        return State(
            R=np.array([pose.R for pose, _ in starts]).reshape(-1, 3, 3),
            place_m=np.array([pose.camera_in_ground_m for pose, _ in starts]).reshape(-1, 3),
            lens=np.array([lens.as_vector() for _, lens in starts]).reshape(-1, LENS),
            shared=np.array([p.guess.as_vector() for _, p in self.types]).reshape(-1, LENS),
            world=np.zeros(self.world.size),
        )

    def groups(self) -> tuple[Group, ...]:
        """Name every group that can be set free."""
        cameras = [view.camera.name for view in self.views]
        return (
            *(Group("strip", name) for name in self.world.strips),
            *(Group("bow", name) for name in self.world.bows),
            *(Group("mounting", name) for name in (*cameras, *self.world.cameras)),
            *(Group("mark", name) for name in self.world.single),
            *(Group("lens", name) for name in cameras),
            *(Group("lens-type", name) for name, _ in self.types),
            *(view.group for view in self.readings),
        )

    def group_sigma(self, group: Group) -> float:
        """Give the stated sigma of a group, in m, for an angle in rad, for a lens 1."""
        kind, name = group
        match kind:
            case "strip":
                return self.world.job.strip(name).position_sigma_m
            case "bow":
                return self.world.job.strip(name).mark_sigma_m
            case "mark":
                return float(self.world.sigma[self.world.marks[name].start])
            case "mounting":
                return self.world.job.camera(name).position_sigma_m
            case "lens" | "lens-type":
                return 1.0
            case "reading":
                return self._reading(group).sigma
        raise ValueError(f"no group of an adjustment: {group}")

    def group_rows(self, state: State, group: Group) -> tuple[Array, Array]:
        """How far a group lies from what was stated (k,), and its derivative (k, kept).

        In m, for an angle in rad, for a lens in its stated sigmas; not whitened otherwise.
        """
        kind, name = group
        match kind:
            case "reading":
                return reading_rows(self._reading(group), self.world, state, self.base)
            case "lens":
                index = self._index(name)
                r, jacobian = self._lens_rows(state, index)
                return r[: self._of_type(index)], jacobian[: self._of_type(index)]
            case "lens-type":
                return self._type_rows(state, [name for name, _ in self.types].index(name))
        columns = self._group_columns(group)
        if kind == "mounting" and name not in self.world.cameras:
            index = self._index(name)
            off = state.place_m[index] - self.views[index].camera.position_m
        else:
            off = state.world[columns - self.base]
        jacobian = np.zeros((len(columns), self.kept))
        jacobian[np.arange(len(columns)), columns] = 1.0
        return off, jacobian

    def _group_columns(self, group: Group) -> NDArray[np.intp]:
        """Columns of a group whose rows are single unknowns."""
        kind, name = group
        match kind:
            case "mounting" if name not in self.world.cameras:
                return UNKNOWNS * self._index(name) + np.arange(3)
            case "mounting":
                own = self.world.cameras[name]
            case "strip":
                own = self.world.strips[name]
            case "bow":
                own = slice(self.world.bows[name], self.world.bows[name] + 1)
            case _:
                own = self.world.marks[name]
        return self.base + np.arange(own.start, own.stop)

    def freeing(self, weights: Weights, groups: tuple[Group, ...]) -> Weights:
        """Set these groups free and hold all others as stated."""
        return replace(weights, group_sigma={group: self.freed_sigma(group) for group in groups})

    def freed_sigma(self, group: Group) -> float:
        """Sigma of a group that is set free, in the unit of `group_sigma`."""
        kind, name = group
        match kind:
            case "reading":
                return self._reading(group).freed_sigma
            case "lens":
                view = self.views[self._index(name)]
                prior, shared = view.observations.prior, view.shares is not None
                return FREED_LENS / (SAME_TYPE_SIGMA if shared else prior.scale_sigma)
            case "lens-type":
                return FREED_LENS / dict(self.types)[name].scale_sigma
        return FREED_SIGMA_M

    def _index(self, camera: str) -> int:
        return next(i for i, view in enumerate(self.views) if view.camera.name == camera)

    def _reading(self, group: Group) -> ReadingView:
        return next(view for view in self.readings if view.group == group)

    def retract(self, state: State, step: Array) -> State:
        """Move the state by a step (size,)."""
        n = len(self.views)
        own = step[: UNKNOWNS * n].reshape(n, UNKNOWNS)
        lens, shared = state.lens + own[:, 6:], state.shared
        if self.types:
            shared = shared + step[UNKNOWNS * n : self.base].reshape(-1, LENS)
        # A wild step must stay a lens for the solver to see how bad it is and shorten it.
        lens[:, :2] = np.maximum(lens[:, :2], 1.0)
        R = Rotation.from_rotvec(own[:, 3:6]).as_matrix() @ state.R if n else state.R
        return State(
            R=R,
            place_m=state.place_m + own[:, :3],
            lens=lens,
            shared=shared,
            world=state.world + step[self.base :],
        )

    def places_m(self, world: Array) -> Array:
        """Where every point lies (p, 3), in ground coordinates."""
        kept, own = self.world.split(world, self.points.blocks)
        places = self.points.planned_m + self.points.by_kept_m @ kept
        return np.asarray(places + (self.points.by_own_m @ own[..., None])[..., 0])

    def predicted(self, state: State) -> tuple[Array, Array, Array, Array]:
        """Predicted minus measured (p, 2) px; by the point (p, 2, 3), the lens (p, 2, 8); points.

        Last, the points (p, 3) in their camera's coordinates.
        """
        points = self.points
        away = self.places_m(state.world) - state.place_m[points.camera]
        seen = (state.R[points.camera] @ away[..., None])[..., 0]
        limits = monotone_limits_rad(state.lens[:, 4:])
        pixels, by_point, by_lens = project_with_derivatives(
            seen, state.lens[points.camera], limits[points.camera]
        )
        return pixels - points.pixels_px, by_point, by_lens, seen

    def seen(self, state: State) -> Seen:
        """How every point is seen from a state, in pixels."""
        off_px, by_point, by_lens, seen = self.predicted(state)
        by_place = by_point @ state.R[self.points.camera]
        # The camera's place moves the point against it; its turn w moves the point by w x point.
        by_camera = np.concatenate([-by_place, by_point @ -cross_matrix(seen), by_lens], axis=-1)
        return Seen(state=state, off_px=off_px, by_camera=by_camera, by_place=by_place)

    def point_rows(self, seen: Seen, whitener: Array) -> tuple[Array, Array, Array, Array]:
        """Whitened rows of the points: r (p, 2), and their derivatives by what each depends on.

        By its camera (p, 2, c), by the world's kept unknowns (p, 2, w), by its mark's own
        (p, 2, o). Zero where the whitener (p, 2, 2) is; NaN where the lens cannot show the point.
        """
        r = (whitener @ seen.off_px[..., None])[..., 0]
        by_camera, by_place = whitener @ seen.by_camera, whitener @ seen.by_place
        left_out = ~whitener.any(axis=(1, 2))
        if left_out.any():
            r[left_out], by_camera[left_out], by_place[left_out] = 0.0, 0.0, 0.0
        by_world, by_own = by_place @ self.points.by_kept_m, by_place @ self.points.by_own_m
        return r, by_camera, by_world, by_own

    def by_kept(self, by_camera: Array, by_world: Array) -> Array:
        """Derivatives (p, 2, kept) by all kept unknowns, from those that each point touches."""
        out = np.zeros((len(by_camera), 2, self.kept))
        for i, view in enumerate(self.views):
            out[view.rows, :, UNKNOWNS * i : UNKNOWNS * (i + 1)] = by_camera[view.rows]
        out[:, :, self.base :] = by_world
        return out

    def rows(self, seen: Seen, weights: Weights) -> Rows:
        """All rows at a state."""
        state = seen.state
        r, by_camera, by_world, by_own = self.point_rows(seen, weights.whiteners)
        others, jacobian = self._other_rows(state, weights)
        sigma, off = self._prior_sigma(weights), np.zeros(self.kept)
        off[self.base :] = state.world[: self.world.kept]
        for i, view in enumerate(self.views):
            off[UNKNOWNS * i : UNKNOWNS * i + 3] = state.place_m[i] - view.camera.position_m
        shape = (-1, self.world.own_size)
        own_sigma = self.world.sigma[self.world.kept :].reshape(shape)
        return Rows(
            r=r,
            by_camera=by_camera,
            by_world=by_world,
            by_own=by_own,
            views=tuple(view.rows for view in self.views),
            blocks=self.points.blocks,
            by_block=self.points.by_block,
            others=others,
            by_kept_others=jacobian,
            prior=off / sigma,
            weight=1 / sigma,
            prior_own=state.world[self.world.kept :].reshape(shape) / own_sigma,
            weight_own=1 / own_sigma,
        )

    def _other_rows(self, state: State, weights: Weights) -> tuple[Array, Array]:
        """Whitened rows of the lenses, their types and the readings."""
        residuals, jacobians = [np.zeros(0)], [np.zeros((0, self.kept))]
        for i, view in enumerate(self.views):
            r, jacobian = self._lens_rows(state, i)
            sigma = weights.group_sigma.get(Group("lens", view.camera.name), 1.0)
            r[: self._of_type(i)] /= sigma
            jacobian[: self._of_type(i)] /= sigma
            residuals.append(r)
            jacobians.append(jacobian)
            if sigma > 1 and self._of_type(i) is None:
                r, jacobian = self._centre_rows(state, i)
                residuals.append(r)
                jacobians.append(jacobian)
        for i, (name, _) in enumerate(self.types):
            r, jacobian = self._type_rows(state, i)
            sigma = weights.group_sigma.get(Group("lens-type", name), 1.0)
            residuals.append(r / sigma)
            jacobians.append(jacobian / sigma)
        for reading in self.readings:
            r, jacobian = reading_rows(reading, self.world, state, self.base)
            sigma = weights.group_sigma.get(reading.group, reading.sigma)
            residuals.append(r / sigma)
            jacobians.append(jacobian / sigma)
        return np.concatenate(residuals), np.concatenate(jacobians)

    def _of_type(self, index: int) -> int | None:
        """How many of a camera's lens rows speak of its type; None for all.

        A fitted lens has its own centre too. Where only a field of view or a type is stated, the
        centre has a prior of its own, whatever the type.
        """
        view = self.views[index]
        fitted = view.shares is None and view.observations.prior.fitted
        return None if fitted else -CENTRE_ROWS

    def _lens_rows(self, state: State, index: int) -> tuple[Array, Array]:
        """One camera's lens prior (m,), or its lens against its type, and the derivative."""
        view = self.views[index]
        prior, columns = view.observations.prior, UNKNOWNS * index + 6
        if view.shares is None:
            r, by_own = prior.rows(state.lens[index])
        else:
            r, by_own, by_shared = prior.rows_against(state.lens[index], state.shared[view.shares])
        jacobian = np.zeros((len(r), self.kept))
        jacobian[:, columns : columns + LENS] = by_own
        if view.shares is not None:
            columns = UNKNOWNS * len(self.views) + LENS * view.shares
            jacobian[:, columns : columns + LENS] = by_shared
        return r.copy(), jacobian

    def _centre_rows(self, state: State, index: int) -> tuple[Array, Array]:
        """What holds the centre of a lens whose file is no longer believed, and its derivative."""
        guess = self.views[index].observations.prior.guess
        sigma_px = CENTRE_SIGMA_PX * guess.width / CENTRE_SIGMA_WIDTH_PX
        middle = 0.5 * np.array([guess.width - 1, guess.height - 1])
        jacobian = np.zeros((CENTRE_ROWS, self.kept))
        jacobian[[0, 1], UNKNOWNS * index + 8 + np.arange(2)] = 1 / sigma_px
        return (state.lens[index, 2:4] - middle) / sigma_px, jacobian

    def _type_rows(self, state: State, index: int) -> tuple[Array, Array]:
        """Rows of the prior on a type of lens, and their derivative."""
        r, by_shared = self.types[index][1].rows(state.shared[index])
        columns = UNKNOWNS * len(self.views) + LENS * index
        jacobian = np.zeros((len(r), self.kept))
        jacobian[:, columns : columns + LENS] = by_shared
        return r, jacobian

    def _prior_sigma(self, weights: Weights) -> Array:
        """Sigmas (kept,) of the unknowns' own priors; infinite where there is none."""
        sigma = np.full(self.kept, np.inf)
        sigma[self.base :] = self.world.sigma[: self.world.kept]
        for i, view in enumerate(self.views):
            sigma[UNKNOWNS * i : UNKNOWNS * i + 3] = view.camera.position_sigma_m
        for group, value in weights.group_sigma.items():
            if group.kind in ("strip", "bow", "mounting", "mark"):
                sigma[self._group_columns(group)] = value
        return sigma

    def degrees_of_freedom(self, used: Flags) -> int:
        """Rows that weigh something, minus unknowns; `used` (p,) are the points that take part."""
        # Every unknown of the world has a row of its own, and so has a camera's place; a lens prior
        # holds as many directions as a lens has, whatever its rows. What is left are the turns.
        readings = sum(view.count for view in self.readings)
        return 2 * int(used.sum()) - 3 * len(self.views) + readings

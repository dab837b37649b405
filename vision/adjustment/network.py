"""The rows of the network: whitened residuals and their derivatives, assembled camera by camera.

Columns: for each camera six pose steps of `Pose.perturbed` and eight lens parameters, then the
unknowns of the `World`. Rows: for each camera its points (two each), its lens prior, its mounting
position (three); then one row for each unknown of the world, then the readings.

A group is what can be wrong as a whole and be set free: a strip's ends, a mounting, a single mark's
place, a reading.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment.readings import ReadingView, reading_rows, reading_views
from vision.adjustment.values import CameraObservations
from vision.adjustment.world import World, build_world
from vision.geometry import Array, Pose
from vision.job import Camera, Job
from vision.layout import Layout
from vision.lens import Lens

OWN = 14
"""Unknowns of one camera: six pose steps and eight lens parameters."""

LEAST_PX2 = 1e-8
"""(0.1 millipixel)^2: no centre is better, and a singular covariance is no reason to stop."""

FREED_SIGMA_M = 1.0
"""Prior of a group that is set free: useless against centimetres, enough to hold the gauge."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """Poses and lenses camera by camera, and the world's deviations from the plan (w,)."""

    poses: tuple[Pose, ...]
    lenses: tuple[Lens, ...]
    world: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """One camera's points with the constant derivative of their places, (n, 3, w)."""

    camera: Camera
    observations: CameraObservations
    d_place: Array
    own_covariance_px2: Array

    @property
    def count(self) -> int:
        """How many points the camera brings."""
        return len(self.observations.points.ids)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weights:
    """What the observations weigh in one solution.

    `whiteners` (n, 2, 2) for each view; zero leaves a point out. `group_sigma_m` by group name
    replaces the stated sigma of the group, in m or, for an angle, rad.
    """

    whiteners: tuple[Array, ...]
    group_sigma_m: dict[str, float]


def whiteners(covariance_px2: Array) -> Array:
    """Matrices W (n, 2, 2) with W C W^T = 1; no variance counts as less than LEAST_PX2."""
    values, vectors = np.linalg.eigh(covariance_px2)
    scale = 1 / np.sqrt(np.maximum(values, LEAST_PX2))
    return np.asarray(scale[..., None] * vectors.transpose(0, 2, 1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Network:
    """Everything that stays the same while the network is solved."""

    views: tuple[View, ...]
    world: World
    readings: tuple[ReadingView, ...] = ()

    @property
    def size(self) -> int:
        """How many unknowns there are, cameras and world."""
        return OWN * len(self.views) + self.world.size

    @property
    def camera_slice(self) -> dict[str, slice]:
        """Columns of each camera."""
        return {v.camera.name: slice(OWN * i, OWN * (i + 1)) for i, v in enumerate(self.views)}

    @property
    def start(self) -> State:
        """Where the cameras' own fits ended, everything else as planned."""
        starts = [view.observations.start for view in self.views]
        poses, lenses = zip(*starts, strict=True)
        return State(poses=poses, lenses=lenses, world=np.zeros(self.world.size))

    def groups(self) -> tuple[str, ...]:
        """Name every group that can be set free."""
        marks = self.world.single
        return (
            *(f"strip {name}" for name in self.world.strips),
            *(f"mounting {view.camera.name}" for view in self.views),
            *(f"mark {name}" for name in marks),
            *(view.group for view in self.readings),
        )

    def group_sigma_m(self, group: str) -> float:
        """Give the stated sigma of a group, in m or, for an angle, rad."""
        kind, name = group.split(" ", 1)
        match kind:
            case "strip":
                return self.world.job.strip(name).position_sigma_m
            case "mark":
                return float(self.world.sigma[self.world.marks[name].start])
            case "mounting":
                return self._view(name).camera.position_sigma_m
        return self._reading(group).sigma

    def group_rows(self, state: State, group: str) -> tuple[Array, Array]:
        """How far a group lies from where it was stated to be (k,), and its derivative (k, size).

        In m or, for an angle, rad; not whitened.
        """
        kind, name = group.split(" ", 1)
        if kind == "reading":
            view = self._reading(group)
            return reading_rows(view, self.world, state.poses, state.world, OWN)
        if kind == "mounting":
            index = self.views.index(self._view(name))
            columns = OWN * index + np.arange(3)
            off = state.poses[index].camera_in_ground_m - self.views[index].camera.position_m
        else:
            own = self.world.strips[name] if kind == "strip" else self.world.marks[name]
            columns = OWN * len(self.views) + np.arange(own.start, own.stop)
            off = state.world[own]
        jacobian = np.zeros((len(columns), self.size))
        jacobian[np.arange(len(columns)), columns] = 1.0
        return off, jacobian

    def freeing(self, weights: Weights, groups: tuple[str, ...]) -> Weights:
        """Set these groups free and hold all others as stated."""
        free = {
            group: self._reading(group).freed_sigma
            if group.startswith("reading ")
            else FREED_SIGMA_M
            for group in groups
        }
        return replace(weights, group_sigma_m=free)

    def _view(self, camera: str) -> View:
        return next(view for view in self.views if view.camera.name == camera)

    def _reading(self, group: str) -> ReadingView:
        return next(view for view in self.readings if view.group == group)

    def retract(self, state: State, step: Array) -> State:
        """Move the state by a step (size,)."""
        poses, lenses = [], []
        for i, (pose, lens) in enumerate(zip(state.poses, state.lenses, strict=True)):
            own = step[OWN * i : OWN * (i + 1)]
            poses.append(pose.perturbed(own[:6]))
            vector = lens.as_vector() + own[6:]
            # A wild step must stay a lens for the solver to see how bad it is and shorten it.
            vector[:2] = np.maximum(vector[:2], 1.0)
            lenses.append(lens.with_vector(vector))
        world = state.world + step[OWN * len(self.views) :]
        return State(poses=tuple(poses), lenses=tuple(lenses), world=world)

    def points(self, state: State, index: int) -> tuple[Array, Array]:
        """Predicted minus measured (n, 2) in px of one view, and its derivative (n, 2, size)."""
        view, pose, lens = self.views[index], state.poses[index], state.lenses[index]
        points = view.observations.points
        places = points.planned_m + view.d_place @ state.world
        pixels, d_camera, d_lens = lens.project_with_derivatives(pose.transform(places))
        jacobian = np.zeros((view.count, 2, self.size))
        columns = OWN * index
        jacobian[:, :, columns : columns + 6] = d_camera @ pose.d_point_d_pose(places)
        jacobian[:, :, columns + 6 : columns + OWN] = d_lens
        jacobian[:, :, OWN * len(self.views) :] = (d_camera @ pose.R) @ view.d_place
        return pixels - points.pixels_px, jacobian

    def camera_priors(self, state: State, index: int, sigma_m: float) -> tuple[Array, Array]:
        """Whitened rows of one view's lens prior, then of its mounting position."""
        view = self.views[index]
        r_lens, d_lens = view.observations.prior.residuals(state.lenses[index])
        away = state.poses[index].camera_in_ground_m - view.camera.position_m
        jacobian = np.zeros((len(r_lens) + 3, self.size))
        columns = OWN * index
        jacobian[:-3, columns + 6 : columns + OWN] = d_lens
        jacobian[-3:, columns : columns + 3] = np.eye(3) / sigma_m
        return np.concatenate([r_lens, away / sigma_m]), jacobian

    def evaluate(self, state: State, weights: Weights) -> tuple[Array, Array]:
        """Whitened residuals (m,) and their derivative (m, size)."""
        residuals, jacobians = [], []
        for i, view in enumerate(self.views):
            r, jacobian = self.points(state, i)
            whitener = weights.whiteners[i]
            left_out = ~whitener.any(axis=(1, 2))
            r[left_out], jacobian[left_out] = 0.0, 0.0
            residuals.append((whitener @ r[..., None]).ravel())
            jacobians.append((whitener @ jacobian).reshape(-1, self.size))
            sigma_m = weights.group_sigma_m.get(
                f"mounting {view.camera.name}", view.camera.position_sigma_m
            )
            r, jacobian = self.camera_priors(state, i, sigma_m)
            residuals.append(r)
            jacobians.append(jacobian)
        sigma = self.world_sigma(weights)
        residuals.append(state.world / sigma)
        world = np.zeros((self.world.size, self.size))
        world[:, OWN * len(self.views) :] = np.diag(1 / sigma)
        jacobians.append(world)
        for reading in self.readings:
            r, jacobian = reading_rows(reading, self.world, state.poses, state.world, OWN)
            sigma_one = weights.group_sigma_m.get(reading.group, reading.sigma)
            residuals.append(r / sigma_one)
            jacobians.append(jacobian / sigma_one)
        return np.concatenate(residuals), np.concatenate(jacobians)

    def world_sigma(self, weights: Weights) -> Array:
        """Sigmas of the world's priors (w,), freed strips and marks included."""
        sigma = self.world.sigma.copy()
        for name, own in self.world.strips.items():
            sigma[own] = weights.group_sigma_m.get(f"strip {name}", sigma[own.start])
        for name in self.world.single:
            own = self.world.marks[name]
            sigma[own] = weights.group_sigma_m.get(f"mark {name}", sigma[own.start])
        return sigma


def build_network(
    job: Job, layout: Layout, observations: tuple[CameraObservations, ...]
) -> Network:
    """Lay out unknowns and constant derivatives for the cameras in `observations`."""
    ids = dict.fromkeys(i for seen in observations for i in seen.points.ids)
    world = build_world(job, layout, ids)
    cameras = {camera.name: camera for camera in job.cameras}
    views = []
    for seen in observations:
        points = seen.points
        d_place = np.array(
            [
                world.d_place(world.mark_of_point[point_id], planned)
                for point_id, planned in zip(points.ids, points.planned_m, strict=True)
            ]
        )
        own = _own_covariance(world, seen, d_place)
        views.append(
            View(
                camera=cameras[seen.name],
                observations=seen,
                d_place=d_place,
                own_covariance_px2=own,
            )
        )
    names = [view.camera.name for view in views]
    return Network(views=tuple(views), world=world, readings=reading_views(job, world, names))


def _own_covariance(world: World, seen: CameraObservations, d_place: Array) -> Array:
    """Spread of each point by its mark's own deviation, (n, 2, 2) px2, at the camera's start."""
    pose, lens = seen.start
    own_sigma = world.sigma.copy()
    for columns in world.strips.values():
        own_sigma[columns] = 0.0
    _, d_camera, _ = lens.project_with_derivatives(pose.transform(seen.points.planned_m))
    spread = (d_camera @ pose.R) @ d_place * own_sigma
    return np.asarray(spread @ spread.transpose(0, 2, 1))

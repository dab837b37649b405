"""Made-up jobs for the joint adjustment, their truth drawn from the very sigmas they state."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.adjustment.adjusted import Adjustment, CameraObservations
from vision.adjustment.groups import Group
from vision.adjustment.network import Network
from vision.adjustment.plan_fit import Points
from vision.adjustment.search import adjust
from vision.adjustment.solving import weights_of
from vision.adjustment.state import State, Weights, whiteners
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import lens_prior
from vision.camera.stated_lens import StatedLens
from vision.job.job import (
    AngleReading,
    Camera,
    Job,
    LengthReading,
    Reading,
    SingleMark,
    Strip,
    Vehicle,
)
from vision.job.kinds.board import Board
from vision.job.kinds.cross import Cross
from vision.job.kinds.quadrant import Quadrant
from vision.job.layout import Layout, planned_layout
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, Flags

CROSS = Cross(arm_along_m=0.12, arm_across_m=0.08, line_m=0.025)
LENS = Lens(
    width=1280, height=720, fx=427.0, fy=427.0, cx=641.0, cy=357.0, k=[-0.04, 0.005, -0.001, 1e-4]
)
LENS_SIGMA = np.array([4.0, 4.0, 3.0, 3.0, 0.004, 0.002, 0.001, 0.0003])
PIXEL_SIGMA_PX = 0.06


def strip(name: str, a: tuple[float, float], b: tuple[float, float], count: int) -> Strip:
    length = float(np.hypot(b[0] - a[0], b[1] - a[1]))
    return Strip(
        name=name,
        from_m=np.array(a),
        to_m=np.array(b),
        at_m=np.linspace(0, length, count),
        shape=CROSS,
        tape_width_m=0.18,
        position_sigma_m=0.01,
    )


def camera(name: str, place: tuple[float, float, float], pan_deg: float) -> Camera:
    return Camera(
        name=name,
        picture=f"{name}.jpg",
        lens=name,
        position_m=np.array(place),
        position_sigma_m=0.02,
        aim=Aim.from_degrees(pan_deg, 45, 0),
    )


STRIPS = (
    strip("left", (-4.9, 1.54), (4.7, 1.54), 17),
    strip("right", (-4.9, -1.54), (4.7, -1.54), 17),
    strip("front", (5.3, -2.4), (5.3, 2.4), 9),
    strip("rear", (-5.5, -2.4), (-5.5, 2.4), 9),
)
CAMERAS = (
    camera("front", (4.1, 0, 2.5), 0),
    camera("left", (0, 1.28, 2.45), 90),
    camera("rear", (-4.1, 0, 2.5), 180),
    camera("right", (0, -1.28, 2.45), -90),
)
MARKS = tuple(
    SingleMark(
        name=f"{name}_trestle",
        at_m=np.array(at),
        shape=Quadrant(radius_m=0.06),
        position_sigma_m=0.01,
    )
    for name, at in (("front", (5.8, 0.8, 0.75)), ("left", (0.7, 1.9, 0.75)))
)
JOB = Job(
    name="Mobile library",
    vehicle=Vehicle(length_m=8.2, width_m=2.35),
    lenses=tuple(
        StatedLens(name=each.name, fitted=LENS, covariance=np.diag(LENS_SIGMA**2))
        for each in CAMERAS
    ),
    cameras=CAMERAS,
    strips=STRIPS,
    marks=MARKS,
)


class Scene:
    """A truth drawn from the sigmas of `job`, with stated faults, and what its cameras measure."""

    def __init__(
        self,
        job: Job,
        rng: np.random.Generator,
        faults: dict[Group, Array] | None = None,
        lens_sigma: Array = LENS_SIGMA,
    ):
        faults = faults or {}
        self.job, self.layout = job, planned_layout(job)
        self.poses: dict[str, Pose] = {}
        self.lenses: dict[str, Lens] = {}
        self.ends: dict[str, Array] = {}
        for each in job.strips:
            ends = np.stack([each.from_m, each.to_m])
            ends = ends + rng.normal(0, each.position_sigma_m, (2, 2))
            self.ends[each.name] = ends + faults.get(Group("strip", each.name), np.zeros(2))
        self.places = self._places(rng)
        seen = []
        for each in job.cameras:
            at = each.position_m + rng.normal(0, each.position_sigma_m, 3)
            at = at + faults.get(Group("mounting", each.name), np.zeros(3))
            pose = Pose.at(at, each.aim.rotation())
            self.poses[each.name] = pose.perturbed(np.r_[0, 0, 0, rng.normal(0, 0.01, 3)])
            lens = LENS.with_vector(LENS.as_vector() + rng.normal(0, lens_sigma))
            self.lenses[each.name] = lens
            seen.append(self._observed(each, rng))
        self.observations = tuple(seen)

    def _places(self, rng: np.random.Generator) -> dict[MarkId, Array]:
        places = {}
        for mark in self.layout.marks:
            if mark.strip is None:
                sigma = next(m.position_sigma_m for m in self.job.marks if m.name == mark.id.name)
                places[mark.id] = mark.centre_m + rng.normal(0, sigma, 3)
                continue
            own = self.job.strip(mark.strip)
            share = own.at_m[mark.index] / own.length_m
            first, last = self.ends[own.name]
            xy = first + share * (last - first) + rng.normal(0, own.mark_sigma_m, 2)
            places[mark.id] = np.array([*xy, 0.0])
        return places

    def _observed(self, each: Camera, rng: np.random.Generator) -> CameraObservations:
        pose, lens = self.poses[each.name], self.lenses[each.name]
        pixels = lens.project(pose.transform(np.array(list(self.places.values()))))
        inside = lens.contains(pixels)
        ids = tuple(i for i, yes in zip(self.places, inside, strict=True) if yes)
        n = len(ids)
        points = Points(
            ids=ids,
            planned_m=self.layout.centres_m[inside],
            mark_sigma_m=np.full(n, 0.003),
            pixels_px=pixels[inside] + rng.normal(0, PIXEL_SIGMA_PX, (n, 2)),
            covariance_px2=np.tile(PIXEL_SIGMA_PX**2 * np.eye(2), (n, 1, 1)),
        )
        prior = lens_prior(self.job.lens_of(each), LENS.width, LENS.height)
        start = (pose.perturbed(rng.normal(0, 0.03, 6)), prior.guess)
        return CameraObservations(name=each.name, prior=prior, points=points, start=start)

    def adjusted(self) -> Adjustment:
        result = adjust(self.job, self.layout, self.observations)
        assert isinstance(result, Adjustment), result
        return result

    def errors(self, result: Adjustment, name: str) -> Array:
        """Estimate minus truth of one camera, in its fourteen steps."""
        found, true = result.camera(name), self.poses[name]
        turn = found.pose.R @ true.R.T
        vector = 0.5 * np.array(
            [turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]]
        )
        place = found.pose.camera_in_ground_m - true.camera_in_ground_m
        lens = found.lens.as_vector() - self.lenses[name].as_vector()
        return np.concatenate([place, vector, lens])


def moved(observations: CameraObservations, row: int, by_px: Array) -> CameraObservations:
    """Make one wrong pick."""
    pixels = observations.points.pixels_px.copy()
    pixels[row] += by_px
    return replace(observations, points=replace(observations.points, pixels_px=pixels))


def full_weights(network: Network) -> Weights:
    return weights_of(whiteners(network.points.covariance_px2), all_points(network))


def all_points(network: Network) -> Flags:
    return np.ones(len(network.points.ids), dtype=bool)


SHARED = replace(
    JOB,
    cameras=tuple(replace(each, lens="wide") for each in CAMERAS),
    lenses=(StatedLens(name="wide", field_of_view_rad=float(np.radians(187))),),
)
READINGS = (
    LengthReading(
        kind="distance",
        between=(MarkId("left", 0), MarkId("rear", 8)),
        value_m=0.0,
        sigma_m=0.003,
        tape="yellow",
        scale_sigma=1.2e-4,
    ),
    LengthReading(
        kind="diagonal", between=(MarkId("left", 0), MarkId("front", 0)), value_m=0.0, sigma_m=0.003
    ),
    LengthReading(
        kind="distance", between=("left", MarkId("left_trestle")), value_m=0.0, sigma_m=0.004
    ),
    LengthReading(kind="offset", between=(MarkId("right", 3),), value_m=0.0, sigma_m=0.003),
    AngleReading(camera="front", tilt_rad=0.0, roll_rad=0.0, against="gravity", sigma_rad=0.0035),
    AngleReading(camera="left", tilt_rad=0.0, roll_rad=None, against="ground", sigma_rad=0.0035),
)
SLOPE = np.array([0.012, -0.008])


def read(scene: Scene, rng: np.random.Generator, off: dict[int, float] | None = None) -> Job:
    """Read off the scene's truth with errors of the stated sigmas, and faults `off` by index."""
    read_off: list[Reading] = []
    scale = 1 + rng.normal(0, 1.2e-4)
    for index, each in enumerate(READINGS):
        error = rng.normal(0, 1, 2)
        fault = (off or {}).get(index, 0.0)
        if isinstance(each, AngleReading):
            slope = SLOPE if each.against == "gravity" else np.zeros(2)
            down = np.array([*slope, -1.0]) / np.hypot(1, np.hypot(*slope))
            x, y, z = scene.poses[each.camera].R @ down
            tilt = np.arcsin(z) + each.sigma_rad * error[0] + fault
            roll = np.arctan2(x, y) + each.sigma_rad * error[1]
            reading = replace(each, tilt_rad=tilt, roll_rad=None if each.roll_rad is None else roll)
            read_off.append(reading)
            continue
        places = [
            scene.poses[name].camera_in_ground_m if name in scene.poses else scene.places[name]
            for name in each.between
        ]
        if each.kind == "offset":
            length = abs(places[0][1])
        else:
            length = float(np.linalg.norm(places[0] - places[1]))
        length = length * (scale if each.tape else 1.0) + each.sigma_m * error[0] + fault
        read_off.append(replace(each, value_m=length))
    return replace(scene.job, readings=tuple(read_off))


def panels(turn_rad: float) -> tuple[Job, tuple[CameraObservations, ...]]:
    """A job with panels on its right strip, each turned, and what is measured of their corners."""
    panel = Board(square_m=0.06, corners_along=4, corners_across=3)
    board_strip = replace(STRIPS[1], shape=panel)
    job = replace(JOB, strips=(STRIPS[0], board_strip, *STRIPS[2:]))
    layout: Layout = planned_layout(job)
    scene = Scene(job, np.random.default_rng(10))
    rng = np.random.default_rng(11)
    observations = []
    turned = np.array([[1.0, -turn_rad], [turn_rad, 1.0]])
    for seen in scene.observations:
        pose, lens = scene.poses[seen.name], scene.lenses[seen.name]
        ids, planned, true = [], [], []
        for mark_id in seen.points.ids:
            centre, place = layout.mark(mark_id).centre_m, scene.places[mark_id]
            if layout.mark(mark_id).strip != "right":
                ids, planned, true = [*ids, mark_id], [*planned, centre], [*true, place]
                continue
            for row, column in np.ndindex(3, 4):
                offset = 0.06 * np.array([column - 1.5, row - 1.0])
                ids.append(mark_id.corner(row, column))
                planned.append(centre + np.r_[offset, 0.0])
                true.append(place + np.r_[turned @ offset, 0.0])
        pixels = lens.project(pose.transform(np.array(true)))
        n = len(ids)
        points = Points(
            ids=tuple(ids),
            planned_m=np.array(planned),
            mark_sigma_m=np.full(n, 0.003),
            pixels_px=pixels + rng.normal(0, PIXEL_SIGMA_PX, (n, 2)),
            covariance_px2=np.tile(PIXEL_SIGMA_PX**2 * np.eye(2), (n, 1, 1)),
        )
        observations.append(replace(seen, points=points))
    return job, tuple(observations)


FIELD_ONLY = tuple(replace(SHARED.lenses[0], name=each.name) for each in CAMERAS)


def whole(network: Network, weights: Weights, state: State) -> tuple[Array, Array]:
    """All whitened rows and their derivative by every unknown, kept ones and eliminated."""
    rows = network.rows(network.seen(state), weights)
    points, kept, size = len(rows.r), network.kept, network.size
    by_points = np.zeros((points, 2, size))
    by_points[:, :, :kept] = network.by_kept(rows.by_camera, rows.by_world)
    for row, block in enumerate(network.points.blocks):
        if block >= 0:
            start = kept + network.world.own_size * block
            by_points[row, :, start : start + network.world.own_size] = rows.by_own[row]
    others = np.zeros((len(rows.others), size))
    others[:, :kept] = rows.by_kept_others
    single = np.diag(np.concatenate([rows.weight, rows.weight_own.ravel()]))
    residuals = [rows.r.ravel(), rows.others, rows.prior, rows.prior_own.ravel()]
    return np.concatenate(residuals), np.concatenate([by_points.reshape(-1, size), others, single])

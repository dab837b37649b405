"""A body with four cameras whose poses, fits and adjustment are set by hand."""

from __future__ import annotations

import numpy as np

from tests.fits import perfect_adjustment, perfect_camera, perfect_fit
from vision.adjustment.adjusted import AdjustedCamera, Adjustment
from vision.adjustment.plan_fit import PlanFit
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.camera.stated_lens import StatedLens
from vision.job.job import Camera, Job, StatedSeam, Vehicle
from vision.units.arrays import Array

VEHICLE = Vehicle(length_m=8.4, width_m=2.3, height_m=3.0)
LENS = Lens(width=1280, height=720, fx=395.0, fy=395.0, cx=639.5, cy=359.5)
PLACES = {
    "front": (4.22, 0.0, 2.45, 0.0),
    "left": (0.5, 1.17, 2.45, 90.0),
    "rear": (-4.22, 0.0, 2.45, 180.0),
    "right": (0.5, -1.17, 2.45, -90.0),
}
SCALE = np.array([0.01] * 3 + [0.002] * 3 + [1.0] * 4 + [1e-3, 5e-4, 2e-4, 1e-4])


def camera(name: str, place: tuple[float, float, float, float], tilt_deg: float = 45) -> Camera:
    return Camera(
        name=name,
        picture=f"{name}.jpg",
        lens="wide",
        position_m=np.array(place[:3]),
        position_sigma_m=0.02,
        aim=Aim.from_degrees(place[3], tilt_deg, 0),
    )


def job(*names: str, seams: tuple[StatedSeam, ...] = ()) -> Job:
    return Job(
        name="depot yard",
        vehicle=VEHICLE,
        lenses=(StatedLens(name="wide", fitted=LENS),),
        cameras=tuple(camera(name, PLACES[name]) for name in names or PLACES),
        strips=(),
        seams=seams,
    )


def pose(name: str, tilt_deg: float = 45) -> Pose:
    place = PLACES[name]
    aim = Aim.from_degrees(place[3], tilt_deg, 0)
    return Pose.at(np.array(place[:3]), aim.rotation())


def adjusted(name: str, at: Pose, lens: Lens = LENS) -> AdjustedCamera:
    return perfect_camera(name, at, lens, np.diag(SCALE**2))


def adjustment(*cameras: AdjustedCamera, covariance: Array | None = None) -> Adjustment:
    if covariance is None:
        covariance = np.diag(np.tile(SCALE**2, len(cameras)))
    return perfect_adjustment(cameras, covariance)


def plan_fit(at: Pose, ids: tuple[str, ...] = (), planned: Array | None = None) -> PlanFit:
    return perfect_fit(at, LENS, ids, planned)

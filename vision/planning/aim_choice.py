"""The best aim of each camera within what its bracket allows, and what 45 degrees would cost.

Best is the aim with the fewest problems of this camera (ground near the body, overlap, seams
covered, verdicts decided), then with the smallest worst ratio of two sigma to tolerance among its
own angles and its seams. The other cameras stay as intended.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from vision.camera.geometry import Aim
from vision.job.job import Bracket, Camera, Job
from vision.planning.plan import AimChoice, PlannedView, Prediction, TriedAim
from vision.planning.prediction import predict
from vision.units.arrays import Array

STEP_RAD = float(np.radians(5.0))
USUAL_TILT_RAD = float(np.radians(45.0))
"""Cameras are preset at 45 degrees with a speed square: common practice, no source."""


def aim_choices(prediction: Prediction) -> tuple[AimChoice, ...]:
    """For each camera whose bracket lets it be turned."""
    views: dict[str, tuple[PlannedView, ...]] = {}
    for view in prediction.views:
        views[view.camera] = (*views.get(view.camera, ()), view)
    return tuple(
        _choice(prediction, camera, camera.bracket, views)
        for camera in prediction.job.cameras
        if camera.bracket is not None
    )


def _choice(
    prediction: Prediction,
    camera: Camera,
    bracket: Bracket,
    views: dict[str, tuple[PlannedView, ...]],
) -> AimChoice:
    known = {name: those for name, those in views.items() if name != camera.name}

    def tried(aim: Aim) -> TriedAim:
        return _tried(_predicted(prediction, camera, aim, known), camera.name, aim)

    intended = _tried(prediction, camera.name, camera.aim)
    every = [tried(aim) for aim in _aims(camera, bracket)]
    at_45 = tried(replace(camera.aim, tilt_rad=USUAL_TILT_RAD))
    # The intended aim comes first, so that it stays where another is no better.
    best = min([intended, *every], key=lambda one: (len(one.problems), round(one.worst, 3)))
    free = {"pan": bracket.pan_rad, "tilt": bracket.tilt_rad}
    return AimChoice(
        camera=camera.name,
        adjustable=tuple(name for name, limits in free.items() if limits is not None),
        best=best,
        intended=intended,
        at_45=at_45,
    )


def _predicted(
    prediction: Prediction,
    camera: Camera,
    aim: Aim,
    known: dict[str, tuple[PlannedView, ...]],
) -> Prediction:
    job: Job = prediction.job
    turned = replace(camera, aim=aim)
    cameras = tuple(turned if each.name == camera.name else each for each in job.cameras)
    return predict(replace(job, cameras=cameras), prediction.light, prediction.size_px, known=known)


def _aims(camera: Camera, bracket: Bracket) -> Iterator[Aim]:
    pans = _steps(bracket.pan_rad, camera.aim.pan_rad, 2 * STEP_RAD)
    for tilt in _steps(bracket.tilt_rad, camera.aim.tilt_rad, STEP_RAD):
        for pan in pans:
            yield Aim(pan_rad=float(pan), tilt_rad=float(tilt), roll_rad=camera.aim.roll_rad)


def _steps(limits: tuple[float, float] | None, intended: float, step: float) -> Array:
    """Angles from the lower limit to the upper, both included; the intended where it is fixed."""
    if limits is None:
        return np.array([intended])
    count = max(int(np.ceil((limits[1] - limits[0]) / step - 1e-9)), 1)
    return np.linspace(limits[0], limits[1], count + 1)


def _tried(prediction: Prediction, camera: str, aim: Aim) -> TriedAim:
    limits = [limit for limit in prediction.limits if camera in limit.cameras]
    problems = tuple(each for each in prediction.problems if camera in each.cameras)
    lost = camera not in {each.name for each in prediction.cameras}
    return TriedAim(
        pan_rad=aim.pan_rad,
        tilt_rad=aim.tilt_rad,
        worst=limits[0].ratio if limits and not lost else float("inf"),
        limit=limits[0] if limits and not lost else None,
        problems=problems,
    )

"""Whether a camera, or the vehicle with all its cameras, moved between pictures."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.camera.geometry import Pose, cross_matrix
from vision.camera.statistics import chi_square_limit
from vision.identification.shots import Combined, Step
from vision.inspection.settings import SETTINGS
from vision.units.arrays import Array
from vision.units.reason import Reason


def movements(shots: Mapping[str, Combined]) -> tuple[Reason, ...]:
    """What moved between the pictures of cameras, by each camera's name.

    A vehicle that rocks turns and shifts all its cameras as one body; a loose bracket moves one.
    The pictures of all cameras are compared by their number: they are taken in rounds.
    """
    found: list[Reason] = []
    told: set[str] = set()
    for number in sorted({step.shot for each in shots.values() for step in each.steps}):
        steps = {
            name: step
            for name, each in shots.items()
            if name not in told
            for step in each.steps
            if step.shot == number
        }
        moved = [name for name, step in steps.items() if step.moved]
        if len(moved) > 1 and _as_one_body(shots, steps):
            turn = max(steps[name].turn_rad for name in moved)
            found.append(Reason("vehicle-moved", shot=number + 1, turn_rad=turn))
            told |= steps.keys()
            continue
        found += [
            Reason("camera-moved", camera=name, shot=number + 1, turn_rad=steps[name].turn_rad)
            for name in moved
        ]
        told |= set(moved)
    unlike = [
        Reason("shot-unlike", camera=name, shot=number + 1)
        for name, each in shots.items()
        for number in each.unlike
    ]
    return (*found, *unlike)


def _as_one_body(shots: Mapping[str, Combined], steps: Mapping[str, Step]) -> bool:
    """Whether one shift and one turn of the body explain every camera's step.

    Six numbers for all of them; with two cameras six are left to judge it by.
    """
    normal, right, squares = np.zeros((6, 6)), np.zeros(6), 0.0
    for name, step in steps.items():
        design = _of_body(shots[name].outcome.fit.pose)
        weight = np.linalg.inv(step.covariance)
        normal += design.T @ weight @ design
        right += design.T @ weight @ step.step
        squares += float(step.step @ weight @ step.step)
    body = np.linalg.solve(normal, right)
    left, degrees = squares - float(right @ body), 6 * (len(steps) - 1)
    allowed = chi_square_limit(0.999, degrees)
    return left <= max(allowed, SETTINGS.sources.unexplained * squares)


def _of_body(pose: Pose) -> Array:
    """A camera's step (6, 6) by the shift and turn of the body that carries it, in ground axes.

    The turn in a step is that of the coordinates, the other way round.
    """
    place = pose.camera_in_ground_m
    return np.block([[np.eye(3), -cross_matrix(place)], [np.zeros((3, 3)), -pose.R]])

"""What a turn does to the picture from above, where it passes from one view to the next.

A display goes on drawing with the pose that it was set with. A place on a seam that the turned
camera sees is then drawn where its ray would meet the ground if nothing had turned.
"""

from __future__ import annotations

import numpy as np

from vision.camera.geometry import Aim, Pose
from vision.comparison.body.values import BodyEdges, BodyTurn, SeamEffect
from vision.inspection.verdict.rule import length_and_sigma
from vision.job.job import Job
from vision.units.arrays import Array
from vision.views.seams.lines import seam_lines

STEP_RAD = 1e-5


def seam_effects(job: Job, edges: BodyEdges, turn: BodyTurn) -> tuple[SeamEffect, ...]:
    """The farthest that the camera's turn moves its view along each of its seams."""
    found = []
    for line in seam_lines(job):
        if edges.camera not in line.between:
            continue
        points = np.concatenate([line.points_m(), np.zeros((len(line.points_m()), 1))], axis=1)
        moved = drawn_off_m(edges.pose, points, turn.aim_rad)
        slopes = np.stack(
            [(drawn_off_m(edges.pose, points, turn.aim_rad + e) - moved) / STEP_RAD
             for e in STEP_RAD * np.eye(3)], axis=-1,
        )  # fmt: skip
        spread = slopes * turn.aim_sigma_rad
        figures = [
            length_and_sigma(m, s @ s.T)
            for m, s in zip(moved, spread, strict=True)
            if np.isfinite(m).all()
        ]
        if figures:
            length, sigma = max(figures)
            found.append(SeamEffect(between=line.between, moved_m=length, sigma_m=sigma))
    return tuple(found)


def drawn_off_m(pose: Pose, points_m: Array, aim_rad: Array) -> Array:
    """How far (n, 2) places (n, 3) on the ground are drawn off after a change of aim (3,).

    NaN where the old ray does not come down.
    """
    pan, tilt, roll = (float(each) for each in pose.aim.as_array() + aim_rad)
    after = Pose.at(
        pose.camera_in_ground_m, Aim(pan_rad=pan, tilt_rad=tilt, roll_rad=roll).rotation()
    )
    ways = after.transform(points_m) @ pose.R
    with np.errstate(divide="ignore", invalid="ignore"):
        far = np.where(ways[:, 2] < 0, -pose.camera_in_ground_m[2] / ways[:, 2], np.nan)
    return (pose.camera_in_ground_m[:2] + far[:, None] * ways[:, :2]) - points_m[:, :2]

"""What the report draws on pictures and plans points where the figures say.

Does not prove its looks: those are looked at in a browser.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.camera.geometry import Aim, Pose
from vision.documents.report.overlay import horizon
from vision.documents.report.plan import drawn_plan
from vision.documents.report.todo import todo
from vision.documents.top_view import top_view_grid
from vision.inspection.verdict.rule import Action
from vision.units.reason import Reason


def test_a_turn_points_the_way_that_the_camera_must_look(inspection):
    """Up is up the picture; to its left is to the left, and to the right where it is mirrored."""
    up, left = (float(np.radians(-6)), 0.0), (0.0, float(np.radians(6)))
    for name, (tilt, pan), way in (
        ("front", up, (0, -1)),
        ("front", left, (-1, 0)),
        ("rear", left, (1, 0)),
    ):
        turn = Action(
            what=Reason("tilt-down-to-ground", camera="front"),
            turn_rad=(pan, tilt, 0.0),
            sigma_rad=(0.01, 0.01, 0.01),
        )
        cameras = tuple(
            replace(each, actions=(turn,) if each.camera.name == name else ())
            for each in inspection.cameras
        )
        (step,) = todo(replace(inspection, cameras=cameras, actions=(turn,)), "none")
        assert step["picture"]["camera"] == name
        (drawn,) = step["picture"]["arrows"]
        along = np.array([drawn["x"] - drawn["u"], drawn["y"] - drawn["v"]])
        assert along @ np.array(way) > 0.95 * np.linalg.norm(along)


def test_gaps_are_drawn_magnified_with_the_ellipse_of_their_covariance(inspection):
    """One sigma of 4 cm along the seam's direction and 1 cm across: so lies the ellipse."""
    seam = next(each for each in inspection.seams if each.gap is not None)
    axis = np.array([np.cos(0.3), np.sin(0.3)])
    across = np.array([-axis[1], axis[0]])
    spread = 0.04**2 * np.outer(axis, axis) + 0.01**2 * np.outer(across, across)
    gap = replace(
        seam.gap,
        gaps_m=np.tile([0.03, -0.01], (len(seam.gap.points_m), 1)),
        covariances_m2=np.tile(spread, (len(seam.gap.points_m), 1, 1)),
    )
    plan = drawn_plan(replace(inspection, seams=(replace(seam, gap=gap),)))
    grid = top_view_grid(inspection.job.vehicle)
    factor = plan["magnification"]
    assert factor == 5  # 12 cm at most, and 80 cm to draw it in
    drawn = plan["seams"][0]["gaps"][0]
    tip = grid.pixel_px(gap.points_m[0] + factor * np.array([0.03, -0.01]))
    assert np.allclose([drawn["x"], drawn["y"]], tip, atol=0.06)
    assert drawn["long"] == pytest.approx(2 * factor * 0.04 / grid.scale_m)
    assert drawn["short"] == pytest.approx(2 * factor * 0.01 / grid.scale_m)
    screen = grid.pixel_px(axis) - grid.pixel_px(np.zeros(2))
    turned = np.radians(drawn["turn"])
    assert abs(screen @ [np.cos(turned), np.sin(turned)]) == pytest.approx(np.linalg.norm(screen))


def test_the_horizon_of_a_level_camera_is_a_straight_line(inspection):
    camera = inspection.cameras[0]
    level = Pose.at(camera.camera.position_m, Aim.from_degrees(0, 0, 0).rotation())
    adjusted = replace(camera.adjusted, pose=level)
    lines = horizon(replace(camera, adjusted=adjusted))
    rows = [float(place.split(",")[1]) for line in lines for place in line.split()]
    assert len(rows) > 100
    assert np.allclose(rows, camera.adjusted.lens.cy, atol=0.06)

"""What the report draws on pictures and plans points where the figures say.

Does not prove its looks: those are looked at in a browser.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.camera.geometry import Aim, Pose
from vision.documents.report.overlay import horizon
from vision.documents.report.plan import BAR_M, TIMES, drawn_plan
from vision.documents.report.seam_views import _two_colours
from vision.documents.report.todo import pictured
from vision.documents.steps import Step, steps
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
        turned = replace(inspection, cameras=cameras, actions=(turn,))
        (step,) = pictured(turned, steps(turned), "none")
        assert step["picture"]["camera"] == name
        (drawn,) = step["picture"]["arrows"]
        along = np.array([drawn["x"] - drawn["u"], drawn["y"] - drawn["v"]])
        assert along @ np.array(way) > 0.95 * np.linalg.norm(along)


def with_gap(inspection, gap_m, verdict):
    """The same with one seam, whose views lie apart by `gap_m` (2,) all along it."""
    seam = next(each for each in inspection.seams if each.gap is not None)
    gap = replace(seam.gap, gaps_m=np.tile(gap_m, (len(seam.gap.points_m), 1)))
    return replace(inspection, seams=(replace(seam, gap=gap, verdict=verdict),)), gap


@pytest.mark.parametrize("gap_m", [[0.03, -0.01], [0.3, 0.1]])
def test_gaps_are_drawn_at_one_scale_and_only_where_they_are_beyond(inspection, gap_m):
    """The same factor for small gaps and for large ones, as the bar shows; the seam between."""
    torn, gap = with_gap(inspection, gap_m, "beyond")
    plan = drawn_plan(torn, ())
    grid = top_view_grid(inspection.job.vehicle)
    drawn = plan["seams"][0]["gaps"][0]
    ends = np.array([[drawn["x1"], drawn["y1"]], [drawn["x2"], drawn["y2"]]])
    half = TIMES * np.array(gap_m) / 2
    wanted = grid.pixel_px(np.stack([gap.points_m[0] - half, gap.points_m[0] + half]))
    assert ends == pytest.approx(wanted)
    bar_px = plan["bar"]["x2"] - plan["bar"]["x1"]
    assert np.linalg.norm(ends[1] - ends[0]) / bar_px == pytest.approx(
        np.linalg.norm(gap_m) / BAR_M[0]
    )
    whole, _ = with_gap(inspection, gap_m, "within")
    assert drawn_plan(whole, ())["seams"][0]["gaps"] == []


def test_every_arrow_on_the_plan_goes_the_way_of_its_step(inspection):
    """A strip's from where it lies to where it goes; a camera's out from the body to look up."""
    move = Action(what=Reason("measure-again"), move_m=(-0.04, 0.0), move_sigma_m=(0.004, 0.004))
    up = Action(what=Reason("turn"), turn_rad=(0.0, -0.1, 0.0), sigma_rad=(0.01,) * 3)
    strips = (replace(inspection.strips[0], actions=(move,)),)
    cameras = (replace(inspection.cameras[0], actions=(up,)),)
    made = replace(inspection, strips=strips, cameras=cameras, raised_marks=())
    part = {"owner": "", "head": "", "lines": (), "how": (), "then": ()}
    every = [
        Step(part=made.strips[0], action=move, **part),
        Step(part=made.cameras[0], action=up, **part),
    ]
    moved, turned = drawn_plan(made, every)["steps"]
    grid = top_view_grid(made.job.vehicle)
    middle = grid.pixel_px(np.array([5.0, 0.0]))
    assert (moved["number"], turned["number"]) == (1, 2)
    # The front is up: back is down the plan, and so much longer than it is.
    assert [moved["x"], moved["y"]] == pytest.approx(middle, abs=0.06)
    assert moved["y"] - moved["v"] == pytest.approx(TIMES * 0.04 / grid.scale_m, abs=0.11)
    assert turned["y"] < turned["v"]


def test_two_centimetres_apart_show_in_two_colours():
    """A tape 15 cm wide, once as it is and once 2 cm aside, at half a centimetre a pixel."""
    ground = np.full((200, 200, 3), 90, dtype=np.uint8)
    first, second = ground.copy(), ground.copy()
    first[:, 80:110] = 220
    second[:, 84:114] = 220
    both = _two_colours(first, second).astype(int)
    blue, _, red = both[100].T
    assert (red - blue)[81:83].min() > 60
    assert (blue - red)[111:113].min() > 60
    assert np.abs(red - blue)[90:104].max() < 40
    same = _two_colours(first, (first * 0.5).astype(np.uint8)).astype(int)
    assert np.abs(same[..., 0] - same[..., 2]).max() < 12


def test_the_horizon_of_a_level_camera_is_a_straight_line(inspection):
    camera = inspection.cameras[0]
    level = Pose.at(camera.camera.position_m, Aim.from_degrees(0, 0, 0).rotation())
    adjusted = replace(camera.adjusted, pose=level)
    lines = horizon(replace(camera, adjusted=adjusted))
    rows = [float(place.split(",")[1]) for line in lines for place in line.split()]
    assert len(rows) > 100
    assert np.allclose(rows, camera.adjusted.lens.cy, atol=0.06)

"""Proves which marks a plan counts as seen, at places worked out by hand, and how large they are.

Does not prove what is seen in a real picture.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.camera.geometry import Pose
from vision.camera.lens_prior import lens_prior
from vision.job.job import SingleMark
from vision.job.kinds.cross import Cross
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.planning.assessment import Prediction
from vision.planning.prediction import predict


def views_of(prediction: Prediction, camera: str) -> dict[str, object]:
    return {view.mark: view for view in prediction.views if view.camera == camera}


def test_what_is_seen_and_what_is_in_the_way(prediction):
    left, front = views_of(prediction, "left"), views_of(prediction, "front")
    assert left[MarkId("left", 8)].status == "seen"
    # The right strip lies behind the body: the left camera never shows any of it.
    assert "seen" not in {left[MarkId("right", i)].status for i in range(17)}
    # Beside the body's front corner, 4.1 m ahead: half of it is behind the body for the front one.
    assert (front[MarkId("left", 15)].status, front[MarkId("left", 15)].hidden_by) == (
        "hidden",
        "the body",
    )
    assert front[MarkId("left", 16)].status == "seen"
    assert left[MarkId("left_carton")].status == "not-measured"


def test_size_and_pixel_are_those_of_the_lens(job, prediction):
    view = views_of(prediction, "left")[MarkId("left", 8)]
    camera = job.camera("left")
    lens = lens_prior(job.lens_of(camera), 1280, 720).guess
    pose = Pose.at(camera.position_m, camera.aim.rotation())
    mark = planned_layout(job).mark(MarkId("left", 8)).centre_m
    ends = lens.project(pose.transform(mark + np.array([[-0.12, 0, 0], [0.12, 0, 0]])))
    across = lens.project(pose.transform(mark + np.array([[0, -0.082, 0], [0, 0.082, 0]])))
    shorter = min(np.linalg.norm(ends[1] - ends[0]), np.linalg.norm(across[1] - across[0]))
    assert view.extent_px == pytest.approx(shorter, rel=0.01)
    np.testing.assert_allclose(view.pixel_px, lens.project(pose.transform(mark)), atol=1e-9)


def test_a_raised_marks_stand_hides_what_is_behind_it(job):
    # The left camera at (0, 1.275, 2.45); a stand 2 m out, 1 m high, and a mark 1 m behind it:
    # the ray to the mark passes the stand at 2.45 (1 - 2 / 3) = 0.82 m, below its top.
    shape = Cross(arm_along_m=0.1, arm_across_m=0.1, line_m=0.02)
    stand = SingleMark(
        name="stand", at_m=np.array([0, 3.275, 1.0]), shape=shape, position_sigma_m=0.01
    )
    behind = replace(stand, name="behind", at_m=np.array([0, 4.275, 0.0]))
    beside = replace(stand, name="beside", at_m=np.array([1.5, 4.275, 0.0]))
    views = views_of(predict(replace(job, marks=(stand, behind, beside))), "left")
    assert (views[MarkId("behind")].status, views[MarkId("behind")].hidden_by) == (
        "hidden",
        "stand",
    )
    assert views[MarkId("beside")].status == "seen"
    assert views[MarkId("stand")].status == "seen"


def test_a_mark_above_its_camera_shows_its_underside(job):
    low = replace(job.cameras[0], position_m=np.array([4.22, 0.0, 0.6]))
    shape = Cross(arm_along_m=0.2, arm_across_m=0.2, line_m=0.04)
    high = SingleMark(
        name="high", at_m=np.array([6.0, 0.0, 0.75]), shape=shape, position_sigma_m=0.01
    )
    lower = replace(high, name="lower", at_m=np.array([6.0, 1.0, 0.2]))
    marks = replace(job, cameras=(low, *job.cameras[1:]), marks=(high, lower))
    views = views_of(predict(marks), "front")
    assert views[MarkId("high")].status == "from-below"
    assert views[MarkId("lower")].status == "seen"


def test_a_flat_view_of_a_mark_from_its_corner_is_no_view_of_it(job):
    # 30 cm above a mark 3 m ahead and 3 m aside, both lines are long, and hardly apart.
    shape = Cross(arm_along_m=0.2, arm_across_m=0.2, line_m=0.04)
    low = replace(job.cameras[0], position_m=np.array([4.22, 0.0, 0.5]))
    at_m = np.array([7.22, 3.0, 0.2])
    corner = SingleMark(name="corner", at_m=at_m, shape=shape, position_sigma_m=0.01)
    marks = (corner, replace(corner, name="ground", at_m=np.array([6.0, 1.0, 0.0])))
    views = views_of(predict(replace(job, cameras=(low, *job.cameras[1:]), marks=marks)), "front")
    assert views[MarkId("corner")].status == "small"
    assert views[MarkId("corner")].extent_px < 4.0
    assert views[MarkId("ground")].status == "seen"

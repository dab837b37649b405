"""What a camera sees of planned points: by place, by size, and from which side.

Proves, against figures worked out by hand, every answer that `views` can give and their order, that
sizes in the picture are what the marks' ends span, and their derivative against differences.

Does not prove that a mark of such a size is found.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.job.job import Vehicle
from vision.job.kinds.cross import Cross
from vision.job.layout import PlannedMark
from vision.job.mark_id import MarkId
from vision.job.visibility import View, d_pixel_d_mark, ends_m, marks_in_picture, sees, views

BODY = Vehicle(length_m=8.0, width_m=2.4, height_m=3.0)
LEVEL = Aim.from_degrees(90.0, 0.0, 0.0)
POSE = Pose.at(np.array([0.0, 1.25, 2.5]), Aim.from_degrees(90.0, 45.0, 0.0).rotation())
LENS = Lens(width=1280, height=720, fx=400.0, fy=400.0, cx=639.5, cy=359.5)


def mark(x: float, y: float, z: float = 0.0, heading_deg: float = 0.0) -> PlannedMark:
    return PlannedMark(
        id=MarkId("left", 0),
        strip=None,
        index=0,
        centre_m=np.array([x, y, z]),
        heading_rad=float(np.radians(heading_deg)),
        shape=Cross(arm_along_m=0.18, arm_across_m=0.06, line_m=0.03),
        tape_width_m=None,
        ink="dark",
    )


def test_every_place_has_its_answer() -> None:
    level = Pose.at(POSE.camera_in_ground_m, LEVEL.rotation())
    # Before it; behind it, where the lens still reaches; at its foot, 85 degrees off its axis.
    places = np.array([[0.0, 5.0, 0.0], [0.0, -3.0, 2.4], [0.0, 1.45, 0.0]])
    expected = [View.SEEN, View.OUTSIDE_PICTURE, View.OUTSIDE_PICTURE]
    assert views(BODY, level, LENS, places).tolist() == expected
    expected[1:] = [View.OUTSIDE_LENS] * 2
    narrow = views(BODY, level, LENS, places, half_field_rad=np.radians(80))
    assert narrow.tolist() == expected
    ground = places[[0, 2], :2]
    np.testing.assert_array_equal(sees(BODY, level, LENS, ground), [True, False])


def test_a_thing_is_hidden_where_any_part_of_it_is() -> None:
    front = Pose.at(np.array([4.0, 0.0, 2.5]), Aim.from_degrees(0.0, 45.0, 0.0).rotation())
    shown, cut = np.array([4.5, 2.0, 0.0]), np.array([3.0, 2.0, 0.0])
    assert views(BODY, front, LENS, shown[None]).tolist() == [View.SEEN]
    both = np.stack([shown, cut])[None]
    assert views(BODY, front, LENS, both).tolist() == [View.HIDDEN]


def test_small_marks_and_marks_above_the_camera_do_not_count() -> None:
    marks = [mark(0.0, 4.0), mark(0.0, 40.0), mark(0.0, 4.0, z=2.6)]
    aimed = Pose.at(POSE.camera_in_ground_m, Aim.from_degrees(90.0, 20.0, 0.0).rotation())
    found = marks_in_picture(BODY, aimed, LENS, marks)
    assert found.views.tolist() == [View.SEEN, View.SMALL, View.FROM_BELOW]
    near = marks_in_picture(BODY, aimed, LENS, marks[:1], least_px=found.sizes_px[0] + 0.01)
    assert near.views.tolist() == [View.SMALL]


def test_no_marks_are_no_answers() -> None:
    assert marks_in_picture(BODY, POSE, LENS, []).views.shape == (0,)


@pytest.mark.parametrize("heading_deg", [0.0, 35.0])
def test_a_size_is_what_the_ends_span(heading_deg: float) -> None:
    one = mark(0.3, 4.0, heading_deg=heading_deg)
    tiny = replace(one, shape=Cross(arm_along_m=1e-4, arm_across_m=4e-5, line_m=1e-5))
    (ends,) = ends_m([tiny])
    pixels = LENS.project(POSE.transform(ends))
    along, across = (float(np.linalg.norm(pixels[i] - pixels[i + 1])) for i in (1, 3))
    _, slopes = d_pixel_d_mark(POSE, LENS, [tiny])
    expected = 2 * np.linalg.norm(slopes[0], axis=0) * [1e-4, 4e-5]
    np.testing.assert_allclose([along, across], expected, rtol=1e-6)
    large = marks_in_picture(BODY, POSE, LENS, [one]).sizes_px[0]
    assert large == pytest.approx(across / 4e-5 * 0.06, rel=1e-3)

"""Proves where the outlines of a target picture lie: as OpenCV's `fisheye` module projects them.

Does not prove that a person finds the way by them, nor the fit they are seen through.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.camera.geometry import Aim, Pose
from vision.documents.target_picture import target


def turned(found, pan_deg=0.0, tilt_deg=0.0, roll_deg=0.0):
    """The same camera, adjusted as if it looked so much beside its intended aim."""
    intended = np.degrees(found.camera.aim.as_array())
    aim = Aim.from_degrees(*(intended + np.array([pan_deg, tilt_deg, roll_deg])))
    pose = Pose.at(found.adjusted.pose.camera_in_ground_m, aim.rotation())
    return replace(found, adjusted=replace(found.adjusted, pose=pose))


def by_opencv(found, place_m):
    """Where the camera, looking as intended, shows a place less than 90 degrees off its axis."""
    lens, R = found.adjusted.lens, found.camera.aim.rotation()
    seen = R @ (place_m - found.adjusted.pose.camera_in_ground_m)
    matrix = np.array([[lens.fx, 0, lens.cx], [0, lens.fy, lens.cy], [0, 0, 1.0]])
    pixels, _ = cv2.fisheye.projectPoints(
        seen.reshape(1, 1, 3), np.zeros(3), np.zeros(3), matrix, np.array(lens.k)
    )
    u, v = pixels.ravel()
    return np.array([found.picture.width - 1 - u if found.picture.mirrored else u, v])


def mirrored(found):
    return replace(found, picture=replace(found.picture, mirrored=True))


@pytest.fixture
def front(inspection):
    return inspection.cameras[0]


@pytest.mark.parametrize("delivered", [lambda found: found, mirrored])
def test_marks_stand_where_the_intended_aim_shows_them(inspection, front, delivered):
    found = delivered(turned(front, pan_deg=4, tilt_deg=-6, roll_deg=3))
    drawn = target(inspection.job, found)
    assert not drawn.rough
    assert len(drawn.marks) == 4
    strip = [mark for mark in drawn.marks if mark.id.strip == "front"]
    for mark, y in zip(strip, (-1.0, 0.0, 1.0), strict=True):
        assert mark.centre_px == pytest.approx(by_opencv(found, np.array([5.0, y, 0.0])), abs=1e-6)
        # A cross is two rectangles round its centre.
        assert [len(each) for each in mark.outlines_px] == [4, 4]
        assert np.mean(mark.outlines_px[0], axis=0) == pytest.approx(mark.centre_px, abs=0.5)


def test_a_mirrored_picture_has_them_mirrored(inspection, front):
    plain, turned_over = (target(inspection.job, f) for f in (front, mirrored(front)))
    for one, other in zip(plain.marks, turned_over.marks, strict=True):
        assert other.centre_px[0] == pytest.approx(front.picture.width - 1 - one.centre_px[0])
        assert other.centre_px[1] == pytest.approx(one.centre_px[1])


def test_edges_of_the_tape_run_on_both_sides_of_its_marks(inspection, front):
    drawn = target(inspection.job, front)
    # Half the tape's width to the right of the strip, and to its left.
    near = [by_opencv(front, np.array([5.0 + side, -1.0, 0.0])) for side in (0.09, -0.09)]
    assert len(drawn.tapes_px) == 2
    for edge, place in zip(drawn.tapes_px, near, strict=True):
        assert np.abs(edge - place).sum(axis=1).min() < 1.5


def test_without_a_fit_the_way_is_shown_from_where_the_camera_is_stated_to_sit(inspection):
    unknown = next(each for each in inspection.cameras if each.adjusted is None)
    assert target(inspection.job, unknown).rough


def test_what_the_body_hides_is_not_drawn(inspection):
    rear = inspection.cameras[2]
    assert rear.camera.name == "rear"
    assert target(inspection.job, rear).marks == ()

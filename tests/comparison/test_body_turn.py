"""Proves that a camera's turn against the body is had from edges alone, and how sure it is.

Proves, on drawn edges: the derivatives of predicted places; a known turn of a picture is found, far
turns too, with a sigma that holds it; the band along the image circle says nothing; edges that move
together otherwise are told; what is kept comes back from its text.

Does not prove that a body's edges last: `tests/accuracy` has pairs of pictures.
"""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.comparison.body.judging import turn_of
from vision.comparison.body.region import circle_radius, within_circle
from vision.comparison.body.stored import edges_of_plain, plain_edges
from vision.comparison.body.turn import predicted, sight_of
from vision.comparison.body.values import BodyEdges, BodyTurn, Unkept
from vision.marks.strands.find import find_pieces
from vision.marks.strands.pieces import normals_of
from vision.units.reason import Reason

LENS = Lens(width=640, height=360, fx=215.0, fy=215.0, cx=321.0, cy=178.0, k=[-0.03, 0.004, 0, 0])
POSE = Pose.at(np.array([4.1, 0.0, 2.5]), Aim.from_degrees(0, 45, 0).rotation())


def drawn(turn_deg=(0.0, 0.0, 0.0), gain=1.0, noise=1.0, seed=0, moved=(), negative=False):
    """A picture of quadrilaterals on the sphere of directions, seen after a turn of the camera.

    Quadrilaterals whose numbers are in `moved` are turned by 1.5 degrees more.
    """
    shapes = np.random.default_rng(5)
    picture = np.full((LENS.height * 4, LENS.width * 4), 31, dtype=np.uint8)
    for number in range(26):
        centre = LENS.unproject(shapes.uniform([60, 40], [580, 330]))
        around = np.linspace(0, 2 * np.pi, 4, endpoint=False) + shapes.uniform(0, 1.5)
        size = shapes.uniform(0.05, 0.16)
        u, v = np.linalg.svd(centre[None])[2][1:]
        corners = centre + size * (np.cos(around)[:, None] * u + np.sin(around)[:, None] * v)
        outline = np.concatenate(
            [np.linspace(a, b, 20) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)]
        )
        w = np.radians(turn_deg) + (np.radians([0, 1.5, 0]) if number in moved else 0)
        pixels = LENS.project(outline @ Rotation.from_rotvec(w).as_matrix().T)
        level = int(shapes.integers(5, 128))
        at = np.rint(((pixels + 0.5) * 4 - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(picture, [at], level, cv2.LINE_AA, 4)
    light = cv2.resize(
        picture.astype(np.float32) / 255, (LENS.width, LENS.height), interpolation=cv2.INTER_AREA
    )
    light = gain * cv2.GaussianBlur(0.55 - light if negative else light, (0, 0), 0.6)
    levels = 255 * np.where(
        light < 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    )
    rng = np.random.default_rng(seed)
    bgr = levels[..., None] + rng.normal(0, noise, (*levels.shape, 3))
    return np.clip(np.rint(bgr), 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def edges() -> BodyEdges:
    pieces = find_pieces(drawn(), np.ones((LENS.height, LENS.width), dtype=bool))
    n = len(pieces)
    return BodyEdges(
        camera="front",
        pose=POSE,
        lens=LENS,
        covariance=1e-6 * np.eye(14),
        pieces=pieces,
        depth_m=np.full(n, 1.5),
        depth_log_sigma=np.full(n, 0.4),
        face=("front",) * n,
    )


def turned_aim(turn_deg):
    R = Rotation.from_rotvec(np.radians(turn_deg)).as_matrix() @ POSE.R
    return Pose.at(POSE.camera_in_ground_m, R).aim.minus(POSE.aim)


def test_derivatives_of_predicted_places(edges):
    sight = sight_of(edges.pieces, LENS, edges.depth_m, edges.depth_log_sigma)
    state = np.r_[np.radians([1.0, -0.7, 0.4]), 0.004, -0.002, 0.003]
    _, slopes = predicted(sight, LENS, state)
    for axis in range(6):
        ways = []
        for step in (1e-6, -1e-6):
            if axis < 3:
                little = Rotation.from_rotvec(step * np.eye(3)[axis])
                after = (little * Rotation.from_rotvec(state[:3])).as_rotvec()
                ways.append(predicted(sight, LENS, np.r_[after, state[3:]])[0])
            else:
                ways.append(predicted(sight, LENS, state + step * np.eye(6)[axis])[0])
        numeric = (ways[0] - ways[1]) / 2e-6
        np.testing.assert_allclose(slopes[..., axis], numeric, rtol=1e-5, atol=2e-3)


def test_places_and_normals_of_pieces(edges):
    pieces = edges.pieces
    middle = pieces.places(3)[:, 1]
    np.testing.assert_allclose(middle, pieces.middle_px, atol=1e-9)
    across = normals_of(pieces.places(3))[:, 1]
    np.testing.assert_allclose(across, pieces.axes[0], atol=1e-6)


@pytest.mark.parametrize(
    ("turn_deg", "gain"),
    [((0, 0, 0), 1.0), ((0.5, 0, 0), 0.4), ((-0.3, 0.4, 0.5), 1.8), ((4.0, -3.0, 2.0), 0.7)],
)
def test_a_turn_is_found_whatever_the_light(edges, turn_deg, gain):
    found = turn_of(edges, drawn(turn_deg, gain=gain, seed=3))
    assert isinstance(found, BodyTurn)
    off = found.aim_rad - turned_aim(turn_deg)
    assert (np.abs(off) < 3 * found.aim_sigma_rad).all(), np.degrees(off)
    assert np.degrees(np.abs(off)).max() < 0.1
    assert found.turned == (max(map(abs, turn_deg)) > 0)


def test_a_picture_turned_to_another_polarity_is_the_same_body(edges):
    """Where the sun comes out, what was the darker side of an edge may be the brighter."""
    found = turn_of(edges, drawn(negative=True))
    assert isinstance(found, BodyTurn)
    assert not found.turned


def test_half_the_size(edges):
    small = cv2.resize(drawn((0.5, 0, 0)), (320, 180), interpolation=cv2.INTER_AREA)
    found = turn_of(edges, small)
    assert isinstance(found, BodyTurn)
    assert np.degrees(np.abs(found.aim_rad - turned_aim((0.5, 0, 0)))).max() < 0.15


def test_another_picture_is_not_judged(edges):
    rng = np.random.default_rng(8)
    noise = cv2.GaussianBlur(rng.uniform(0, 255, (360, 640, 3)), (0, 0), 3)
    other = np.clip(128 + 6 * (noise - 128), 0, 255).astype(np.uint8)
    found = turn_of(edges, other)
    assert isinstance(found, Reason)
    assert found.code == "body-too-few"


def test_a_dark_picture_is_not_judged(edges):
    assert isinstance(turn_of(edges, drawn(gain=0.0005, noise=4.0)), Reason)


def test_two_parts_that_moved_apart_are_told(edges):
    found = turn_of(edges, drawn(moved=range(0, 26, 2)))
    assert isinstance(found, Reason)
    assert found.code in ("body-two-parts", "body-too-few")


def test_a_few_edges_that_moved_do_not_matter(edges):
    found = turn_of(edges, drawn(moved=(0, 5, 9)))
    assert isinstance(found, BodyTurn)
    assert not found.turned


def test_the_image_circle_says_nothing():
    v, u = np.mgrid[:360, :640]
    light = np.where(np.hypot(u - LENS.cx, v - LENS.cy) < 250, 0.3, 0.0)
    radius = circle_radius(light, LENS)
    assert radius == pytest.approx(250, abs=4)
    clear = within_circle(LENS, radius)
    assert not clear[178, 321 + 245]
    assert clear[178, 321 + 220]
    assert np.isinf(circle_radius(np.full((360, 640), 0.3), LENS))


def test_what_is_kept_comes_back(edges):
    unkept = Unkept(camera="rear", reason=Reason("body-no-edges", pieces=3))
    read = edges_of_plain(json.loads(json.dumps(plain_edges([edges, unkept]))))
    assert isinstance(read[0], BodyEdges)
    assert read[1] == unkept
    np.testing.assert_allclose(read[0].pieces.middle_px, edges.pieces.middle_px, atol=1e-3)
    before, after = turn_of(edges, drawn((0.5, 0, 0))), turn_of(read[0], drawn((0.5, 0, 0)))
    assert isinstance(before, BodyTurn)
    assert isinstance(after, BodyTurn)
    np.testing.assert_allclose(after.aim_rad, before.aim_rad, atol=np.radians(0.005))

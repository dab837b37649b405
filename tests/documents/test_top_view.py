"""Proves where the ground, the sectors and the vehicle lie in the top view.

Does not prove that the picture is pretty, nor the fits it is made from.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.conftest import COLOURS_BGR
from vision.documents.top_view import (
    MAX_SIDE_PX,
    merged_picture,
    sectors,
    top_view,
    top_view_grid,
)
from vision.job.job import Vehicle


@pytest.fixture
def grid(inspection):
    return top_view_grid(inspection.job.vehicle)


def colour_at(picture, grid, x_m, y_m):
    u, v = np.round(grid.pixel_px(np.array([x_m, y_m]))).astype(int)
    return tuple(int(value) for value in picture[v, u])


def test_grid_and_pixels_are_inverse_and_the_front_is_up(grid):
    points = grid.points_m()
    pixels = grid.pixel_px(points)
    rows, columns = np.indices(points.shape[:2])
    assert np.allclose(pixels, np.stack([columns, rows], axis=-1), atol=1e-9)
    assert points[0, 0, 0] > points[-1, 0, 0]  # x, forward, falls downward
    assert points[0, 0, 1] > points[0, -1, 1]  # y, left, falls to the right
    assert grid.scale_m == 0.02


def test_a_huge_vehicle_gets_a_coarser_grid():
    grid = top_view_grid(Vehicle(length_m=60, width_m=3))
    assert max(grid.rows, grid.columns) <= MAX_SIDE_PX


def test_each_place_is_taken_from_the_camera_of_its_sector(inspection, grid):
    picture = merged_picture(inspection)
    assert colour_at(picture, grid, 5.5, 0.3) == COLOURS_BGR["front"]
    assert colour_at(picture, grid, 0.5, 2.5) == COLOURS_BGR["left"]
    assert colour_at(picture, grid, -5.5, 0.3) == COLOURS_BGR["rear"]


def test_a_camera_without_a_fit_leaves_grey_hatching(inspection, grid):
    picture = merged_picture(inspection)
    blue, green, red = colour_at(picture, grid, 0.5, -2.5)
    assert blue == green == red
    right = picture[200:600, -100:].reshape(-1, 3)
    assert len(np.unique(right, axis=0)) == 2


def test_the_vehicle_covers_its_own_ground(inspection, grid):
    picture = merged_picture(inspection)
    for x, y in ((0, 0), (3.5, 0.9), (-3.5, -0.9)):
        assert colour_at(picture, grid, x, y) not in COLOURS_BGR.values()


def test_sectors_share_out_the_ground_and_meet_at_45_degrees(inspection, grid):
    points = grid.points_m()
    masks = sectors(inspection, points)
    assert (np.sum(masks, axis=0) == 1).all()
    front, left, rear, right = masks
    x, y = points[..., 0], points[..., 1]
    outside = (np.abs(x) > 4) | (np.abs(y) > 1.2)
    ahead = (x - 4 > np.abs(y) - 1.2) & (x > 0)
    behind = (-x - 4 > np.abs(y) - 1.2) & (x < 0)
    # The line itself may go to either side.
    off = np.abs(np.abs(x) - 4 - (np.abs(y) - 1.2)) > 1e-6
    assert np.array_equal(front[outside & off], ahead[outside & off])
    assert np.array_equal(rear[outside & off], behind[outside & off])
    aside = outside & off & ~ahead & ~behind
    assert np.array_equal(left[aside], (y > 0)[aside])
    assert np.array_equal(right[aside], (y < 0)[aside])


def test_png_holds_the_merged_picture(inspection):
    decoded = cv2.imdecode(np.frombuffer(top_view(inspection), np.uint8), cv2.IMREAD_COLOR)
    assert np.array_equal(decoded, merged_picture(inspection))


def test_a_known_ground_point_lands_on_its_pixel(inspection, grid):
    """A bright spot drawn where a camera sees a ground point comes out at that point."""
    front = inspection.cameras[0]
    target = np.array([5.6, -0.8])
    pixel = front.plan_fit.lens.project(front.ray_from_ground @ [*target, 1.0])
    bgr = front.picture.bgr.copy()
    cv2.circle(bgr, np.round(pixel * 16).astype(int).tolist(), 16 * 2, (255, 255, 255), -1, 8, 4)
    object.__setattr__(front.picture, "bgr", bgr)
    white = (merged_picture(inspection).astype(int).sum(axis=-1) > 700) & (
        grid.points_m()[..., 0] > 4.2
    )
    spot = grid.points_m()[white].mean(axis=0)
    assert np.allclose(spot, target, atol=0.03)


def test_two_cameras_on_one_side_share_it_at_the_middle(inspection, grid):
    left = inspection.cameras[1]
    ahead, behind = (
        replace(
            left,
            camera=replace(left.camera, name=name, position_m=np.array([x, 1.2, 2.5])),
        )
        for name, x in (("left_ahead", 2.0), ("left_behind", -2.0))
    )
    front, _, rear, right = inspection.cameras
    found = (front, behind, right, rear, ahead)
    job = replace(inspection.job, cameras=tuple(each.camera for each in found))
    several = replace(inspection, job=job, cameras=found)
    points = np.array([[1.0, 3.0], [-1.0, 3.0], [5.5, 0.0], [-5.5, 0.0], [1.0, -1.5], [-1.0, -1.5]])
    masks = sectors(several, points)
    owners = [int(np.flatnonzero(column)[0]) for column in np.stack(masks, axis=1)]
    assert owners == [1, 2, 0, 3, 4, 4]


def test_one_camera_shows_everything_and_opposite_cameras_halve_it(inspection):
    points = np.array([[5.0, 3.0], [-5.0, 3.0], [5.0, -3.0], [-5.0, -3.0]])
    front, _, rear, _ = inspection.cameras
    alone = replace(inspection, cameras=(front,))
    assert sectors(alone, points)[0].all()
    job = replace(inspection.job, cameras=(front.camera, rear.camera))
    masks = sectors(
        replace(inspection, job=job, cameras=(front, rear)), np.array([[6, 0], [-6, 0]])
    )
    assert masks[0].tolist() == [True, False]
    assert masks[1].tolist() == [False, True]


def test_views_fade_into_each_other_at_a_seam_unless_cut(inspection, grid):
    """Square to the front-left seam: half and half on it, one camera alone away from it."""
    blended = merged_picture(inspection)
    cut = merged_picture(inspection, blended=False)
    on_seam = np.array([4.0, 1.2]) + 1.2 / np.sqrt(2)
    across = np.array([1.0, -1.0]) / np.sqrt(2)
    front, left = (np.array(COLOURS_BGR[name]) for name in ("front", "left"))
    middle = np.array(colour_at(blended, grid, *on_seam))
    assert np.abs(middle - (front + left) / 2).max() < 12
    for picture, offset in ((blended, 0.6), (cut, 0.05)):
        assert colour_at(picture, grid, *(on_seam + offset * across)) == COLOURS_BGR["front"]
        assert colour_at(picture, grid, *(on_seam - offset * across)) == COLOURS_BGR["left"]


def test_a_neighbour_without_a_fit_takes_nothing_from_the_blend(inspection, grid):
    """The right camera has no fit: up to the seam with it, the front view keeps its own colour."""
    picture = merged_picture(inspection)
    beside = np.array([4.0, -1.2]) + np.array([1.2, -1.0]) / np.sqrt(2)
    assert colour_at(picture, grid, *beside) == COLOURS_BGR["front"]


def test_the_bar_is_a_metre_long(inspection, grid):
    picture = merged_picture(inspection)
    light = (picture[-40:, :120] == 228).any(axis=-1) & (picture[-40:, :120, 2] == 228)
    row = picture.shape[0] - 40 + int(np.argmax(light.sum(axis=1)))
    lit = np.flatnonzero(picture[row, :120, 2] == 228)
    assert abs((lit[-1] - lit[0]) * grid.scale_m - 1.0) <= grid.scale_m

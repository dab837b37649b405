"""Ground drawn for the eye lies where ground that is measured lies.

Proves: to a tenth of a pixel everywhere below and before a wide-angle camera, and the same rim
of the lens. Does not prove that anybody likes the picture.
"""

from __future__ import annotations

import numpy as np
import pytest

from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.documents.ground_picture import EVERY_M, _places, drawn_on
from vision.documents.top_view import Grid
from vision.views.ground import GroundMap, ground_map

LENS = Lens(width=1280, height=720, fx=427.0, fy=427.0, cx=641.0, cy=358.0)


def view(tilt_deg: float, roll_deg: float = 3.0) -> GroundMap:
    aim = Aim.from_degrees(20.0, tilt_deg, roll_deg)
    return ground_map(Pose.at(np.array([0.3, -0.2, 2.4]), aim.rotation()), LENS)


@pytest.mark.parametrize("tilt_deg", [5.0, 45.0, 90.0])
@pytest.mark.parametrize("scale_m", [0.005, 0.02])
def test_places_filled_in_are_those_worked_out(tilt_deg: float, scale_m: float) -> None:
    grid = Grid(top_x_m=6.0, left_y_m=5.0, scale_m=scale_m, rows=501, columns=403)
    points = grid.points_m()
    exact = view(tilt_deg).pixel_from_ground(points)
    near = _places(view(tilt_deg), points, max(1, int(EVERY_M / scale_m)))
    np.testing.assert_array_equal(np.isnan(near), np.isnan(exact))
    assert np.nanmax(np.abs(near - exact)) < 0.1


def test_a_small_grid_is_worked_out_as_a_whole() -> None:
    points = Grid(top_x_m=3.0, left_y_m=1.0, scale_m=0.01, rows=5, columns=4).points_m()
    ramp = np.broadcast_to(np.arange(720, dtype=np.uint8)[:, None, None], (720, 1280, 3))
    taken, shown = drawn_on(ramp, view(45.0), points, 0.01)
    assert taken.shape == (5, 4, 3)
    assert shown.all()

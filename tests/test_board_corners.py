"""Corners are found and measured in drawn pictures of a board seen through a very wide lens.

Proves: all corners of boards at several places, out beyond 80 degrees, are found where they were
drawn, within 4.5 of their stated sigmas; uneven light does not matter; noise has no board.
The renderer is the test's own: thirteen rays per pixel to the board's plane.
Does not prove: anything of real prints, blur by motion, or partly hidden boards.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.board_pictures import BOARD, LENS, drawn, pose_at
from vision.board import BoardView
from vision.board_corners import find_board
from vision.geometry import Array
from vision.solver import NoFit


def nearest(view: BoardView, truth: Array) -> Array:
    """Difference of each measured corner from the nearest drawn one, (n, 2)."""
    off = view.pixels_px[:, None] - truth[None]
    return np.asarray(off[np.arange(len(view)), np.linalg.norm(off, axis=-1).argmin(axis=1)])


@pytest.mark.parametrize(("middle_deg", "turn_deg"), [(0, 10), (45, 80), (65, -20)])
def test_corners_are_where_they_were_drawn(middle_deg: float, turn_deg: float) -> None:
    pose = pose_at(middle_deg, turn_deg, 0.25)
    truth = LENS.project(pose.transform(BOARD.points_m))
    view = find_board(drawn(LENS, BOARD, pose, np.random.default_rng(0)), BOARD, "p")
    assert isinstance(view, BoardView), view
    assert len(view) == 35
    off = nearest(view, truth)
    white = np.einsum("ni,nij,nj->n", off, np.linalg.inv(view.covariance_px2), off)
    assert np.sqrt(white.max()) < 4.5
    assert np.sqrt((off**2).sum(axis=-1).mean()) < 0.03
    # In order: the fitted grid and the drawn one differ by a turn of the board at most.
    same = np.abs(view.pixels_px - truth).max() < 1
    assert same or np.abs(view.pixels_px - truth[::-1]).max() < 1


def test_uneven_light_does_not_matter() -> None:
    pose = pose_at(30, 0, 0.25)
    grey = drawn(LENS, BOARD, pose, np.random.default_rng(1))
    shade = np.linspace(0.25, 1.0, LENS.width)[None, :] ** 1.5
    view = find_board((grey * shade).astype(np.float32), BOARD, "p")
    assert isinstance(view, BoardView)
    assert np.abs(nearest(view, LENS.project(pose.transform(BOARD.points_m)))).max() < 0.3


def test_no_board() -> None:
    noise = np.random.default_rng(2).uniform(0, 255, (240, 320)).astype(np.float32)
    found = find_board(noise, BOARD, "p")
    assert isinstance(found, NoFit)
    assert found.code == "no-board"
    assert "7 x 5" in found.text

"""Corners are found and measured in drawn pictures of a board seen through a very wide lens.

Proves: all corners of boards at several places, out beyond 80 degrees, are found where they were
drawn, within 4.5 of their stated sigmas, also seen from far and flat; that uneven light does not
matter, and the edge of a shadow across the board costs some hundredths of a pixel; that no corner
of a near, steep and soft board is put where it is not; that of two boards the larger is taken, or
both, that one cut off by the picture counts, a wrong count is told, and hidden corners are left
out; that noise has no board, and a picture full of squares ends the search; that a corner off its
neighbours' lines is seen, however the grid bends; that derivatives of a drawn corner are right.
The renderer is the test's own: thirteen rays per pixel to the board's plane.
Does not prove: anything of real prints or blur by motion; see `tests.accuracy.photographs`.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.board_pictures import BIG, BOARD, LENS, drawn, near_picture, near_pose, pose_at
from vision.calibration.board import Board, BoardView
from vision.calibration.board_corners import find
from vision.calibration.board_corners.corner_fit import fit_corners
from vision.calibration.board_corners.find import find_board, find_boards, seen_counts
from vision.calibration.board_corners.saddle import PLAIN, SHADED, saddle
from vision.calibration.board_corners.surface import spacing_of, strays
from vision.calibration.settings import SETTINGS
from vision.camera.geometry import Pose
from vision.camera.solver import NoFit
from vision.units.arrays import Array
from vision.units.reason import Reason

AHEAD_M = np.array([0.05, 0.02, 0.5])


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
    assert found.reason == Reason("no-board", columns=7, rows=5)


@pytest.mark.parametrize(("angle_deg", "offset_m"), [(10, 0.0), (75, 0.02), (-140, -0.03)])
def test_a_shadow_edge_across_the_board(angle_deg: float, offset_m: float) -> None:
    """Without the edge in the drawing corners near it are off by pixels."""
    pose = pose_at(20, 10, 0.22)
    shadow = (np.radians(angle_deg), offset_m, 0.3)
    grey = drawn(LENS, BOARD, pose, np.random.default_rng(3), shadow)
    view = find_board(grey, BOARD, "p")
    assert isinstance(view, BoardView), view
    assert len(view) == 35
    off = np.linalg.norm(nearest(view, LENS.project(pose.transform(BOARD.points_m))), axis=-1)
    assert np.sqrt((off**2).mean()) < 0.06
    assert off.max() < 0.25


def test_a_board_seen_flat_from_far() -> None:
    """Its squares are some 12 by 5 px."""
    leaning = Pose(R=Rotation.from_euler("xz", [66, 12], degrees=True).as_matrix(), t_m=AHEAD_M)
    truth = LENS.project(leaning.transform(BOARD.points_m))
    steps = np.linalg.norm(np.diff(truth.reshape(5, 7, 2), axis=0), axis=-1)
    assert steps.min() < 5
    view = find_board(drawn(LENS, BOARD, leaning, np.random.default_rng(4)), BOARD, "p")
    assert isinstance(view, BoardView), view
    assert len(view) == 35
    assert np.sqrt((nearest(view, truth) ** 2).sum(axis=-1).mean()) < 0.06


def test_outer_squares_may_be_cut() -> None:
    """Many boards are framed within them: the outer corners' windows must not reach so far."""
    pose = pose_at(20, 10, 0.22)
    grey = drawn(LENS, BOARD, pose, np.random.default_rng(10), outer=0.5)
    view = find_board(grey, BOARD, "p")
    assert isinstance(view, BoardView), view
    assert len(view) == 35
    assert np.abs(nearest(view, LENS.project(pose.transform(BOARD.points_m)))).max() < 0.1


def test_of_two_boards_the_larger_is_taken() -> None:
    """A screen may show a second one."""
    pose = pose_at(25, 10, 0.25)
    grey = drawn(LENS, BOARD, pose, np.random.default_rng(5)).copy()
    small = cv2.resize(drawn(LENS, BOARD, pose, np.random.default_rng(6)), None, fx=0.35, fy=0.35)
    grey[:140, :224] = small
    view = find_board(grey, BOARD, "p")
    assert isinstance(view, BoardView)
    assert np.abs(nearest(view, LENS.project(pose.transform(BOARD.points_m)))).max() < 0.3


def test_a_board_of_another_size_is_not_the_board() -> None:
    pose = pose_at(10, 10, 0.22)
    grey = drawn(LENS, BOARD, pose, np.random.default_rng(9))
    for columns, rows in ((6, 5), (7, 4)):
        assert isinstance(
            find_board(grey, Board(columns=columns, rows=rows, square_m=1), "p"), NoFit
        )


def test_hidden_corners_are_left_out() -> None:
    """A hand over three corners: they are not guessed, and the others are measured."""
    pose = pose_at(10, 10, 0.22)
    truth = LENS.project(pose.transform(BOARD.points_m))
    grey = drawn(LENS, BOARD, pose, np.random.default_rng(7)).copy()
    u, v = np.meshgrid(np.arange(LENS.width), np.arange(LENS.height))
    middle = truth[[0, 1, 7]].mean(axis=0)
    hidden = np.linalg.norm(truth - middle, axis=-1) < 24
    grey[np.hypot(u - middle[0], v - middle[1]) < 24] = 120.0
    view = find_board(grey, BOARD, "p")
    assert isinstance(view, BoardView), view
    assert hidden.sum() >= 3
    assert len(view) == 35 - hidden.sum()
    assert np.abs(nearest(view, truth[~hidden])).max() < 0.3


@pytest.mark.parametrize("unknowns", [PLAIN, SHADED])
def test_derivatives_of_a_drawn_corner(unknowns: int) -> None:
    rng = np.random.default_rng(8)
    offset = rng.uniform(-9, 9, (2, 60, 2))
    bend = np.array([[0.002, -0.003], [0.0, 0.001]])
    p = np.array([[0.2, -0.3, 0.1, 1.7, 120, 70, 0.9, 0.5, 0.7, 2.0, 1.3]] * 2)[:, :unknowns]
    p[1] *= 1.1
    analytic = saddle(p, offset, bend)[1]
    for each in range(unknowns):
        step = np.zeros(unknowns)
        step[each] = 1e-5
        change = saddle(p + step, offset, bend)[0] - saddle(p - step, offset, bend)[0]
        np.testing.assert_allclose(analytic[..., each], change / 2e-5, rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize("seed", [2, 8, 9, 30, 36, 42])
def test_no_corner_leaves_its_place(seed: int) -> None:
    """Close, steep, soft boards with and without a shadow: none may be guessed from the others."""
    grey, truth = near_picture(seed)
    view = find_board(grey, BIG, "p")
    assert isinstance(view, BoardView), view
    assert len(view) >= 52
    assert np.linalg.norm(nearest(view, truth), axis=-1).max() < 0.5


def test_a_board_that_the_picture_cuts_off() -> None:
    pose = pose_at(20, 10, 0.22)
    grey = drawn(LENS, BOARD, pose, np.random.default_rng(12))
    truth = LENS.project(pose.transform(BOARD.points_m))
    left = int(np.median(truth[:, 0]))
    view = find_board(np.ascontiguousarray(grey[:, left - 12 :]), BOARD, "p")
    assert isinstance(view, BoardView), view
    assert 15 <= len(view) <= 25
    assert np.abs(nearest(view, truth - [left - 12, 0])).max() < 0.1


def test_every_board_in_a_picture_counts() -> None:
    first, second = pose_at(42, 10, 0.3), pose_at(-42, 60, 0.3)
    wall = drawn(LENS, BOARD, first, np.random.default_rng(13)).copy()
    other = drawn(LENS, BOARD, second, np.random.default_rng(14))
    wall[:, : LENS.width // 2] = other[:, : LENS.width // 2]
    found = find_boards(wall, BOARD, "p")
    assert not isinstance(found, NoFit)
    assert {view.name for view in found} == {"p", "p (2)"}
    truth = np.concatenate([LENS.project(p.transform(BOARD.points_m)) for p in (first, second)])
    for view in found:
        assert len(view) == 35
        assert np.abs(nearest(view, truth)).max() < 0.2


def test_a_picture_full_of_squares_ends_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """A worn floor of squares: many grids nearly fit, and few are measured."""
    rng = np.random.default_rng(15)
    squares = np.indices((30, 40)).sum(axis=0) % 2
    squares ^= rng.uniform(size=squares.shape) < 0.12
    grey = np.kron(squares * 180.0 + 30.0, np.ones((24, 24)))
    grey = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 0.8)
    asked: list[int] = []

    def counted(*given: Array) -> find.Corners:
        asked.append(1)
        return fit_corners(*given)

    monkeypatch.setattr(find, "fit_corners", counted)
    assert isinstance(find_board(grey, BIG, "p"), NoFit)
    assert len(asked) <= 2 * (SETTINGS.most_in_vain + SETTINGS.most_grids)


def test_a_corner_off_its_neighbours_lines_is_seen() -> None:
    """Of a grid bent as near boards are, only that corner; none of the grid as it is."""
    _, pixels = near_pose(3)
    grid = pixels.reshape(6, 9, 2)
    assert not strays(grid, spacing_of(grid)).any()
    moved = grid.copy()
    moved[2, 4] += 0.3 * (grid[2, 5] - grid[2, 4])
    assert np.argwhere(strays(moved, spacing_of(grid))).tolist() == [[2, 4]]


@pytest.mark.parametrize(("columns", "rows"), [(8, 5), (8, 6), (7, 6), (6, 5)])
def test_a_wrong_count_is_told(columns: int, rows: int) -> None:
    pose = pose_at(10, 10, 0.22)
    grey = drawn(LENS, BOARD, pose, np.random.default_rng(9))
    assert isinstance(find_board(grey, Board(columns=columns, rows=rows, square_m=1), "p"), NoFit)
    assert seen_counts(grey) == (7, 5)

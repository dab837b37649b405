"""Pictures of a board through a very wide lens, drawn for the tests: rays to the board's plane."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial.transform import Rotation

from vision.board import Board
from vision.geometry import Array, Pose
from vision.lens import Lens
from vision.picture import Grey

BOARD = Board(columns=7, rows=5, square_m=0.03)
LENS = Lens(
    width=640,
    height=400,
    fx=190.0,
    fy=190.0,
    cx=322.0,
    cy=197.0,
    k=np.array([0.02, -0.01, 0.002, -0.0004]),
)


def drawn(lens: Lens, board: Board, pose: Pose, rng: np.random.Generator) -> Grey:
    """A picture of the board on a grey wall: 13 rays a pixel, blur, noise of 2 grey levels."""
    # No two in one line or column: an upright edge would else fall on thirds of a pixel only.
    ways = [((each - 6) / 13, ((5 * each) % 13 - 6) / 13) for each in range(13)]
    total = np.zeros((lens.height, lens.width))
    v, u = np.mgrid[: lens.height, : lens.width].astype(float)
    for du, dv in ways:
        rays = lens.unproject(np.stack([u + du, v + dv], axis=-1)) @ pose.R
        place = pose.camera_in_ground_m
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = -place[2] / rays[..., 2]
            x = place[0] + reach * rays[..., 0]
            y = place[1] + reach * rays[..., 1]
        total += _shade(board, x, y, reach)
    blurred = gaussian_filter(total / len(ways), 0.6) + rng.normal(0, 2, total.shape)
    return np.round(np.clip(blurred, 0, 255)).astype(np.float32)


def _shade(board: Board, x: Array, y: Array, reach: Array) -> Array:
    column = np.floor(np.nan_to_num(x) / board.square_m + 0.5 * (board.columns + 1))
    row = np.floor(np.nan_to_num(y) / board.square_m + 0.5 * (board.rows + 1))
    in_columns = (column >= -1) & (column <= board.columns + 1)
    on_panel = (reach > 0) & in_columns & (row >= -1) & (row <= board.rows + 1)
    inside = (column >= 0) & (column <= board.columns) & (row >= 0) & (row <= board.rows)
    dark = on_panel & inside & ((row + column) % 2 == 0)
    return np.where(dark, 40.0, np.where(on_panel, 210.0, 110.0))


def pose_at(middle_deg: float, turn_deg: float, distance_m: float) -> Pose:
    """A board out to the right by `middle_deg`, faced to the camera, leaning 25 degrees."""
    angle = np.radians(middle_deg)
    sight = np.array([np.sin(angle), 0.0, np.cos(angle)])
    facing = Rotation.from_rotvec([0, angle, 0]) * Rotation.from_rotvec(np.radians([25, 10, 0]))
    R = (facing * Rotation.from_rotvec([0, 0, np.radians(turn_deg)])).as_matrix()
    return Pose(R=R, t_m=sight * distance_m)

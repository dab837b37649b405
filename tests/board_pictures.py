"""Pictures of a board through a very wide lens, drawn for the tests: rays to the board's plane."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial.transform import Rotation

from tests.board_scenes import random_pose
from vision.calibration.board import Board
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.marks.picture import Grey
from vision.units.arrays import Array

BOARD = Board(columns=7, rows=5, square_m=0.03)
BIG = Board(columns=9, rows=6, square_m=0.025)
LENS = Lens(
    width=640,
    height=400,
    fx=190.0,
    fy=190.0,
    cx=322.0,
    cy=197.0,
    k=np.array([0.02, -0.01, 0.002, -0.0004]),
)


def drawn(
    lens: Lens,
    board: Board,
    pose: Pose,
    rng: np.random.Generator,
    shadow: tuple[float, float, float] | None = None,
    outer: float = 1.0,
) -> Grey:
    """A picture of the board on a grey wall: 13 rays a pixel, blur, noise of 2 grey levels.

    `shadow` (angle, offset, share): where x cos(angle) + y sin(angle) > offset on the board's plane
    only this share of the light is left. `outer`: width of the outermost squares, in squares.
    """
    # No two in one line or column: an upright edge would else fall on thirds of a pixel only.
    ways = [((each - 6) / 13, ((5 * each) % 13 - 6) / 13) for each in range(13)]
    whole = np.mgrid[: lens.height, : lens.width].astype(float)
    # Away from the panel there is only the wall; a shadow ends at the box too.
    picture = np.full(whole.shape[1:], 110.0)
    top, bottom, left, right = _panel_box(lens, board, pose)
    v, u = near = whole[:, top:bottom, left:right]
    total = np.zeros(near.shape[1:])
    for du, dv in ways:
        total += _seen(lens, board, pose, np.stack([v + dv, u + du]), shadow, outer)
    picture[top:bottom, left:right] = total / len(ways)
    blurred = gaussian_filter(picture, 0.6) + rng.normal(0, 2, picture.shape)
    return np.round(np.clip(blurred, 0, 255)).astype(np.float32)


def _seen(
    lens: Lens,
    board: Board,
    pose: Pose,
    at: Array,
    shadow: tuple[float, float, float] | None,
    outer: float,
) -> Array:
    """Levels where the rays of pixels `at` (2, ...), row and column, meet the board's plane."""
    rays = lens.unproject(np.stack([at[1], at[0]], axis=-1)) @ pose.R
    place = pose.camera_in_ground_m
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = -place[2] / rays[..., 2]
        x = place[0] + reach * rays[..., 0]
        y = place[1] + reach * rays[..., 1]
        levels = _shade(board, x, y, reach, outer)
        if shadow is not None:
            beyond = x * np.cos(shadow[0]) + y * np.sin(shadow[0]) > shadow[1]
            levels = np.where(beyond, levels * shadow[2], levels)
    return levels


def _panel_box(lens: Lens, board: Board, pose: Pose) -> tuple[int, int, int, int]:
    """Top, bottom, left, right of the panel with a margin; the whole picture where it leaves it."""
    half = 0.5 * board.square_m * np.array([board.columns + 3.5, board.rows + 3.5, 0.0])
    places = np.stack(np.meshgrid(*[np.linspace(-1, 1, 15)] * 2), axis=-1).reshape(-1, 2)
    pixels = lens.project(pose.transform(np.pad(places, ((0, 0), (0, 1))) * half))
    if not np.isfinite(pixels).all():
        return 0, lens.height, 0, lens.width
    low, high = np.floor(pixels.min(axis=0)) - 4, np.ceil(pixels.max(axis=0)) + 5
    left, top = np.clip(low, 0, [lens.width, lens.height]).astype(int)
    right, bottom = np.clip(high, 0, [lens.width, lens.height]).astype(int)
    return int(top), int(bottom), int(left), int(right)


def _shade(board: Board, x: Array, y: Array, reach: Array, outer: float) -> Array:
    across = np.nan_to_num(x) / board.square_m + 0.5 * (board.columns + 1)
    down = np.nan_to_num(y) / board.square_m + 0.5 * (board.rows + 1)
    column, row = np.floor(across), np.floor(down)
    in_columns = (column >= -1) & (column <= board.columns + 1)
    on_panel = (reach > 0) & in_columns & (row >= -1) & (row <= board.rows + 1)
    inside = (across >= 1 - outer) & (across < board.columns + outer)
    inside &= (down >= 1 - outer) & (down < board.rows + outer)
    dark = on_panel & inside & ((row + column) % 2 == 0)
    return np.where(dark, 40.0, np.where(on_panel, 210.0, 110.0))


def pose_at(middle_deg: float, turn_deg: float, distance_m: float) -> Pose:
    """A board out to the right by `middle_deg`, faced to the camera, leaning 25 degrees."""
    angle = np.radians(middle_deg)
    sight = np.array([np.sin(angle), 0.0, np.cos(angle)])
    facing = Rotation.from_rotvec([0, angle, 0]) * Rotation.from_rotvec(np.radians([25, 10, 0]))
    R = (facing * Rotation.from_rotvec([0, 0, np.radians(turn_deg)])).as_matrix()
    return Pose(R=R, t_m=sight * distance_m)


def near_pose(seed: int) -> tuple[Pose, Array]:
    """A pose of `BIG` so near that its squares shrink by half from line to line, and its pixels."""
    rng = np.random.default_rng(seed)
    while True:
        pose = random_pose(rng, 1.2, rng.uniform(0.09, 0.25))
        lean = Rotation.from_rotvec(np.append(rng.normal(0, 0.5, 2), 0)).as_matrix()
        pose = Pose(R=pose.R @ lean, t_m=pose.t_m)
        pixels = LENS.project(pose.transform(BIG.points_m))
        size = np.array([LENS.width, LENS.height])
        if not ((pixels > 6) & (pixels < size - 7)).all():
            continue
        grid = pixels.reshape(6, 9, 2)
        across, down = np.diff(grid, axis=1)[:-1], np.diff(grid, axis=0)[:, :-1]
        area = across[..., 0] * down[..., 1] - across[..., 1] * down[..., 0]
        least = min(np.linalg.norm(np.diff(grid, axis=axis), axis=-1).min() for axis in (0, 1))
        if least > 9 and (area > 0).all():
            return pose, pixels


def near_picture(seed: int) -> tuple[Grey, Array]:
    """A near board, every second picture soft and every third with a shadow's edge across it."""
    pose, pixels = near_pose(seed)
    rng = np.random.default_rng(seed)
    shadow = (rng.uniform(0, 2 * np.pi), rng.uniform(-0.06, 0.06), 0.3) if seed % 3 == 0 else None
    grey = drawn(LENS, BIG, pose, rng, shadow)
    if seed % 2 == 0:
        soft = gaussian_filter(grey, rng.uniform(0.5, 1.2)) + rng.normal(0, 2, grey.shape)
        grey = np.round(np.clip(soft, 0, 255)).astype(np.float32)
    return grey, pixels

"""Print how many boards are found and how well their corners are measured, beside OpenCV's finders.

    python -m tests.accuracy.boards [--pictures 24] [--columns nominal far ...]

Scene: as in `tests.accuracy.marks`, with a checkerboard of 7 x 5 inner corners lying on the ground,
24 pictures a column: nominal (squares of about 32 px), far (16 x 5.5 px), small (8 x 5.6 px), the
nominal board with a sharp shadow's edge across it, blur of 2 px, and noise of 10 levels. A board
counts as found when all 35 corners are measured within 2 px; the figure is the median over the
pictures found of the RMS length of a picture's 35 corner errors, in px; the time is processor time
of one core, median of the pictures.

The limit is Cramer-Rao's for one corner of which only its own four squares are looked at, with
their two levels, the directions of both edges and the blur unknown; compression is not in it.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tests.accuracy.rendering import (
    BASELINE_EYE,
    Box,
    Grid,
    Shadow,
    asphalt,
    cells,
    developed,
    exposed,
)
from vision.calibration.board import Board, BoardView
from vision.calibration.board_corners.find import find_board

Array = np.ndarray
EYE = BASELINE_EYE
COLUMNS, ROWS = 7, 5
LIGHT, DARK = 205.0, 40.0
BORDER = 0.75
"""Light border round the squares, in squares."""
WITHIN_PX = 2.0
Finder = Callable[[Array], Array | None]


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of the table."""

    name: str
    distance_m: float = 2.45
    square_m: float = 0.345
    aside_m: float = 0.8
    turn_deg: float = 30.0
    blur_px: tuple[float, float] = (0.6, 1.0)
    noise: tuple[float, float] = (2.0, 4.0)
    shadow: bool = False


TABLE = (
    Column(name="nominal"),
    Column(name="far", distance_m=7.1, square_m=0.366, aside_m=1.5, turn_deg=8.0),
    Column(name="small", distance_m=2.65, square_m=0.09, aside_m=0.8, turn_deg=8.0),
    Column(name="shadow", shadow=True),
    Column(name="blur 2", blur_px=(2.0, 2.0)),
    Column(name="noise 10", noise=(10.0, 10.0)),
)


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A board on the ground."""

    centre_m: tuple[float, float]
    heading_rad: float
    square_m: float
    shadow: Shadow | None

    def levels(self, x: Array, y: Array) -> Array:
        """Grey levels at ground points."""
        out = asphalt(x, y)
        cos, sin = np.cos(self.heading_rad), np.sin(self.heading_rad)
        dx, dy = x - self.centre_m[0], y - self.centre_m[1]
        column = (cos * dx + sin * dy) / self.square_m + (COLUMNS + 1) / 2
        row = (-sin * dx + cos * dy) / self.square_m + (ROWS + 1) / 2
        with np.errstate(invalid="ignore"):
            across, down = column - (COLUMNS + 1) / 2, row - (ROWS + 1) / 2
            panel = np.abs(across) < (COLUMNS + 1) / 2 + BORDER
            panel &= np.abs(down) < (ROWS + 1) / 2 + BORDER
            squares = (np.abs(across) < (COLUMNS + 1) / 2) & (np.abs(down) < (ROWS + 1) / 2)
            odd = np.nan_to_num(np.floor(column) + np.floor(row)) % 2 == 0
        out[panel] = LIGHT
        out[panel & squares & odd] = DARK
        if self.shadow is not None:
            self.shadow.fall(out, x, y)
        return out

    def ground_m(self, across: Array, down: Array) -> Array:
        """Ground points (..., 3) of places on the board, in squares from its middle."""
        cos, sin = np.cos(self.heading_rad), np.sin(self.heading_rad)
        s, q = across * self.square_m, down * self.square_m
        x = self.centre_m[0] + cos * s - sin * q
        y = self.centre_m[1] + sin * s + cos * q
        return np.stack([x, y, 0 * x], axis=-1)

    def corners_px(self) -> Array:
        """True pixels of the inner corners, (35, 2), row by row."""
        down, across = np.mgrid[:ROWS, :COLUMNS].astype(float)
        ground = self.ground_m(across - (COLUMNS - 1) / 2, down - (ROWS - 1) / 2)
        return np.asarray(EYE.pixel(ground).reshape(-1, 2))


@dataclass(frozen=True, kw_only=True)
class Saddle:
    """One corner whose squares never end; everything its limit takes derivatives by is a field."""

    scene: Scene
    corner: tuple[float, float]
    shift_m: tuple[float, float] = (0.0, 0.0)
    lean: tuple[float, float] = (0.0, 0.0)
    light: float = LIGHT
    dark: float = DARK

    def levels(self, x: Array, y: Array) -> Array:
        """Grey levels at ground points."""
        s, q = self.place(x, y)
        first, second = q - self.lean[0] * s, s - self.lean[1] * q
        return np.where(first * second > 0, self.dark, self.light)

    def place(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Metres from the corner along the board's columns and rows."""
        of = self.scene
        cos, sin = np.cos(of.heading_rad), np.sin(of.heading_rad)
        dx, dy = x - of.centre_m[0], y - of.centre_m[1]
        s = cos * dx + sin * dy - self.corner[0] * of.square_m - self.shift_m[0]
        return s, -sin * dx + cos * dy - self.corner[1] * of.square_m - self.shift_m[1]


def random_scene(column: Column, rng: np.random.Generator) -> Scene:
    """A board of this column somewhere in front of the camera."""
    aside, turn, across, along = rng.uniform(-1, 1, 4)
    centre = (column.distance_m + 0.05 * along, column.aside_m * aside)
    # Rows run across the view, turned a little; a quarter turn brings 7 corners across it.
    bearing = np.arctan2(centre[1], centre[0])
    heading = bearing + np.pi / 2 + np.radians(column.turn_deg) * turn
    shadow = None
    if column.shadow:
        angle = across * np.pi
        middle = centre[0] * np.cos(angle) + centre[1] * np.sin(angle)
        offset = middle + rng.uniform(-1.5, 1.5) * column.square_m
        shadow = Shadow(angle_rad=float(angle), offset_m=float(offset), share=0.3)
    return Scene(
        centre_m=centre, heading_rad=float(heading), square_m=column.square_m, shadow=shadow
    )


def picture(scene: Scene, blur: float, noise: float, rng: np.random.Generator) -> Array:
    """The whole picture, uint8: the board's part drawn finely, the ground elsewhere simply."""
    edge_x, edge_y = (COLUMNS + 1) / 2 + BORDER, (ROWS + 1) / 2 + BORDER
    places = np.array([(a, b) for a in (-edge_x, 0, edge_x) for b in (-edge_y, 0, edge_y)])
    rim = EYE.pixel(scene.ground_m(places[:, 0], places[:, 1]))
    box = Box.round_points(rim, 16.0, EYE.size)
    assert box is not None
    u, v = np.meshgrid(np.arange(EYE.size[0]), np.arange(EYE.size[1]))
    x, y = EYE.ground(u.astype(float), v.astype(float))
    whole = scene.levels(x, y)
    fine = exposed(cells(Grid.over(EYE, box), scene.levels, rng), blur)
    whole[box.top : box.bottom, box.left : box.right] = fine
    return developed(whole, noise, 85, rng)


def corner_limit(scene: Scene, corner: Array, blur: float, noise: float) -> float:
    """Smallest RMS length, px, of an unbiased corner's error; `corner` in squares."""
    size = 1.0
    ends = np.array([(-size, -size), (-size, size), (size, -size), (size, size), (0.0, 0.0)])
    rim = EYE.pixel(scene.ground_m(corner[0] + ends[:, 0], corner[1] + ends[:, 1]))
    box = Box.round_points(rim, 2.0, EYE.size)
    assert box is not None
    saddle = Saddle(scene=scene, corner=(float(corner[0]), float(corner[1])))
    grid = Grid.over(EYE, box)
    u, v = np.meshgrid(np.arange(box.left, box.right), np.arange(box.top, box.bottom))
    s, q = saddle.place(*EYE.ground(u.astype(float), v.astype(float)))
    own = (np.abs(s) < scene.square_m) & (np.abs(q) < scene.square_m)

    def seen(of: Saddle, blur_px: float = blur) -> Array:
        drawn = cells(grid, of.levels, np.random.default_rng(1))
        return np.asarray(exposed(drawn, blur_px)[own])

    axes = np.stack(
        [
            (EYE.pixel(scene.ground_m(*(corner + d))) - EYE.pixel(scene.ground_m(*(corner - d))))
            / (2e-3 * scene.square_m)
            for d in (np.array([1e-3, 0.0]), np.array([0.0, 1e-3]))
        ],
        axis=1,
    )
    step = 0.15 / np.linalg.norm(axes, axis=0)
    slopes = []
    for name, sizes in (("shift_m", step), ("lean", 0.5 * step / scene.square_m)):
        for way, each in zip(np.eye(2), sizes, strict=True):
            more, less = (replace(saddle, **{name: tuple(k * each * way)}) for k in (1, -1))
            slopes.append((seen(more) - seen(less)) / (2 * each))
    slopes.append((seen(saddle, blur + 0.05) - seen(saddle, blur - 0.05)) / 0.1)
    slopes.append((seen(replace(saddle, light=LIGHT + 10)) - seen(saddle)) / 10)
    slopes.append(np.ones(len(slopes[0])))
    jacobian = np.stack(slopes, axis=1)
    scale = np.linalg.norm(jacobian, axis=0)
    inverse = np.linalg.inv(jacobian.T @ jacobian / np.outer(scale, scale))
    covariance = axes @ (inverse / np.outer(scale, scale))[:2, :2] @ axes.T * noise**2
    return float(np.sqrt(np.trace(covariance)))


def classic(grey: Array) -> Array | None:
    """OpenCV's first finder, and cornerSubPix with a window that keeps off the next corners."""
    found, corners = cv2.findChessboardCorners(grey, (COLUMNS, ROWS))
    if not found:
        return None
    grid = corners.reshape(ROWS, COLUMNS, 2)
    steps = [np.linalg.norm(np.diff(grid, axis=axis), axis=-1).min() for axis in (0, 1)]
    window = max(2, int(0.4 * min(steps)))
    done = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 1e-3)
    cv2.cornerSubPix(grey, corners, (window, window), (-1, -1), done)
    return np.asarray(corners.reshape(-1, 2))


def sector_based(flags: int) -> Finder:
    """OpenCV's second finder."""

    def find(grey: Array) -> Array | None:
        found, corners = cv2.findChessboardCornersSB(grey, (COLUMNS, ROWS), flags=flags)
        return np.asarray(corners.reshape(-1, 2)) if found else None

    return find


def ours(grey: Array) -> Array | None:
    """The finder under test, which knows neither pose nor lens."""
    board = Board(columns=COLUMNS, rows=ROWS, square_m=1.0)
    view = find_board(grey.astype(np.float32), board, "picture")
    return view.pixels_px if isinstance(view, BoardView) else None


def finders() -> dict[str, Finder]:
    """Rows of the table."""
    thorough = cv2.CALIB_CB_EXHAUSTIVE | cv2.CALIB_CB_ACCURACY
    return {
        "findChessboardCorners + cornerSubPix": classic,
        "findChessboardCornersSB": sector_based(0),
        "the same, exhaustive and accurate": sector_based(thorough),
        "ours": ours,
    }


def rms_px(found: Array | None, truth: Array) -> float | None:
    """RMS length of the corners' errors; None where a corner is missing or far off."""
    if found is None or len(found) < len(truth):
        return None
    away = np.linalg.norm(found[:, None] - truth[None], axis=-1)
    nearest = away.min(axis=0)
    taken = len(set(away.argmin(axis=0))) == len(truth)
    if not taken or nearest.max() > WITHIN_PX:
        return None
    return float(np.sqrt(np.mean(nearest**2)))


def run(column: Column, pictures: int, rows: dict[str, Finder]) -> dict[str, str]:
    """One column of the table."""
    rng = np.random.default_rng([TABLE.index(column), 7])
    errors: dict[str, list[float]] = {name: [] for name in rows}
    seconds: dict[str, list[float]] = {name: [] for name in rows}
    limits = []
    for index in range(pictures):
        scene = random_scene(column, rng)
        blur, noise = rng.uniform(*column.blur_px), rng.uniform(*column.noise)
        grey, truth = picture(scene, blur, noise, rng), scene.corners_px()
        for name, find in rows.items():
            start = time.process_time()
            found = find(grey)
            seconds[name].append(time.process_time() - start)
            error = rms_px(found, truth)
            errors[name] += [] if error is None else [error]
        if index < 4 and not column.shadow:
            at = [np.array([a, b]) for a in (-3.0, 0.0, 3.0) for b in (-2.0, 0.0, 2.0)]
            each = [corner_limit(scene, corner, blur, noise) for corner in at]
            limits.append(np.sqrt(np.mean(np.square(each))))
    out = {name: _cell(errors[name], seconds[name]) for name in rows}
    return {**out, "Cramer-Rao limit": f"{np.median(limits):.3f}" if limits else "-"}


def _cell(errors: list[float], seconds: list[float]) -> str:
    median = f"{np.median(errors):.3f}" if errors else "-"
    return f"{len(errors)} {median} {1e3 * np.median(seconds):.0f} ms"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=int, default=24)
    names = [column.name for column in TABLE]
    parser.add_argument("--columns", nargs="+", default=names, choices=names)
    parser.add_argument("--only-ours", action="store_true", help="leave the other finders out")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    rows = {"ours": ours} if given.only_ours else finders()
    chosen = [column for column in TABLE if column.name in given.columns]
    columns = [run(column, given.pictures, rows) for column in chosen]
    print(f"\nFound of {given.pictures}, median corner RMS in px, median time\n")
    print("| | " + " | ".join(column.name for column in chosen) + " |")
    print("| --- " * (len(chosen) + 1) + "|")
    for name in [*rows, "Cramer-Rao limit"]:
        print(f"| {name} | " + " | ".join(column[name] for column in columns) + " |")


if __name__ == "__main__":
    main()

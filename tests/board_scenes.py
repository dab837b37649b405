"""Random lenses and boards for the tests of lens fitting; corners only, no pictures."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from vision.calibration.board import Board, BoardView
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.units.arrays import Array

WIDTH, HEIGHT = 1280, 720
BOARD = Board(columns=9, rows=6, square_m=0.025)
EDGE_RAD = float(np.radians(95))


def random_lens(rng: np.random.Generator) -> Lens:
    """A lens of about 190 degrees that keeps rising to its picture's corners' side of the edge."""
    while True:
        terms = rng.normal(0.0, [0.08, 0.05, 0.02, 0.01])
        k = terms / EDGE_RAD ** np.array([2, 4, 6, 8])
        focal = 0.5 * WIDTH / (EDGE_RAD * (1 + terms.sum())) * rng.normal(1, 0.02)
        lens = Lens(
            width=WIDTH,
            height=HEIGHT,
            fx=focal,
            fy=focal * rng.normal(1, 0.002),
            cx=0.5 * (WIDTH - 1) + rng.normal(0, 10),
            cy=0.5 * (HEIGHT - 1) + rng.normal(0, 10),
            k=k,
        )
        slopes = lens.d_radius_d_theta(np.linspace(0, EDGE_RAD, 50))
        if lens.monotone_limit_rad > EDGE_RAD and slopes.min() > 0.3:
            return lens


def random_pose(rng: np.random.Generator, furthest_rad: float, distance_m: float) -> Pose:
    """A board faced to the camera and then leant, its middle up to `furthest_rad` off the axis."""
    theta, phi = rng.uniform(0, furthest_rad), rng.uniform(-np.pi, np.pi)
    sight = np.array([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)])
    axis = np.array([-np.sin(phi), np.cos(phi), 0.0])
    facing = Rotation.from_rotvec(axis * theta)
    lean = Rotation.from_rotvec(rng.uniform(0.25, 0.7) * _unit(rng, flat=True))
    turn = Rotation.from_rotvec([0, 0, rng.uniform(-np.pi, np.pi)])
    R = (facing * lean * turn).as_matrix()
    return Pose(R=R, t_m=sight * distance_m * rng.uniform(0.8, 1.3))


def board_views(
    rng: np.random.Generator,
    lens: Lens,
    count: int,
    *,
    sigma_px: float = 0.05,
    distance_m: float = 0.16,
    furthest_rad: float = 1.35,
    reach_rad: float = 0.0,
) -> list[BoardView]:
    """Views whose every corner the lens sees, with noise of `sigma_px`.

    One of them at least shows a corner `reach_rad` or more off the axis.
    """
    views: list[BoardView] = []
    points = BOARD.points_m
    while len(views) < count:
        pose = random_pose(rng, furthest_rad, distance_m)
        seen = pose.transform(points)
        off_axis = np.arctan2(np.hypot(seen[:, 0], seen[:, 1]), seen[:, 2])
        if not views and off_axis.max() < reach_rad:
            continue
        pixels = lens.project(seen)
        if np.isfinite(pixels).all() and lens.contains(pixels).all():
            views.append(view(f"view{len(views)}", pixels, rng, sigma_px))
    return views


def view(name: str, pixels: Array, rng: np.random.Generator, sigma_px: float) -> BoardView:
    """A view of all corners of `BOARD` at `pixels` (n, 2) with noise."""
    n = len(pixels)
    return BoardView(
        name=name,
        board_m=BOARD.points_m,
        pixels_px=pixels + rng.normal(0, sigma_px, (n, 2)),
        covariance_px2=np.broadcast_to(sigma_px**2 * np.eye(2), (n, 2, 2)),
    )


def _unit(rng: np.random.Generator, *, flat: bool) -> Array:
    vector = rng.normal(size=3)
    vector[2] *= 0.0 if flat else 1.0
    unit: Array = vector / np.linalg.norm(vector)
    return unit

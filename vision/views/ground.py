"""Where on the ground a pixel lies: a camera's ray map, from a pose and a lens.

The map is `ray_from_ground` = [r1 r2 t], the columns of a pose that a point on the ground z = 0
needs: it takes (x, y, 1) to a direction in camera coordinates. Nothing here divides by the
camera's z, since a front camera sees ground beside the vehicle at more than 90 degrees from its
axis, where z is negative and an image homography has passed through infinity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.camera.geometry import Pose, cross_matrix
from vision.camera.lens import Lens
from vision.camera.solver import NoFit
from vision.units.arrays import Array, frozen_array
from vision.units.reason import Reason

REFINE_STEPS = 20
DEGENERATE = 1e-6
"""Smallest ratio of the eighth singular value to the first of a homography that can be told."""
COLLINEAR = 1e-3
"""Smallest spread across over spread along of ground points that carry a plane map."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroundMap:
    """`ray_from_ground` (3, 3) = [r1 r2 t] takes (x, y, 1) to a direction in camera coordinates.

    Its sign matters: a ground point lies ahead along the ray, not behind it. `lens` turns the
    directions into pixels of the picture turned back.
    """

    ray_from_ground: Array
    lens: Lens

    def __post_init__(self) -> None:
        matrix = frozen_array(self.ray_from_ground, (3, 3), "ray_from_ground")
        object.__setattr__(self, "ray_from_ground", matrix)

    def rays(self, ground_m: Array) -> Array:
        """Directions (..., 3) in camera coordinates of ground points (..., 2); not unit length."""
        ground = np.asarray(ground_m, dtype=np.float64)
        matrix = self.ray_from_ground
        return ground @ matrix[:, :2].T + matrix[:, 2]

    def ground_from_ray(self, rays: Array) -> Array:
        """Ground points (..., 2) in m where directions (..., 3) meet the ground.

        Solves s ray = ray_from_ground (x, y, 1) for s above 0; NaN for rays that are level, that
        rise, or that meet the ground behind the camera.
        """
        solved = np.asarray(rays, dtype=np.float64) @ np.linalg.inv(self.ray_from_ground).T
        # The third number is 1 / s: above 0 exactly where the ground lies ahead along the ray.
        ahead = solved[..., 2] > 0
        inverse_scale = np.where(ahead, solved[..., 2], np.nan)
        return solved[..., :2] / inverse_scale[..., None]

    def ground_from_pixel(self, pixels_px: Array) -> Array:
        """Ground points (..., 2) in m of pixels (..., 2).

        NaN where the pixel is outside the lens and where its ray misses the ground.
        """
        return self.ground_from_ray(self.lens.unproject(pixels_px))

    def pixel_from_ground(self, ground_m: Array) -> Array:
        """Pixels (..., 2) of ground points (..., 2); NaN outside the lens.

        A pixel may lie outside the picture; see `Lens.contains`.
        """
        return self.lens.project(self.rays(ground_m))

    def d_pixel_d_ground(self, ground_m: Array) -> Array:
        """Derivative of `pixel_from_ground`, (..., 2, 2) in px per m; NaN outside the lens."""
        _, d_pixel_d_ray, _ = self.lens.project_with_derivatives(self.rays(ground_m))
        return d_pixel_d_ray @ self.ray_from_ground[:, :2]

    def d_ground_d_pixel(self, pixels_px: Array) -> Array:
        """Derivative of `ground_from_pixel`, (..., 2, 2) in m per px; NaN where that is NaN.

        The inverse of `d_pixel_d_ground` at the ground point, so it is exact where both exist.
        """
        forward = self.d_pixel_d_ground(self.ground_from_pixel(pixels_px))
        a, b = forward[..., 0, 0], forward[..., 0, 1]
        c, d = forward[..., 1, 0], forward[..., 1, 1]
        determinant = a * d - b * c
        determinant = np.where(determinant == 0, np.nan, determinant)
        adjugate = np.stack([d, -b, -c, a], axis=-1).reshape(*a.shape, 2, 2)
        return adjugate / determinant[..., None, None]


def ground_map(pose: Pose, lens: Lens) -> GroundMap:
    """The ray map of a camera with this `camera_from_ground` and lens."""
    matrix = np.column_stack([pose.R[:, 0], pose.R[:, 1], pose.t_m])
    return GroundMap(ray_from_ground=matrix, lens=lens)


def fit_ground_map(
    rays: Array, ground_m: Array, weights: Array | None = None, *, lens: Lens
) -> GroundMap | NoFit:
    """Estimate a ray map from unit directions (n, 3) and the ground points (n, 2) they point at.

    A homography by the direct linear transform on ray x (H X) = 0, with ground points moved and
    scaled (Hartley, "In defense of the eight-point algorithm", PAMI 19(6), 1997), then refined
    on the angles between the rays, weighted by `weights` (n,), one over a variance in rad^2. The
    result is scaled so that its first two columns have unit length in the geometric mean, as a
    pose's have, and signed so that the points lie ahead. It uses no pose and no height, so it
    checks those. NoFit for fewer than four points, for points nearly in line, and for points that
    no plane map puts ahead of the camera.
    """
    points, directions = np.asarray(ground_m, np.float64), np.asarray(rays, np.float64)
    if points.ndim != 2 or directions.shape != (len(points), 3) or points.shape[1] != 2:
        raise ValueError(f"expected (n, 3) and (n, 2), found {directions.shape}, {points.shape}")
    given = np.ones(len(points)) if weights is None else np.asarray(weights, dtype=np.float64)
    known = np.isfinite(directions).all(axis=1) & np.isfinite(points).all(axis=1) & (given > 0)
    points, directions, given = points[known], directions[known], given[known]
    if len(points) < 4:
        return NoFit(reason=Reason("too-few-marks", usable=len(points), needed=4))
    directions = directions / np.linalg.norm(directions, axis=1, keepdims=True)
    normalise = _normalisation(points)
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    if normalise is None or spread[1] < COLLINEAR * spread[0]:
        return NoFit(reason=Reason("degenerate", in_line=True))
    near = np.column_stack([points, np.ones(len(points))]) @ normalise.T
    start = _linear_map(directions, near, np.sqrt(given))
    if start is None:
        return NoFit(reason=Reason("degenerate", in_line=False))
    if not (np.sum(directions * (near @ start.T), axis=1) > 0).all():
        return NoFit(reason=Reason("behind"))
    fitted = _refined(start, directions, near, np.sqrt(given)) @ normalise
    lengths = np.linalg.norm(fitted[:, :2], axis=0)
    return GroundMap(ray_from_ground=fitted / np.sqrt(lengths[0] * lengths[1]), lens=lens)


def _normalisation(points: Array) -> Array | None:
    """Matrix (3, 3) that moves points (n, 2) to mean 0 and mean distance sqrt(2)."""
    centre = points.mean(axis=0)
    distance = np.linalg.norm(points - centre, axis=1).mean()
    if distance == 0:
        return None
    scale = np.sqrt(2) / distance
    return np.array([[scale, 0, -scale * centre[0]], [0, scale, -scale * centre[1]], [0, 0, 1.0]])


def _linear_map(directions: Array, points: Array, root_weights: Array) -> Array | None:
    """The direct linear transform, (3, 3), signed by the majority; None where it is not unique."""
    crosses = cross_matrix(directions) * root_weights[:, None, None]
    rows = np.einsum("nij,nk->nijk", crosses, points).reshape(-1, 9)
    _, values, vt = np.linalg.svd(rows)
    if values[7] < DEGENERATE * values[0]:
        return None
    found: Array = vt[8].reshape(3, 3)
    ahead = float(np.sum(directions * (points @ found.T)))
    return found if ahead > 0 else -found


def _refined(start: Array, directions: Array, points: Array, root_weights: Array) -> Array:
    """Gauss-Newton on the angles between rays and map, (3, 3).

    Each step is the shortest of its kind, which leaves the map's free scale alone.
    """
    matrix = start / np.linalg.norm(start)
    best = np.inf
    for _ in range(REFINE_STEPS):
        seen = points @ matrix.T
        length = np.linalg.norm(seen, axis=1, keepdims=True)
        unit = seen / length
        residual = np.cross(directions, unit) * root_weights[:, None]
        total = float(np.sum(residual**2))
        if not total < best * (1 - 1e-12):
            break
        best, kept = total, matrix
        tangent = (np.eye(3) - unit[:, :, None] * unit[:, None, :]) / length[:, :, None]
        slope = cross_matrix(directions) @ tangent * root_weights[:, None, None]
        rows = np.einsum("nij,nk->nijk", slope, points).reshape(-1, 9)
        step = np.linalg.lstsq(rows, -residual.reshape(-1), rcond=1e-10)[0]
        matrix = matrix + step.reshape(3, 3)
        matrix = matrix / np.linalg.norm(matrix)
    return kept


def disagreement_rad(fitted: GroundMap, pose: Pose, ground_m: Array) -> float:
    """Worst angle in radians between a ray map and the pose's own, over ground points (n, 2).

    A cross-check: a map that was fitted without a pose and a pose that was fitted without the map
    should differ by no more than their marks' noise.
    """
    ours = fitted.rays(ground_m)
    theirs = ground_map(pose, fitted.lens).rays(ground_m)
    sine = np.linalg.norm(np.cross(ours, theirs), axis=-1)
    return float(np.arctan2(sine, np.sum(ours * theirs, axis=-1)).max())

"""Where on the ground a pixel lies: a camera's ray map, from a pose and a lens.

The map is `ray_from_ground` = [r1 r2 t], the columns of a pose that a point on the ground z = 0
needs: it takes (x, y, 1) to a direction in camera coordinates. Nothing here divides by the
camera's z, since a front camera sees ground beside the vehicle at more than 90 degrees from its
axis, where z is negative and an image homography has passed through infinity.

The map is not estimated a second time from rays alone: such a homography shares marks and lens with
the plan fit, and differs from the pose's map by a linear function of that fit's own residuals: a
shear of the ground, two numbers. The joint adjustment tests each residual with its sigma. Tried on
pictures that no lens of our model took, the residuals showed it and the shear hardly moved.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.units.arrays import Array, freeze


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroundMap:
    """`ray_from_ground` (3, 3) = [r1 r2 t] takes (x, y, 1) to a direction in camera coordinates.

    Its sign matters: a ground point lies ahead along the ray, not behind it. `lens` turns the
    directions into pixels of the picture turned back.
    """

    ray_from_ground: Array
    lens: Lens

    def __post_init__(self) -> None:
        freeze(self, ray_from_ground=(3, 3))

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

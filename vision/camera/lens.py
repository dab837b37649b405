"""The wide-angle lens: a Kannala-Brandt equidistant polynomial, right past 90 degrees.

theta is the angle from the optical axis and r = theta (1 + k1 theta^2 + k2 theta^4 + k3 theta^6 +
k4 theta^8); then u = fx r cos(phi) + cx and v = fy r sin(phi) + cy (Kannala and Brandt, "A generic
camera model and calibration method for conventional, wide-angle, and fish-eye lenses", IEEE PAMI
28(8), 2006, eq. 6, in the form that OpenCV's `fisheye` module documents). Everything here works
from atan2(hypot(x, y), z) and never divides by z.

A polynomial need not keep rising. Each lens knows its monotone limit, the first theta at which
dr/dtheta is no longer positive; beyond it there is no answer and the answer is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from vision.units.arrays import Array, frozen_array
from vision.units.plain import also_written, written

PARAMETERS = ("fx", "fy", "cx", "cy", "k1", "k2", "k3", "k4")
"""Order of a lens in every vector, Jacobian and covariance."""

NEWTON_STEPS = 20
NEWTON_TOLERANCE_RAD = 1e-13


@dataclass(frozen=True, kw_only=True, eq=False)
class Lens:
    """A lens with the size of the pictures it makes.

    `fx`, `fy`, `cx`, `cy` in pixels, whole numbers being pixel centres and (0, 0) the centre of the
    top-left pixel; `k` (4,) without unit. `width` and `height` in pixels.
    """

    width: int
    height: int

    @property
    @also_written()
    def model(self) -> str:
        """What the parameters are those of."""
        return "kannala-brandt"

    fx: float = written(4)
    fy: float = written(4)
    cx: float = written(4)
    cy: float = written(4)
    k: Array = written(8, default_factory=lambda: np.zeros(4))

    def __post_init__(self) -> None:
        object.__setattr__(self, "k", frozen_array(self.k, (4,), "k"))
        frozen_array([self.fx, self.fy, self.cx, self.cy], (4,), "fx, fy, cx, cy")
        if self.fx <= 0 or self.fy <= 0:
            raise ValueError(f"fx, fy: expected above 0, found {self.fx}, {self.fy}")
        if self.width <= 0 or self.height <= 0:
            raise ValueError(f"width, height: expected above 0, found {self.width}, {self.height}")

    def as_vector(self) -> Array:
        """The eight parameters in the order of `PARAMETERS`."""
        return np.array([self.fx, self.fy, self.cx, self.cy, *self.k])

    def with_vector(self, vector: Array) -> Lens:
        """A lens for the same pictures with other parameters, (8,) in the order of `PARAMETERS`."""
        fx, fy, cx, cy = (float(value) for value in vector[:4])
        return Lens(width=self.width, height=self.height, fx=fx, fy=fy, cx=cx, cy=cy, k=vector[4:])

    @cached_property
    def monotone_limit_rad(self) -> float:
        """First theta in (0, pi) at which dr/dtheta is not positive; pi where there is none."""
        return float(monotone_limits_rad(self.k))

    def radius(self, theta_rad: Array) -> Array:
        """r(theta), without unit; any shape, no check against the limit."""
        t2 = np.square(theta_rad)
        k1, k2, k3, k4 = self.k
        return np.asarray(theta_rad * (1 + t2 * (k1 + t2 * (k2 + t2 * (k3 + t2 * k4)))))

    def d_radius_d_theta(self, theta_rad: Array) -> Array:
        """dr/dtheta; any shape."""
        t2 = np.square(theta_rad)
        k1, k2, k3, k4 = self.k
        return np.asarray(1 + t2 * (3 * k1 + t2 * (5 * k2 + t2 * (7 * k3 + t2 * 9 * k4))))

    def theta(self, radius: Array) -> Array:
        """Inverse of `radius` below the monotone limit; NaN beyond it. Any shape.

        Newton steps kept inside a shrinking bracket, all points at once.
        """
        r = np.asarray(radius, dtype=np.float64)
        limit = self.monotone_limit_rad
        valid = (r >= 0) & (r <= self.radius(np.asarray(limit)))
        low, high = np.zeros_like(r), np.full_like(r, limit)
        theta = np.clip(np.where(valid, r, 0.0), 0.0, limit)
        for _ in range(NEWTON_STEPS):
            excess = self.radius(theta) - np.where(valid, r, 0.0)
            low, high = np.where(excess <= 0, theta, low), np.where(excess >= 0, theta, high)
            slope = np.maximum(self.d_radius_d_theta(theta), 1e-12)
            step = theta - excess / slope
            following = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
            moved = np.abs(following - theta).max(initial=0.0)
            theta = following
            if moved < NEWTON_TOLERANCE_RAD:
                break
        return np.where(valid, theta, np.nan)

    def project(self, points_camera: Array) -> Array:
        """Pixels (..., 2) of points or directions (..., 3) in camera coordinates.

        Length does not matter. NaN beyond the monotone limit and for the zero vector. A pixel may
        lie outside the picture; see `contains`.
        """
        x, y, z = np.moveaxis(np.asarray(points_camera, dtype=np.float64), -1, 0)
        rho = np.hypot(x, y)
        theta = np.arctan2(rho, z)
        scale = self._radius_over_rho(theta, rho, z)
        outside = (theta > self.monotone_limit_rad) | ((rho == 0) & (z <= 0))
        scale = np.where(outside, np.nan, scale)
        return np.stack([self.fx * scale * x + self.cx, self.fy * scale * y + self.cy], axis=-1)

    def _radius_over_rho(self, theta: Array, rho: Array, z: Array) -> Array:
        """r(theta) / rho, which tends to 1/z on the axis."""
        safe = np.where(rho > 0, rho, 1.0)
        on_axis = 1.0 / np.where(z != 0, z, 1.0)
        return np.where(rho > 0, self.radius(theta) / safe, on_axis)

    def project_with_derivatives(self, points_camera: Array) -> tuple[Array, Array, Array]:
        """Pixels (..., 2), d_pixel_d_point (..., 2, 3) and d_pixel_d_lens (..., 2, 8).

        NaN where `project` is NaN. The points keep their length here: d_pixel_d_point is by the
        point itself, so it vanishes along the point's own direction.
        """
        return project_with_derivatives(
            np.asarray(points_camera, dtype=np.float64), self.as_vector(), self.monotone_limit_rad
        )

    def unproject(self, pixels_px: Array) -> Array:
        """Unit directions (..., 3) in camera coordinates of pixels (..., 2); NaN beyond the limit.

        A pixel outside the picture is answered as if the picture went on.
        """
        pixels = np.asarray(pixels_px, dtype=np.float64)
        mx = (pixels[..., 0] - self.cx) / self.fx
        my = (pixels[..., 1] - self.cy) / self.fy
        r = np.hypot(mx, my)
        theta = self.theta(r)
        safe = np.where(r > 0, r, 1.0)
        ratio = np.where(r > 0, np.sin(theta) / safe, 1.0)
        return np.stack([ratio * mx, ratio * my, np.cos(theta)], axis=-1)

    def contains(self, pixels_px: Array) -> np.ndarray:
        """Whether pixels (..., 2) lie in the picture, out to the outer edge of its edge pixels."""
        u, v = np.moveaxis(np.asarray(pixels_px, dtype=np.float64), -1, 0)
        with np.errstate(invalid="ignore"):
            across = (u >= -0.5) & (u <= self.width - 0.5)
            return np.asarray(across & (v >= -0.5) & (v <= self.height - 0.5))


def monotone_limits_rad(k: Array) -> Array:
    """First theta in (0, pi) at which dr/dtheta of k (..., 4) is not positive; pi for none.

    With s = 1 / theta^2, dr/dtheta is 0 where s^4 + 3 k1 s^3 + 5 k2 s^2 + 7 k3 s + 9 k4 is: monic
    whatever the lens, so its roots are the eigenvalues of a companion matrix.
    """
    companion = np.zeros((*k.shape[:-1], 4, 4))
    companion[..., 0, :] = -k * np.array([3.0, 5.0, 7.0, 9.0])
    companion[..., [1, 2, 3], [0, 1, 2]] = 1.0
    roots = np.linalg.eigvals(companion)
    real = (np.abs(roots.imag) < 1e-12 * (1 + np.abs(roots.real))) & (roots.real > np.pi**-2)
    thetas = np.where(real, 1 / np.sqrt(np.where(real, roots.real, 1.0)), np.pi)
    return np.asarray(thetas.min(axis=-1))


def project_with_derivatives(
    points_camera: Array, vector: Array, limit_rad: Array | float
) -> tuple[Array, Array, Array]:
    """`Lens.project_with_derivatives` for points (..., 3), each through a lens of its own.

    `vector` (..., 8) in the order of `PARAMETERS` and `limit_rad` (...), the lens's monotone limit,
    broadcast against the points.
    """
    x, y, z = np.moveaxis(points_camera, -1, 0)
    k1, k2, k3, k4 = (vector[..., i] for i in (4, 5, 6, 7))
    focal, centre = vector[..., :2], vector[..., 2:4]
    rho2 = x * x + y * y
    rho = np.sqrt(rho2)
    theta = np.arctan2(rho, z)
    t2 = theta * theta
    radius = theta * (1 + t2 * (k1 + t2 * (k2 + t2 * (k3 + t2 * k4))))
    d_radius = 1 + t2 * (3 * k1 + t2 * (5 * k2 + t2 * (7 * k3 + t2 * 9 * k4)))
    off_axis = rho > 0
    safe = np.where(off_axis, rho, 1.0)
    # r(theta) / rho tends to 1/z on the axis.
    scale = np.where(off_axis, radius / safe, 1.0 / np.where(z != 0, z, 1.0))
    outside = (theta > limit_rad) | (~off_axis & (z <= 0))
    scale = np.where(outside, np.nan, scale)
    m = scale[..., None] * points_camera[..., :2]

    slope = d_radius / np.where(outside, np.nan, rho2 + z * z)
    # m = scale (x, y); d scale = radial (x dx + y dy) + axial dz, with rho taken out of both.
    radial = np.where(off_axis, (slope * z - scale) / (safe * safe), 0.0)
    d_m = np.empty((*x.shape, 2, 3))
    d_m[..., 0, 0] = scale + radial * x * x
    d_m[..., 0, 1] = radial * x * y
    d_m[..., 1, 0] = d_m[..., 0, 1]
    d_m[..., 1, 1] = scale + radial * y * y
    d_m[..., :, 2] = -slope[..., None] * points_camera[..., :2]
    d_point = d_m * focal[..., :, None]

    ratio = np.where(outside, np.nan, np.where(off_axis, theta / safe, 0.0))
    powers = np.stack([t2, t2 * t2, t2**3, t2**4], axis=-1)
    d_lens = np.zeros((*x.shape, 2, 8))
    d_lens[..., 0, 0] = m[..., 0]
    d_lens[..., 1, 1] = m[..., 1]
    d_lens[..., 0, 2] = d_lens[..., 1, 3] = np.where(outside, np.nan, 1.0)
    scaled = ratio[..., None] * points_camera[..., :2] * focal
    d_lens[..., :, 4:] = scaled[..., :, None] * powers[..., None, :]
    return m * focal + centre, d_point, d_lens

"""Poses that would put the planned marks onto the candidates: a coarse search, then refinement.

Many poses are carried side by side (first axis everywhere), with a lens curve of two numbers: r =
f0 theta (a0 + a1 s^2), s = theta over half the stated field of view. That is enough to bring a
pose to within some pixels; the full lens follows in the plan fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera.geometry import Aim, cross_matrix
from vision.camera.lens import Lens
from vision.camera.rotations import rotation_from_vector, vector_from_rotation
from vision.identification.settings import SETTINGS
from vision.marks.candidates import Candidates
from vision.units.arrays import Array

PRIOR_SIGMA = np.array(SETTINGS.search_prior_sigma)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cameras:
    """Many hypothetical cameras: places (b, 3), rotations (b, 3, 3), curves (b, 2), centres (b, 2).

    `f0` in px and `half_field_rad` belong to the stated field of view and are common to all.
    """

    place_m: Array
    R: Array
    curve: Array
    centre_px: Array
    f0: float
    half_field_rad: float

    def take(self, index: NDArray[np.intp]) -> Cameras:
        """The cameras at `index`."""
        return replace(self, **{name: getattr(self, name)[index] for name in _EACH})

    def as_type(self, kind: type[np.floating[Any]]) -> Cameras:
        """The same with numbers of another precision."""
        return replace(self, **{name: getattr(self, name).astype(kind) for name in _EACH})

    def project(self, points_m: Array) -> tuple[Array, Array]:
        """Pixels (b, n, 2) of ground points (n, 3), and the points in camera coordinates."""
        # As one product of flat matrices, and a root for `hypot`: this is most of the search.
        turned = (self.R.reshape(-1, 3) @ points_m.T).reshape(-1, 3, len(points_m))
        seen = np.moveaxis(turned - self.R @ self.place_m[..., None], 1, 2)
        rho = np.sqrt(seen[..., 0] ** 2 + seen[..., 1] ** 2)
        theta = np.arctan2(rho, seen[..., 2])
        scale = self.f0 * self._shape(theta, 1.0) * theta / np.maximum(rho, 1e-12)
        return scale[..., None] * seen[..., :2] + self.centre_px[:, None], seen

    def _shape(self, theta: Array, power: float) -> Array:
        s2 = (theta / self.half_field_rad) ** 2
        return self.curve[:, None, 0] + power * self.curve[:, None, 1] * s2

    def derivatives(self, seen: Array) -> Array:
        """Derivative (b, n, 2, 10) of pixels by place, rotation vector, curve and centre."""
        x, y, z = np.moveaxis(seen, -1, 0)
        rho = np.maximum(np.hypot(x, y), 1e-12)
        theta = np.arctan2(rho, z)
        scale = self.f0 * self._shape(theta, 1.0) * theta / rho
        slope = self.f0 * self._shape(theta, 3.0) / (rho**2 + z**2)
        radial = (slope * z - scale) / rho**2
        d_point = np.empty((*x.shape, 2, 3))
        d_point[..., 0, 0] = scale + radial * x * x
        d_point[..., 0, 1] = d_point[..., 1, 0] = radial * x * y
        d_point[..., 1, 1] = scale + radial * y * y
        d_point[..., 0, 2] = -slope * x
        d_point[..., 1, 2] = -slope * y
        out = np.zeros((*x.shape, 2, 10))
        out[..., 0:3] = -d_point @ self.R[:, None]
        out[..., 3:6] = -d_point @ cross_matrix(seen)
        base = (self.f0 * theta / rho)[..., None] * seen[..., :2]
        out[..., 6] = base
        out[..., 7] = base * ((theta / self.half_field_rad) ** 2)[..., None]
        out[..., 0, 8] = out[..., 1, 9] = 1.0
        return out

    def moved(self, step: Array) -> Cameras:
        """The cameras after a step (b, 10) in the order of `derivatives`."""
        turn = rotation_from_vector(step[:, 3:6])
        return replace(
            self,
            place_m=self.place_m + step[:, :3],
            R=turn @ self.R,
            curve=self.curve + step[:, 6:8],
            centre_px=self.centre_px + step[:, 8:],
        )


_EACH = ("place_m", "R", "curve", "centre_px")
"""What each camera has of its own."""


def coarse_cameras(
    intended: Aim, place_m: Array, guess: Lens, half_field_rad: float, scales: tuple[float, ...]
) -> Cameras:
    """The grid over pan, tilt, roll and axial focal length round an intended aim."""
    steps = np.arange(-SETTINGS.aim_reach_rad, SETTINGS.aim_reach_rad + 1e-9, SETTINGS.aim_step_rad)
    d_pan, d_tilt, d_roll, scale = (
        grid.ravel() for grid in np.meshgrid(steps, steps, steps, scales, indexing="ij")
    )
    # Aims whose three angles are all extreme are as likely as others: the grid stays a full cube.
    pan, tilt, roll = intended.as_array()
    R = _rotations(pan + d_pan, tilt + d_tilt, roll + d_roll)
    count = len(d_pan)
    f0 = 0.5 * guess.width / half_field_rad
    return Cameras(
        place_m=np.broadcast_to(place_m, (count, 3)),
        R=R,
        curve=np.stack([scale, 1.0 - scale], axis=1),
        centre_px=np.broadcast_to([guess.cx, guess.cy], (count, 2)),
        f0=f0,
        half_field_rad=half_field_rad,
    )


def _rotations(pan: Array, tilt: Array, roll: Array) -> Array:
    """`Aim.rotation` for many aims at once, (b, 3, 3)."""
    zero = np.zeros_like(pan)
    forward = np.stack(
        [np.cos(tilt) * np.cos(pan), np.cos(tilt) * np.sin(pan), -np.sin(tilt)], axis=-1
    )
    level = np.stack([np.sin(pan), -np.cos(pan), zero], axis=-1)
    down = np.cross(forward, level)
    c, s = np.cos(roll)[:, None], np.sin(roll)[:, None]
    return np.stack([c * level + s * down, -s * level + c * down, forward], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sought:
    """Marks (n,) to be put onto candidates of their own kind: places, weights, and which kind.

    `points_m` (n, 3) are the marks the body does not hide, `weight` (n,) how well each should be
    seen (0 to 1), `kind` (n,) the row of each mark's candidates in `found`.
    """

    points_m: Array
    weight: Array
    kind: NDArray[np.intp]
    found: tuple[Candidates, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Maps:
    """For each kind and cell of `map_px` pixels the row of the nearest candidate, and all of these.

    After the last kind's comes one that is nowhere, for kinds without any.
    """

    nearest: np.ndarray
    pixels_px: Array
    worth: Array


def _splat(candidates: Candidates, width: int, height: int) -> np.ndarray:
    """A map in cells of `cell_px`: a tent of the peak's worth round each candidate."""
    cells = np.zeros(
        (height // SETTINGS.cell_px + 2, width // SETTINGS.cell_px + 2), dtype=np.float32
    )
    reach = int(np.ceil(SETTINGS.splat_px / SETTINGS.cell_px))
    rows, columns = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    tent = np.maximum(1 - SETTINGS.cell_px * np.hypot(rows, columns) / SETTINGS.splat_px, 0).astype(
        np.float32
    )
    for (u, v), worth in zip(candidates.pixels_px, candidates.worth, strict=True):
        column, row = int(u // SETTINGS.cell_px), int(v // SETTINGS.cell_px)
        top, left = max(row - reach, 0), max(column - reach, 0)
        window = cells[top : row + reach + 1, left : column + reach + 1]
        cut = tent[top - row + reach :, left - column + reach :]
        np.maximum(window, worth * cut[: window.shape[0], : window.shape[1]], out=window)
    return cells


def _coarse_score(
    cameras: Cameras, sought: Sought, cells: np.ndarray, size: tuple[int, int]
) -> Array:
    """Evidence found minus evidence missing of each camera, (b,)."""
    pixels, _ = cameras.project(sought.points_m.astype(cameras.R.dtype))
    u, v = pixels[..., 0], pixels[..., 1]
    inside = (u > 0) & (v > 0) & (u < size[0] - 1) & (v < size[1] - 1)
    column, row = (np.where(inside, each / SETTINGS.cell_px, 0).astype(np.int32) for each in (u, v))
    found = cells[sought.kind, row, column]
    return np.asarray(
        np.where(inside, found - np.float32(SETTINGS.coarse_missing), 0.0) @ sought.weight
    )


def search(cameras: Cameras, sought: Sought, size: tuple[int, int]) -> tuple[Cameras, Array]:
    """The best cameras, refined onto the candidates, with their scores, best first.

    `size` is (width, height) of the picture.
    """
    cells = np.stack([_splat(each, *size) for each in sought.found])
    # Cells are 4 px wide: 24 bits do, and are twice as fast.
    light = cameras.as_type(np.float32)
    scores = np.concatenate(
        [
            _coarse_score(light.take(part), sought, cells, size)
            for part in np.array_split(np.arange(len(cameras.R)), max(1, len(cameras.R) // 1000))
        ]
    )
    best = cameras.take(np.argsort(-scores)[: SETTINGS.refined_cameras])
    start = best
    maps = _maps(sought.found, *size)
    for radius in SETTINGS.match_radii_px:
        best = _refined(best, start, sought, radius, maps)
    score = _match_score(best, sought, maps)
    order = np.argsort(-score)
    return best.take(order), score[order]


def _maps(found: tuple[Candidates, ...], width: int, height: int) -> _Maps:
    shape = -(-height // SETTINGS.map_px), -(-width // SETTINGS.map_px)
    total = sum(len(each.strength) for each in found)
    rows, first = [], 0
    for candidates in found:
        if not len(candidates.strength):
            rows.append(np.full(shape, total, dtype=np.int32))
            continue
        blank = np.ones(shape, np.uint8)
        u, v = (candidates.pixels_px // SETTINGS.map_px).astype(int).T
        blank[v, u] = 0
        _, labels = cv2.distanceTransformWithLabels(
            blank, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
        )
        index = np.zeros(int(labels.max()) + 1, dtype=np.int32)
        index[labels[v, u]] = np.arange(len(u)) + first
        rows.append(index[labels])
        first += len(u)
    return _Maps(
        nearest=np.stack(rows),
        pixels_px=np.concatenate([*(each.pixels_px for each in found), np.full((1, 2), np.inf)]),
        worth=np.concatenate([*(each.worth for each in found), np.zeros(1)]),
    )


def _matches(
    cameras: Cameras, sought: Sought, maps: _Maps
) -> tuple[Array, Array, np.ndarray, Array, np.ndarray]:
    """Pixels (b, n, 2) of the marks, their places in camera coordinates, whether in the picture.

    Last the distance (b, n) in px to the nearest candidate of a mark's kind, and that one's row.
    """
    pixels, seen = cameras.project(sought.points_m)
    _, height, width = maps.nearest.shape
    u, v = pixels[..., 0] / SETTINGS.map_px, pixels[..., 1] / SETTINGS.map_px
    inside = (u > 0) & (v > 0) & (u < width) & (v < height)
    column, row = (np.where(inside, each, 0).astype(np.int32) for each in (u, v))
    index = maps.nearest[sought.kind, row, column]
    off = maps.pixels_px[index] - pixels
    return off, seen, inside, np.hypot(off[..., 0], off[..., 1]), index


def _refined(
    cameras: Cameras, start: Cameras, sought: Sought, radius: float, maps: _Maps
) -> Cameras:
    """One Gauss-Newton step of all cameras towards the candidates within `radius`.

    Iterative closest points (Besl and McKay, "A method for registration of 3-D shapes", PAMI 14(2),
    1992), with robust weights and a prior for how far a camera may go.
    """
    off, seen, inside, gap, index = _matches(cameras, sought, maps)
    near = inside & (gap < radius)
    trust = np.where(near, 1 - (gap / radius) ** 2, 0.0) ** 2 * sought.weight * maps.worth[index]
    residual = np.where(near[..., None], off, 0.0)
    J = cameras.derivatives(seen)
    sigma = max(2.0, radius / 3)
    weighted = J * (trust / sigma**2)[..., None, None]
    # As one product of tall matrices for each camera: einsum would not use the fast one.
    b, parameters = len(J), J.shape[-1]
    tall = weighted.reshape(b, -1, parameters).swapaxes(1, 2)
    normal = tall @ J.reshape(b, -1, parameters)
    right = (tall @ residual.reshape(b, -1, 1))[..., 0]
    turned = vector_from_rotation(cameras.R @ np.swapaxes(start.R, 1, 2))
    drift = np.concatenate(
        [
            cameras.place_m - start.place_m,
            turned,
            cameras.curve - start.curve,
            cameras.centre_px - start.centre_px,
        ],
        axis=1,
    )
    normal += np.diag(1 / PRIOR_SIGMA**2)
    right -= drift / PRIOR_SIGMA**2
    return cameras.moved(np.linalg.solve(normal, right[..., None])[..., 0])


def _match_score(cameras: Cameras, sought: Sought, maps: _Maps) -> Array:
    _, _, inside, gap, index = _matches(cameras, sought, maps)
    found = maps.worth[index] * np.maximum(1 - (gap / SETTINGS.matched_px) ** 2, 0)
    return np.asarray(np.where(inside, sought.weight * (found - SETTINGS.missing), 0.0).sum(axis=1))

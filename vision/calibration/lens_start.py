"""A start for a lens fit without any guess: the equidistant lens that suits the boards best.

The centre is taken to be the picture's; focal lengths are tried from a narrow lens to one that sees
behind itself. For each the corners become rays, each board's pose comes from a homography fitted to
the rays themselves (d x H p = 0, linear, never divided by z and so indifferent to 90 degrees), is
refined in the picture, and so is its twin, the same board leaning the other way. The usual start,
vanishing points from plane homographies, has no answer for a wide lens.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.calibration.bundle import moved_poses
from vision.calibration.curve_prior import equidistant
from vision.calibration.padded import Padded
from vision.camera.geometry import cross_matrix
from vision.camera.lens import Lens
from vision.camera.pixel_shape import SQUARE, PixelShape
from vision.marks.damping import Fitted, descend, rows_of, with_rows
from vision.units.arrays import Array

EDGES_DEG = (12, 16, 21, 28, 36, 45, 55, 65, 76, 87, 98, 110)
"""Angles from the axis to the picture's farther edges that are tried."""

REFINE_STEPS = 8

LEAST_SEEN = 0.8
"""Of a view's corners that a lens must see at all."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """A lens with `camera_from_board` (v, 3, 4) of each view, and the median view's RMS in px."""

    lens: Lens
    poses: Array
    typical_px: float


def starts(boards: Padded, width: int, height: int, pixels: PixelShape = SQUARE) -> list[Start]:
    """Give a start for every focal length tried, the best first."""
    found = []
    for edge_deg in EDGES_DEG:
        lens = equidistant(width, height, float(np.radians(edge_deg)), pixels)
        poses, rms = poses_for(lens, boards)
        found.append(Start(lens=lens, poses=poses, typical_px=float(np.median(rms))))
    return sorted(found, key=lambda each: each.typical_px)


def poses_for(lens: Lens, views: Padded) -> tuple[Array, Array]:
    """Best pose (v, 3, 4) of each view's flat board for a known lens, and its RMS in px, (v,)."""
    rays = lens.unproject(views.pixels_px)
    # A corner beyond what this lens can see takes no part; a lens that sees few of them loses.
    weight = views.weight * np.isfinite(rays).all(axis=-1)
    best = _refined(lens, views, weight, _from_rays(np.nan_to_num(rays), views.board_m, weight))
    other = _refined(lens, views, weight, twins(best.state))
    better = np.asarray(other.cost < best.cost)
    best = with_rows(best, better, rows_of(other, better))
    count = weight.sum(axis=1)
    rms = np.sqrt(best.cost / np.maximum(count, 1.0))
    lost = count < LEAST_SEEN * views.weight.sum(axis=1)
    u, _, vt = np.linalg.svd(best.state[..., :3])
    poses = np.concatenate([u @ vt, best.state[..., 3:]], axis=-1)
    return poses, np.where(lost, np.inf, rms)


def _from_rays(rays: Array, board: Array, weight: Array) -> Array:
    """Pose (v, 3, 4) of each board from rays (v, n, 3) by a homography, linear least squares."""
    count = np.maximum(weight.sum(axis=1), 1.0)
    middle = (weight[..., None] * board).sum(axis=1) / count[:, None]
    flat = board - middle[:, None]
    size = np.sqrt((weight * np.square(flat).sum(axis=-1)).sum(axis=1) / count)
    p = np.concatenate([flat[..., :2] / size[:, None, None], np.ones((*flat.shape[:2], 1))], -1)
    rows = np.einsum("vnij,vnk,vn->vnijk", cross_matrix(rays), p, weight)
    rows = rows.reshape(len(rays), -1, 9)
    _, vectors = np.linalg.eigh(np.einsum("vra,vrb->vab", rows, rows))
    H = vectors[..., 0].reshape(-1, 3, 3)
    facing = np.einsum("vni,vij,vnj,vn->v", rays, H, p, weight)
    H = H * np.where(facing < 0, -1.0, 1.0)[:, None, None]
    length = 0.5 * np.linalg.norm(H[..., :2], axis=1).sum(axis=-1)
    H = H / np.maximum(length, 1e-12)[:, None, None]
    third = np.cross(H[..., 0], H[..., 1])
    u, _, vt = np.linalg.svd(np.stack([H[..., 0], H[..., 1], third], axis=-1))
    u[..., 2] *= np.sign(np.linalg.det(u @ vt))[:, None]
    R = u @ vt
    t = H[..., 2] * size[:, None] - np.einsum("vij,vj->vi", R, middle)
    return np.concatenate([R, t[..., None]], axis=-1)


def twins(poses: Array) -> Array:
    """The same boards leaning the other way, poses (v, 3, 4): from afar they look the same.

    Reflected in the plane square to the line of sight through the board's middle, and then seen
    from its other face, so that it is a turn again.
    """
    sight = poses[..., 3] / np.maximum(np.linalg.norm(poses[..., 3], axis=-1), 1e-12)[:, None]
    mirror = np.eye(3) - 2 * np.einsum("vi,vj->vij", sight, sight)
    R = mirror @ poses[..., :3] @ np.diag([1.0, 1.0, -1.0])
    return np.concatenate([R, poses[..., 3:]], axis=-1)


def _refined(lens: Lens, views: Padded, weight: Array, start: Array) -> Fitted:
    """Refine all poses (v, 3, 4) at once with the lens held fixed."""

    def evaluated(poses: Array, which: NDArray[np.intp]) -> Fitted:
        residual, J = _pose_rows(lens, views, weight, poses)
        return Fitted(
            state=poses,
            cost=np.square(residual).sum(axis=1),
            normal=J.transpose(0, 2, 1) @ J,
            right=-(J.transpose(0, 2, 1) @ residual[..., None])[..., 0],
        )

    return descend(evaluated, moved_poses, start, REFINE_STEPS, less=0.1)


def _pose_rows(lens: Lens, views: Padded, weight: Array, poses: Array) -> tuple[Array, Array]:
    """Residuals (v, 2n), and derivatives (v, 2n, 6) by t and a turn about the board's origin.

    A point that the lens cannot see counts as far off.
    """
    turned = views.board_m @ poses[..., :3].transpose(0, 2, 1)
    seen, d_point, _ = lens.project_with_derivatives(turned + poses[:, None, :, 3])
    J = np.concatenate([d_point, -d_point @ cross_matrix(turned)], axis=-1)
    J = np.nan_to_num(J) * weight[..., None, None]
    off = np.where(np.isfinite(seen), seen - views.pixels_px, float(lens.width))
    off = off * weight[..., None]
    return off.reshape(len(off), -1), J.reshape(len(off), -1, 6)

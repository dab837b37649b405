"""A start for a lens fit without any guess: the equidistant lens that suits the boards best.

The centre is taken to be the picture's; focal lengths are tried from a narrow lens to one that sees
behind itself. For each the corners become rays, each board's pose comes from a homography fitted to
the rays themselves (d x H p = 0, linear, never divided by z and so indifferent to 90 degrees), is
refined in the picture, and so is its twin, the same board leaning the other way. The usual start,
vanishing points from plane homographies, has no answer for a wide lens.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from vision.calibration.board import BoardView
from vision.camera.geometry import Pose, cross_matrix
from vision.camera.lens import Lens
from vision.marks.damping import Fitted, descend
from vision.units.arrays import Array

EDGES_DEG = (12, 16, 21, 28, 36, 45, 55, 65, 76, 87, 98, 110)
"""Angles from the axis to the picture's farther edges that are tried."""

REFINE_STEPS = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """A lens with one `camera_from_board` per view, and the median view's RMS in px."""

    lens: Lens
    poses: tuple[Pose, ...]
    typical_px: float


def starts(views: Sequence[BoardView], width: int, height: int) -> list[Start]:
    """Give a start for every focal length tried, the best first."""
    board, pixels, weight = _padded(views)
    found = []
    for edge_deg in EDGES_DEG:
        focal = 0.5 * max(width, height) / np.radians(edge_deg)
        lens = Lens(
            width=width,
            height=height,
            fx=float(focal),
            fy=float(focal),
            cx=0.5 * (width - 1),
            cy=0.5 * (height - 1),
        )
        R, t, rms = _poses(lens, board, pixels, weight)
        found.append(Start(lens=lens, poses=_as_poses(R, t), typical_px=float(np.median(rms))))
    return sorted(found, key=lambda each: each.typical_px)


def poses_for(lens: Lens, views: Sequence[BoardView]) -> tuple[tuple[Pose, ...], Array]:
    """Best pose of each view's board for a known lens, and each view's RMS in px, (v,)."""
    R, t, rms = _poses(lens, *_padded(views))
    return _as_poses(R, t), rms


def twin(pose: Pose) -> Pose:
    """The same board leaning the other way: from afar, or nearly so, it looks the same.

    Reflected in the plane square to the line of sight through the board's middle, and then seen
    from its other face, so that it is a turn again.
    """
    R, t = _twins(pose.R[None], pose.t_m[None])
    return _as_poses(R, t)[0]


def _padded(views: Sequence[BoardView]) -> tuple[Array, Array, Array]:
    """Stack views to (v, n, 3), (v, n, 2) and weights (v, n), 0 where a view has fewer corners."""
    most = max(len(view) for view in views)
    board = np.zeros((len(views), most, 3))
    pixels = np.zeros((len(views), most, 2))
    weight = np.zeros((len(views), most))
    for row, view in enumerate(views):
        n = len(view)
        board[row, :n], pixels[row, :n], weight[row, :n] = view.board_m, view.pixels_px, 1.0
        board[row, n:], pixels[row, n:] = view.board_m[0], view.pixels_px[0]
    return board, pixels, weight


def _poses(lens: Lens, board: Array, pixels: Array, weight: Array) -> tuple[Array, Array, Array]:
    """Rotations (v, 3, 3), translations (v, 3) and RMS in px (v,) for a known lens."""
    rays = lens.unproject(pixels)
    # A corner beyond what this lens can see takes no part; a lens that sees few of them loses.
    seen = weight * np.isfinite(rays).all(axis=-1)
    first = _from_rays(np.nan_to_num(rays), board, seen)
    best = _refined(lens, board, pixels, seen, *first)
    other = _refined(lens, board, pixels, seen, *_twins(best[0], best[1]))
    better = other[2] < best[2]
    R = np.where(better[:, None, None], other[0], best[0])
    t = np.where(better[:, None], other[1], best[1])
    rms = np.where(better, other[2], best[2])
    lost = seen.sum(axis=1) < 0.8 * weight.sum(axis=1)
    return R, t, np.where(lost, np.inf, rms)


def _from_rays(rays: Array, board: Array, weight: Array) -> tuple[Array, Array]:
    """Pose of each board from rays (v, n, 3) by a homography, linear least squares."""
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
    return R, t


def _twins(R: Array, t: Array) -> tuple[Array, Array]:
    sight = t / np.maximum(np.linalg.norm(t, axis=-1), 1e-12)[:, None]
    mirror = np.eye(3) - 2 * np.einsum("vi,vj->vij", sight, sight)
    return mirror @ R @ np.diag([1.0, 1.0, -1.0]), t


def _refined(
    lens: Lens, board: Array, pixels: Array, weight: Array, R: Array, t: Array
) -> tuple[Array, Array, Array]:
    """Refine all poses at once with the lens held fixed; with each view's RMS in px."""

    def evaluated(poses: Array, which: NDArray[np.intp]) -> Fitted:
        residual, J = _pose_rows(lens, board, pixels, weight, poses)
        return Fitted(
            state=poses,
            cost=np.square(residual).sum(axis=(1, 2)),
            normal=np.einsum("vnia,vnib->vab", J, J),
            right=-np.einsum("vnia,vni->va", J, residual),
        )

    start = np.concatenate([R, t[..., None]], axis=-1)
    found = descend(evaluated, _moved, start, REFINE_STEPS, less=0.1)
    count = np.maximum(weight.sum(axis=1), 1.0)
    return found.state[..., :3], found.state[..., 3], np.sqrt(found.cost / count)


def _moved(poses: Array, step: Array) -> Array:
    """Poses (v, 3, 4) after steps (v, 6): [R t], moved by t and turned on the left."""
    R = Rotation.from_rotvec(step[:, 3:]).as_matrix() @ poses[..., :3]
    return np.concatenate([R, poses[..., 3:] + step[:, :3, None]], axis=-1)


def _pose_rows(
    lens: Lens, board: Array, pixels: Array, weight: Array, poses: Array
) -> tuple[Array, Array]:
    """Residuals (v, n, 2), and derivatives (v, n, 2, 6) by t and a turn about the board's origin.

    Of poses (v, 3, 4). A point that the lens cannot see counts as far off.
    """
    turned = np.einsum("vij,vnj->vni", poses[..., :3], board)
    seen, d_point, _ = lens.project_with_derivatives(turned + poses[:, None, :, 3])
    J = np.concatenate([d_point, -d_point @ cross_matrix(turned)], axis=-1)
    J = np.nan_to_num(J) * weight[..., None, None]
    residual = np.where(np.isfinite(seen), seen - pixels, float(lens.width)) * weight[..., None]
    return residual, J


def _as_poses(R: Array, t: Array) -> tuple[Pose, ...]:
    u, _, vt = np.linalg.svd(R)
    return tuple(Pose(R=each, t_m=place) for each, place in zip(u @ vt, t, strict=True))

"""A start for a lens fit without any guess: the equidistant lens that suits the boards best.

The centre is taken to be the picture's; focal lengths are tried from a narrow lens to one that sees
behind itself. For each the corners become rays, each board's pose comes from a homography fitted to
the rays themselves (d x H p = 0, linear, never divided by z and so indifferent to 90 degrees), is
refined in the picture, and so is its twin, the same board leaning the other way. The usual start,
vanishing points from plane homographies, has no answer for a wide lens.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from vision.calibration.board import BoardView
from vision.camera.geometry import Pose, cross_matrix
from vision.camera.lens import Lens
from vision.marks.damping import Fitted, descend, rows_of, with_rows
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Views:
    """Views of one length: `board` (v, n, 3), `pixels` (v, n, 2), and what each corner weighs.

    `weight` (v, n) is 0 where a view has fewer corners than the longest.
    """

    board: Array
    pixels: Array
    weight: Array


def starts(views: Sequence[BoardView], width: int, height: int) -> list[Start]:
    """Give a start for every focal length tried, the best first."""
    padded = _padded(views)
    found = []
    for edge_deg in EDGES_DEG:
        focal = float(0.5 * max(width, height) / np.radians(edge_deg))
        cx, cy = 0.5 * (width - 1), 0.5 * (height - 1)
        lens = Lens(width=width, height=height, fx=focal, fy=focal, cx=cx, cy=cy)
        poses, rms = _poses(lens, padded)
        found.append(Start(lens=lens, poses=poses, typical_px=float(np.median(rms))))
    return sorted(found, key=lambda each: each.typical_px)


def poses_for(lens: Lens, views: Sequence[BoardView]) -> tuple[tuple[Pose, ...], Array]:
    """Best pose of each view's board for a known lens, and each view's RMS in px, (v,)."""
    return _poses(lens, _padded(views))


def _padded(views: Sequence[BoardView]) -> _Views:
    most = max(len(view) for view in views)

    def rows(arrays: list[Array]) -> Array:
        return np.array([np.pad(a, [(0, most - len(a)), (0, 0)], mode="edge") for a in arrays])

    return _Views(
        board=rows([view.board_m for view in views]),
        pixels=rows([view.pixels_px for view in views]),
        weight=np.array([np.arange(most) < len(view) for view in views], dtype=np.float64),
    )


def _poses(lens: Lens, views: _Views) -> tuple[tuple[Pose, ...], Array]:
    """A pose for each view by a known lens, and RMS in px (v,)."""
    rays = lens.unproject(views.pixels)
    # A corner beyond what this lens can see takes no part; a lens that sees few of them loses.
    seen = replace(views, weight=views.weight * np.isfinite(rays).all(axis=-1))
    best = _refined(lens, seen, _from_rays(np.nan_to_num(rays), seen))
    other = _refined(lens, seen, twins(best.state))
    better = np.asarray(other.cost < best.cost)
    best = with_rows(best, better, rows_of(other, better))
    count = seen.weight.sum(axis=1)
    rms = np.sqrt(best.cost / np.maximum(count, 1.0))
    lost = count < 0.8 * views.weight.sum(axis=1)
    u, _, vt = np.linalg.svd(best.state[..., :3])
    poses = zip(u @ vt, best.state[..., 3], strict=True)
    return tuple(Pose(R=R, t_m=t) for R, t in poses), np.where(lost, np.inf, rms)


def _from_rays(rays: Array, views: _Views) -> Array:
    """Pose (v, 3, 4) of each board from rays (v, n, 3) by a homography, linear least squares."""
    board, weight = views.board, views.weight
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


def _refined(lens: Lens, views: _Views, start: Array) -> Fitted:
    """Refine all poses (v, 3, 4) at once with the lens held fixed."""

    def evaluated(poses: Array, which: NDArray[np.intp]) -> Fitted:
        residual, J = _pose_rows(lens, views, poses)
        return Fitted(
            state=poses,
            cost=np.square(residual).sum(axis=(1, 2)),
            normal=np.einsum("vnia,vnib->vab", J, J),
            right=-np.einsum("vnia,vni->va", J, residual),
        )

    return descend(evaluated, _moved, start, REFINE_STEPS, less=0.1)


def _moved(poses: Array, step: Array) -> Array:
    """Poses (v, 3, 4) after steps (v, 6): [R t], moved by t and turned on the left."""
    R = Rotation.from_rotvec(step[:, 3:]).as_matrix() @ poses[..., :3]
    return np.concatenate([R, poses[..., 3:] + step[:, :3, None]], axis=-1)


def _pose_rows(lens: Lens, views: _Views, poses: Array) -> tuple[Array, Array]:
    """Residuals (v, n, 2), and derivatives (v, n, 2, 6) by t and a turn about the board's origin.

    A point that the lens cannot see counts as far off.
    """
    turned = np.einsum("vij,vnj->vni", poses[..., :3], views.board)
    seen, d_point, _ = lens.project_with_derivatives(turned + poses[:, None, :, 3])
    J = np.concatenate([d_point, -d_point @ cross_matrix(turned)], axis=-1)
    J = np.nan_to_num(J) * views.weight[..., None, None]
    off = np.where(np.isfinite(seen), seen - views.pixels, float(lens.width))
    return off * views.weight[..., None], J

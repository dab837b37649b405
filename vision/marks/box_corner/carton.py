"""How a carton may stand, where its edges run from one top corner, and what a camera sees of it."""

from __future__ import annotations

import numpy as np

from vision.job.kinds.box_corner import BoxCorner
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array

TUNED = SETTINGS.box_corner


Stand = tuple[float, tuple[float, float]]
"""How a carton may stand: its turn, and which way it lies from its corner."""


def ways_to_stand(
    corner_m: Array, turn_rad: float, shape: BoxCorner, beside_m: Array
) -> list[tuple[float, float]]:
    """Which way the carton may lie from its corner, along and to the left: signs of its two sides.

    `beside_m` (2,) is nearest to this corner of the four: mostly that leaves one way, and near the
    middle of a side two.
    """
    away = np.asarray(corner_m)[:2] - beside_m
    allowed = []
    for axis, length in zip(_axes(turn_rad), shape.size_m or TUNED.unknown_size_m, strict=True):
        ahead = float(axis[:2] @ away)
        allowed.append([sign for sign in (1.0, -1.0) if sign * ahead > -length / 2])
    return [(along, left) for along in allowed[0] for left in allowed[1]]


def carton_edges(
    corner_m: Array, turn_rad: float, shape: BoxCorner, ways: tuple[float, float]
) -> tuple[Array, Array, Array]:
    """The carton's edges from its corner, (3,) each in metres: long side, short side, down."""
    sides = [way * axis for way, axis in zip(ways, _axes(turn_rad), strict=True)]
    reach = [
        min(TUNED.edge_share * length, TUNED.edge_m)
        for length in shape.size_m or TUNED.unknown_size_m
    ]
    drop = min(TUNED.edge_m, TUNED.edge_share * float(corner_m[2]))
    return sides[0] * reach[0], sides[1] * reach[1], np.array([0.0, 0.0, -drop])


def upright_edge_seen(
    corner_m: Array, turn_rad: float, ways: tuple[float, float], camera_m: Array
) -> bool:
    """Whether a camera at `camera_m` (3,) sees the top and a side that ends at the upright edge."""
    sines = side_sines(corner_m, turn_rad, ways, camera_m)
    above = np.asarray(camera_m)[2] - corner_m[2] > TUNED.seen_sine * np.linalg.norm(
        camera_m - corner_m
    )
    return bool(above and sines.max() > TUNED.seen_sine)


def side_sines(
    corner_m: Array, turn_rad: float, ways: tuple[float, float], camera_m: Array
) -> Array:
    """How squarely the sides at the corner's ends face a camera, (2,): sines, below 0 unseen."""
    to_camera = np.asarray(camera_m) - corner_m
    to_camera = to_camera / np.linalg.norm(to_camera)
    return np.array(
        [-way * (axis @ to_camera) for way, axis in zip(ways, _axes(turn_rad), strict=True)]
    )


def _axes(turn_rad: float) -> tuple[Array, Array]:
    cos, sin = float(np.cos(turn_rad)), float(np.sin(turn_rad))
    return np.array([cos, sin, 0.0]), np.array([-sin, cos, 0.0])

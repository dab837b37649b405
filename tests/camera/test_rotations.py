"""Rotation vectors to matrices and back against `scipy.spatial.transform`.

Proves: any angle from nothing to half a turn, near nothing and near half a turn included, one or
many at once. Does not prove: what a matrix that is no rotation gives.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from vision.camera.rotations import rotation_from_vector, vector_from_rotation

ANGLES_RAD = [
    0.0,
    1e-12,
    1e-8,
    1e-4,
    9.9e-4,
    1.1e-3,
    0.1,
    1.0,
    2.0,
    3.0,
    np.pi - 1e-6,
    np.pi - 1e-9,
]


@pytest.mark.parametrize("angle_rad", ANGLES_RAD)
def test_vectors_become_rotations_and_come_back(angle_rad: float) -> None:
    axes = np.random.default_rng(3).normal(size=(200, 3))
    axes = np.concatenate([axes, np.eye(3), -np.eye(3)])
    vectors = angle_rad * axes / np.linalg.norm(axes, axis=1, keepdims=True)
    R = rotation_from_vector(vectors)
    np.testing.assert_allclose(R, Rotation.from_rotvec(vectors).as_matrix(), atol=3e-15)
    np.testing.assert_allclose(vector_from_rotation(R), vectors, atol=2e-15 + 1e-14 * angle_rad)


def test_half_a_turn_has_the_right_axis_of_either_sign() -> None:
    for axis in np.random.default_rng(4).normal(size=(50, 3)):
        unit = axis / np.linalg.norm(axis)
        found = vector_from_rotation(2 * np.outer(unit, unit) - np.eye(3))
        assert np.linalg.norm(found) == pytest.approx(np.pi)
        assert abs(found @ unit) == pytest.approx(np.pi)


def test_one_alone_keeps_its_shape() -> None:
    vector = np.array([0.3, -0.2, 0.5])
    assert rotation_from_vector(vector).shape == (3, 3)
    np.testing.assert_allclose(vector_from_rotation(rotation_from_vector(vector)), vector)

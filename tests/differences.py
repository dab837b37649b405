"""Rows of a network against central differences: the check that every derivative of it passes."""

from __future__ import annotations

import numpy as np

from tests.adjusting import whole
from vision.adjustment.groups import Group
from vision.adjustment.network import Network
from vision.adjustment.state import State, Weights


def assert_rows_as_differences(
    network: Network, weights: Weights, state: State, *, closeness: float
) -> None:
    """Every row by every column; `closeness` is relative to a column's length."""
    _, jacobian = whole(network, weights, state)
    lengths = np.linalg.norm(jacobian, axis=0)
    for column, along in enumerate(1e-2 / lengths * np.eye(network.size)):
        plus, _ = whole(network, weights, state.moved(along))
        minus, _ = whole(network, weights, state.moved(-along))
        np.testing.assert_allclose(
            (plus - minus) / (2 * along[column]),
            jacobian[:, column],
            atol=closeness * lengths[column],
            err_msg=str(column),
        )


def assert_group_as_differences(network: Network, state: State, group: Group) -> None:
    """The rows of one group by the unknowns that are kept."""
    _, jacobian = network.group_rows(state, group)
    for column, step in enumerate(1e-5 * np.eye(network.size)[: network.kept]):
        plus, _ = network.group_rows(state.moved(step), group)
        minus, _ = network.group_rows(state.moved(-step), group)
        np.testing.assert_allclose(
            (plus - minus) / 2e-5, jacobian[:, column], atol=1e-7, err_msg=str(group)
        )

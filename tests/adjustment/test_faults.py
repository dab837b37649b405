"""The size of a fault that data leave possible, and the size that is found.

Proves: the farthest point of an ellipsoid against brute force, also where its middle lies on an
axis; a true fault is refuted in 1 of 100 draws; the least fault found against tables of the normal
distribution; by how much faults spread beyond what was stated, on drawn ones, and the weight that
this leaves, by hand. Does not prove that the network's information is right: that is tested with
the adjustment.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from vision.adjustment.faults import GroupFault, farthest
from vision.adjustment.prior_inflation import believed
from vision.adjustment.settings import SETTINGS as ADJUSTMENT
from vision.camera.statistics import noncentrality
from vision.units.arrays import Array


def fault(estimate: Array, information: Array) -> GroupFault:
    return GroupFault(
        estimate=estimate,
        information=information,
        apart=information[None] / 2,
        degrees_of_freedom=2,
        level=0.001,
    )


@pytest.mark.parametrize(
    ("middle", "information"),
    [
        ((0.3, -0.2), (4.0, 1.0)),
        ((0.0, 0.0), (4.0, 1.0)),
        ((0.5, 0.0), (4.0, 1.0)),
        ((5.0, 0.0), (4.0, 1.0)),
        ((0.0, 0.5), (4.0, 1.0)),
        ((0.3, 0.4), (1.0, 1.0)),
        ((0.0, 0.0), (1.0, 1.0)),
        ((1e-3, 3e-3), (1e6, 1e2)),
    ],
)
def test_farthest_point_of_an_ellipse(
    middle: tuple[float, float], information: tuple[float, float]
) -> None:
    angle = np.linspace(0, 2 * np.pi, 200_001)
    limit = 5.99
    rim = np.sqrt(limit) * np.stack([np.cos(angle), np.sin(angle)]) / np.sqrt(information)[:, None]
    brute = np.linalg.norm(np.array(middle)[:, None] + rim, axis=0).max()
    found = farthest(np.array(middle), np.array(information), limit)
    assert found == pytest.approx(brute, rel=1e-6)


def test_farthest_point_in_three_dimensions() -> None:
    rng = np.random.default_rng(1)
    directions = rng.normal(size=(400_000, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    for _ in range(5):
        information, middle = rng.uniform(0.5, 9, 3), rng.normal(size=3)
        brute = np.linalg.norm(middle + 2.8 * directions / np.sqrt(information), axis=1).max()
        found = farthest(middle, information, 2.8**2)
        assert brute <= found < 1.002 * brute


def test_a_true_fault_is_refuted_in_one_of_a_hundred_at_most() -> None:
    rng = np.random.default_rng(2)
    A = np.array([[4.0, 1.2], [1.2, 0.9]])
    root = np.linalg.cholesky(np.linalg.inv(A))
    for true in (np.array([3.0, -1.0]), np.zeros(2)):
        drawn = true + (root @ rng.normal(size=(2, 2000))).T
        held = [fault(each, A).possible >= np.linalg.norm(true) for each in drawn]
        assert np.mean(held) > 0.985


def test_one_direction_is_the_estimate_and_its_two_sided_bound() -> None:
    # 2.57583: two-sided 99 % of the normal distribution, normal tables.
    found = fault(np.array([-0.02]), np.array([[1e4]]))
    assert found.possible == pytest.approx(0.02 + 0.0257583, rel=1e-4)


def test_what_nothing_controls_may_be_of_any_size() -> None:
    found = fault(np.zeros(2), np.diag([1e4, 0.0]))
    assert found.possible == np.inf
    assert found.detectable() == np.inf
    assert np.isfinite(found.detectable_along(np.array([1.0, 0.0])))


def test_a_slanted_direction_that_nothing_controls_counts_as_such() -> None:
    unseen = np.array([0.36, 0.48, 0.8])
    found = fault(np.zeros(3), 1e6 * (np.eye(3) - np.outer(unseen, unseen)))
    assert found.possible == np.inf
    assert found.detectable() == np.inf
    assert found.named == np.inf
    assert found.detectable_along(unseen) == np.inf
    assert found.named_along(unseen) == np.inf


def test_least_fault_found_against_normal_tables() -> None:
    # Normal tables: 1.95996 (two-sided 5 %), 0.84162 (80 %), 2.05375 (98 %).
    assert noncentrality(1, 0.05, ADJUSTMENT.power) == pytest.approx(
        (1.95996 + 0.84162) ** 2, rel=1e-3
    )
    assert noncentrality(1, 0.05, ADJUSTMENT.sure) == pytest.approx(
        (1.95996 + 2.05375) ** 2, rel=1e-3
    )
    found = fault(np.zeros(2), 1e4 * np.eye(2))
    share = stats.ncx2.sf(stats.chi2.isf(0.001, 2), 2, 1e4 * found.detectable(ADJUSTMENT.sure) ** 2)
    assert share == pytest.approx(ADJUSTMENT.sure, abs=1e-6)


def test_excess_is_by_how_much_a_fault_spreads_more_than_stated() -> None:
    rng = np.random.default_rng(5)
    A, stated = np.array([[4.0, 1.2], [1.2, 0.9]]), np.array([[0.3, 0.1], [0.1, 0.2]])
    for times in (30.0, 100.0):
        spread = np.linalg.cholesky(np.linalg.inv(A) + times * stated)
        drawn = (spread @ rng.normal(size=(2, 4000))).T
        mean = np.mean([fault(each, A).spread(stated)[0] for each in drawn])
        assert mean == pytest.approx(times, rel=0.06)
    assert fault(np.array([0.1, 0.1]), A).spread(stated)[0] == 0


def test_stated_weight_is_lost_where_a_fault_is_likelier() -> None:
    stated = np.diag([0.5])
    weights = [believed(fault(np.array([x]), np.eye(1)), stated) for x in (0.5, 1.0, 3.0, 5.0, 9.0)]
    assert weights[:2] == [1.0, 1.0]
    # Worked by hand for x = 3: f = (9 - 1) / 0.5 = 16, a variance of 1 or of 9. Densities there
    # 0.00443 and 0.08066 (normal tables), so the fault is 0.25 * 18.2 times as likely: 0.820 of it.
    assert weights[2] == pytest.approx(1 - 0.820 * 16 / 17, abs=0.002)
    assert weights[3:] == pytest.approx([1 / 49, 1 / 161], abs=1e-3)

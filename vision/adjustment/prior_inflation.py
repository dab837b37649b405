"""How firmly a strip's stated place holds it where the rest says that it lies elsewhere.

A fault that is too small to be named still pulls: the stated place, wrong by several of its sigmas,
drags the strip, what stands beside it and the cameras that see it, and the sigmas do not show it. A
person lays a strip as a whole, shifted or turned: either as stated, or with a variance that is
larger by as much as the data suggest. The weight of the stated place is what is expected of the
two, by how likely each is (Aitkin and Wilson, "Mixture models, outliers, and the EM algorithm",
Technometrics 22, 1980). That is variance inflation of the prior. Nothing is named by it; a strip
that fits keeps what was stated of it, and one that plainly does not is as good as free.
"""

from __future__ import annotations

import numpy as np

from vision.adjustment.adjusted import GroupTest
from vision.adjustment.faults import GroupFault
from vision.adjustment.groups import Group
from vision.adjustment.network import Network
from vision.adjustment.settings import SETTINGS
from vision.units.arrays import Array


def inflated_sigmas(
    network: Network, tests: dict[Group, GroupTest], freed: tuple[Group, ...]
) -> dict[Group, float]:
    """Sigma in m of every held strip whose stated one is not wholly believed, by group.

    `tests` are those of the solution that has `freed` free.
    """
    sigmas = {}
    for group, test in tests.items():
        if group in freed or group.kind != "strip":
            continue
        weight = min(believed(fault, test.rows.stated(kind)) for kind, fault in test.faults.items())
        if weight < 1 - SETTINGS.least_inflation:
            statement = network.statements[group]
            sigmas[group] = min(statement.sigma / float(np.sqrt(weight)), statement.freed_sigma)
    return sigmas


def believed(fault: GroupFault, stated: Array) -> float:
    """Share of its stated weight that a thing keeps, by one fault that it may have.

    `stated` (j, j) is the covariance of the fault as stated.
    """
    excess, log_bayes = fault.spread(stated)
    against = np.log(1 / SETTINGS.mislaid - 1) - log_bayes
    mislaid = 0.5 * (1 - float(np.tanh(0.5 * against)))
    return 1 - mislaid * excess / (1 + excess)

"""What the texture tells about a seam, as values, and how it compares with the marks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.camera.statistics import chi_square_limit
from vision.units.arrays import Array, freeze
from vision.units.plain import also_written, written
from vision.units.reason import Reason
from vision.views.seams.gaps import SeamGap

CHI2_DIFFERS = chi_square_limit(0.999, 2)
"""Of a shift in two coordinates: one in a thousand is as large though nothing differs."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TextureShift:
    """Where the first view puts the ground at the seam's middle, minus where the second does.

    `at_m` (2,) the seam's middle; `shift_m` (2,) with `covariance_m2` (2, 2), ground x and y;
    `slope` (2,) its change in m per m outward along the seam; `correlation` of the two drawings
    once shifted.
    """

    shift_m: Array = written(5, key="texture_shift_m")
    at_m: Array = written(5, key="texture_at_m")
    covariance_m2: Array
    slope: Array
    correlation: float

    def __post_init__(self) -> None:
        freeze(self, at_m=(2,), shift_m=(2,), covariance_m2=(2, 2), slope=(2,))

    @property
    @also_written(5, key="texture_sigma_m")
    def sigma_m(self) -> Array:
        """Standard deviations (2,) of the shift."""
        return np.sqrt(np.diag(self.covariance_m2))


@dataclass(frozen=True, slots=True, kw_only=True)
class NoTexture:
    """The texture cannot tell, and why."""

    reason: Reason

    @property
    def code(self) -> str:
        """The reason's code."""
        return self.reason.code


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Agreement:
    """How the texture's shift compares with what the marks say at the same place.

    `marks_m` (2,) and `marks_covariance_m2` (2, 2): the seam gap of the joint adjustment there;
    `chi2` of the difference, two degrees of freedom; `verdict` agrees, differs or cannot-tell.
    """

    verdict: Literal["agrees", "differs", "cannot-tell"]
    marks_m: Array | None = written(5, key="texture_marks_gap_m")
    marks_covariance_m2: Array | None
    chi2: float | None


def texture_agreement(shift: TextureShift, gap: SeamGap) -> Agreement:
    """Compare with the marks' gap at the same place; cannot-tell where that has none."""
    away = np.linalg.norm(gap.points_m - shift.at_m, axis=1)
    around = away < away.min() + 1e-6  # one point, or the two on either side
    marks = gap.gaps_m[around].mean(axis=0)
    covariance = gap.covariances_m2[around].mean(axis=0)
    if not np.isfinite(marks).all():
        return Agreement(verdict="cannot-tell", marks_m=None, marks_covariance_m2=None, chi2=None)
    apart = shift.shift_m - marks
    chi2 = float(apart @ np.linalg.solve(shift.covariance_m2 + covariance, apart))
    return Agreement(
        verdict="differs" if chi2 > CHI2_DIFFERS else "agrees",
        marks_m=marks,
        marks_covariance_m2=covariance,
        chi2=chi2,
    )

"""What a plan is found to be worth, as values: views, predicted sigmas, limits, advice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vision.inspection.verdict.rule import COVERAGE
from vision.job.job import Job
from vision.marks.measure.forecast import Light
from vision.units.arrays import Array

ViewStatus = Literal[
    "seen", "hidden", "outside-lens", "outside-picture", "from-below", "small", "not-measured"
]
PlanWord = Literal["decides", "beyond", "cannot-decide"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedView:
    """One point of the layout as one camera would show it, with lens and aim as intended.

    `hidden_by` is "the body" or a raised mark's name. `extent_px` is the shorter extent of the
    mark in the picture; None where the lens does not show it. `covariance_px2` (2, 2) of the centre
    is given for points that count, those "seen".
    """

    camera: str
    mark: str
    status: ViewStatus
    hidden_by: str | None = None
    pixel_px: Array | None = None
    extent_px: float | None = None
    covariance_px2: Array | None = None
    sigma_px: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedCamera:
    """Sigmas that the joint adjustment would reach for one camera.

    `aim_sigma_rad`: pan, tilt, roll; `position_sigma_m`: x, y, z. `found_mounting_m` is the least
    fault of its mounting, in the worst direction, that would be found in 80 of 100 jobs.
    """

    name: str
    marks: int
    strips: int
    aim_sigma_rad: tuple[float, float, float]
    position_sigma_m: tuple[float, float, float]
    nearest_ground_m: float
    nearest_ground_sigma_m: float
    found_mounting_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedLaying:
    """The largest sigma of any mark's place on a strip, or of a single mark; None where unseen.

    `found_m` is the least shift of the whole, in the worst direction, found in 80 of 100 jobs.
    """

    name: str
    sigma_m: float | None
    mark: str
    found_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedSeam:
    """What the gap along one seam would be known to.

    `sigma_m` is the largest along the seam, at `worst_at_m`; None where no point is covered by both
    views. `usual_gap_m` is the RMS gap at its worst point of jobs laid as well as stated: what a
    display that fits each camera alone would show though nothing is wrong.
    """

    between: tuple[str, str]
    shared_marks: int
    sigma_m: float | None
    worst_at_m: tuple[float, float] | None
    usual_gap_m: float | None
    uncovered_m: float
    overlap_m: float | None
    overlap_sigma_m: float | None

    @property
    def rare_gap_m(self) -> float:
        """What at most one job in twenty without a fault exceeds, its own two sigma included."""
        return COVERAGE * ((self.usual_gap_m or 0.0) + (self.sigma_m or 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One sigma against the tolerance that it is to decide; both in m, or in rad for an angle.

    `cameras` are those whose aim it depends on in the first place.
    """

    what: str
    cameras: tuple[str, ...] = ()
    sigma: float
    tolerance: float
    unit: Literal["m", "rad"]

    @property
    def ratio(self) -> float:
        """Two sigma over the tolerance: above 1 nothing can ever be within."""
        return COVERAGE * self.sigma / self.tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Why a layout will not do: `code`, a sentence, and whether more accuracy would help."""

    code: str
    text: str
    word: PlanWord
    cameras: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What one layout would reach. `limits` are sorted, the worst first."""

    job: Job
    light: Light
    size_px: tuple[int, int]
    views: tuple[PlannedView, ...]
    cameras: tuple[PredictedCamera, ...]
    layings: tuple[PredictedLaying, ...]
    seams: tuple[PredictedSeam, ...]
    limits: tuple[Limit, ...]
    problems: tuple[Problem, ...]

    @property
    def word(self) -> PlanWord:
        """Beyond where something is too little by any measure; else whether the layout decides."""
        words = {problem.word for problem in self.problems}
        return "beyond" if "beyond" in words else "cannot-decide" if words else "decides"

    @property
    def worst(self) -> float:
        """Two sigma over tolerance of the worst limit; infinite where nothing can be predicted."""
        return self.limits[0].ratio if self.limits else float("inf")

    @property
    def total(self) -> float:
        """Sum of squares of all limits' ratios: what is left when the worst is the same."""
        return sum(limit.ratio**2 for limit in self.limits)


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One addition to the layout, and the figures it would bring.

    `limit` is the worst limit of the layout as it is and `after` its sigma with the addition;
    `worst_after` is the worst ratio with it, where now it is `worst_before`.
    """

    kind: Literal["mark", "strip", "raised mark"]
    text: str
    limit: Limit
    after: float
    worst_before: float
    worst_after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedAim:
    """One aim of one camera, the others as intended: worst ratio of what it touches, and ground."""

    pan_rad: float
    tilt_rad: float
    worst: float
    limit: Limit | None
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AimChoice:
    """The best aim within a camera's bracket, beside the intended one and a tilt of 45 degrees."""

    camera: str
    adjustable: tuple[str, ...]
    best: TriedAim
    intended: TriedAim
    at_45: TriedAim


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """A layout's prediction with what would improve it."""

    prediction: Prediction
    advice: tuple[Advice, ...]
    aims: tuple[AimChoice, ...]

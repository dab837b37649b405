"""What a layout is found to be worth, as values: views, predicted sigmas, limits, advice.

Fields that are `written` are those of `plan.json`; why something is so is a `Reason`, of which
`vision.documents.plan_words` makes the sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vision.camera.geometry import ANGLES
from vision.inspection.verdict.cameras import CameraWord
from vision.inspection.verdict.layings import LayingWord
from vision.inspection.verdict.rule import COVERAGE, Judgement
from vision.job.job import Job
from vision.job.mark_id import MarkId
from vision.marks.measure.forecast import Light
from vision.units.arrays import Array
from vision.units.plain import also_written, written
from vision.units.reason import Reason

ViewStatus = Literal[
    "seen", "hidden", "outside-lens", "outside-picture", "from-below", "small", "not-measured"
]
PlanWord = Literal["decides", "beyond", "cannot-decide"]
AdditionKind = Literal["mark", "strip", "raised mark"]
Given = Literal["small-marks-found", "lenses-fitted"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedView:
    """One point of the layout as one camera would show it, with lens and aim as intended.

    `hidden_by` is "the body" or a raised mark's name. `extent_px` is the shorter extent of the
    mark in the picture; None where the lens does not show it. `covariance_px2` (2, 2) of the centre
    is given for points that count, those "seen".
    """

    camera: str
    mark: MarkId = written()
    status: ViewStatus = written()
    hidden_by: str | None = written(default=None)
    pixel_px: Array | None = written(2, key="pixel", default=None)
    extent_px: float | None = written(2, default=None)
    covariance_px2: Array | None = None
    sigma_px: float | None = written(4, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedCamera:
    """Sigmas that the joint adjustment would reach for one camera, and its view of every point.

    `verdict` is what the check says of it, by the same function, where all is as planned.
    `aim_sigma_rad`: pan, tilt, roll; `position_sigma_m`: x, y, z. `found_mounting_m` is the least
    fault of its mounting, in the worst direction, that would be found in 80 of 100 jobs; infinite
    where none of a metre would.
    """

    name: str = written()
    marks: int = written()
    strips: int = written()
    aim_sigma_rad: tuple[float, float, float] = written(4, degrees=True, names=ANGLES)
    position_sigma_m: tuple[float, float, float] = written(5)
    nearest_ground_m: float = written(3)
    nearest_ground_sigma_m: float
    verdict: CameraWord = written()
    found_mounting_m: float = written(4)
    views: tuple[PlannedView, ...] = written(default=())


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedLaying:
    """The largest sigma of any mark's place on a strip, or of a single mark; None where unseen.

    `mark` is the one that has it; `verdict` what the check says of it. `found_m` is the least shift
    of the whole, in the worst direction, found in 80 of 100 jobs; infinite where none of a metre
    is.
    """

    name: str = written()
    sigma_m: float | None = written(5)
    mark: MarkId | None = written(key="worst_mark")
    found_m: float | None = written(4)
    verdict: LayingWord = written(default="not-judged")


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedSeam:
    """What the gap along one seam would be known to.

    `sigma_m` is the largest along the seam, at `worst_at_m`; None where no point is covered by both
    views. `usual_gap_m` is the RMS gap at its worst point of jobs laid as well as stated: what a
    display that fits each camera alone would show though nothing is wrong.
    """

    between: tuple[str, str] = written()
    shared_marks: int = written()
    sigma_m: float | None = written(5)
    worst_at_m: tuple[float, float] | None = written(3)
    usual_gap_m: float | None = written(4)
    overlap_m: float | None = written(3)
    overlap_sigma_m: float | None
    uncovered_m: float = written(3)
    verdict: Judgement = written()

    @property
    def rare_gap_m(self) -> float:
        """What at most one job in twenty without a fault exceeds, its own two sigma included."""
        return COVERAGE * ((self.usual_gap_m or 0.0) + (self.sigma_m or 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One sigma against the tolerance that it is to decide; both in m, or in rad for an angle.

    `of` says of what: an aim's angle, a place or a seam. `cameras` are those whose aim it depends
    on in the first place.
    """

    of: Reason = written(text=True, key="what")
    cameras: tuple[str, ...] = ()
    sigma: float
    tolerance: float

    @property
    def angle(self) -> bool:
        """Whether it is an angle, in rad, and no length."""
        return self.of.code == "aim"

    @property
    @also_written(5, degrees=True, optional=True)
    def sigma_rad(self) -> float | None:
        """The sigma of an angle."""
        return self.sigma if self.angle else None

    @property
    @also_written(5, optional=True)
    def sigma_m(self) -> float | None:
        """The sigma of a length."""
        return None if self.angle else self.sigma

    @property
    @also_written(5, degrees=True, optional=True)
    def tolerance_rad(self) -> float | None:
        """What is allowed of an angle."""
        return self.tolerance if self.angle else None

    @property
    @also_written(5, optional=True)
    def tolerance_m(self) -> float | None:
        """What is allowed of a length."""
        return None if self.angle else self.tolerance

    @property
    @also_written(4, key="two_sigma_over_tolerance")
    def ratio(self) -> float:
        """Two sigma over the tolerance: above 1 nothing can ever be within."""
        return COVERAGE * self.sigma / self.tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Why a layout will not do; beyond where no accuracy would help."""

    reason: Reason = written(text=True, key="text")
    word: PlanWord = written(key="verdict", default="cannot-decide")
    cameras: tuple[str, ...] = ()

    @property
    @also_written()
    def code(self) -> str:
        """The reason's, for scripts."""
        return self.reason.code


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What one layout would reach. `limits` are sorted, the worst first."""

    job: Job
    light: Light
    size_px: tuple[int, int]
    views: tuple[PlannedView, ...]
    problems: tuple[Problem, ...] = written()
    cameras: tuple[PredictedCamera, ...] = written()
    layings: tuple[PredictedLaying, ...] = written(key="strips_and_marks")
    seams: tuple[PredictedSeam, ...] = written()
    limits: tuple[Limit, ...] = written()

    @property
    @also_written(key="verdict")
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

    kind: AdditionKind = written()
    addition: Reason = written(text=True, key="text")
    limit: Limit = written()
    after: float
    worst_before: float = written(4)
    worst_after: float = written(4)


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedAim:
    """One aim of one camera, the others as intended: worst ratio of what it touches, and ground."""

    pan_rad: float = written(3, degrees=True)
    tilt_rad: float = written(3, degrees=True)
    worst: float = written(4)
    limit: Limit | None = written()
    problems: tuple[Reason, ...] = written(text=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class AimChoice:
    """The best aim within a camera's bracket, beside the intended one and a tilt of 45 degrees."""

    camera: str = written()
    adjustable: tuple[str, ...] = written()
    best: TriedAim = written()
    intended: TriedAim = written()
    at_45: TriedAim = written()


@dataclass(frozen=True, slots=True, kw_only=True)
class Hope:
    """What a layout decides where more is known than a plan may count on.

    `given`: marks smaller than what a plan counts on are found, lenses are fitted from a board, or
    both. `small` are those marks as their cameras show them, `larger` how many times as large they
    would have to be printed to be counted on. `worst` is the worst ratio then, `problems` what
    stays open.
    """

    given: tuple[Given, ...] = written()
    small: tuple[PlannedView, ...] = ()
    larger: float | None = written(3, default=None)
    verdict: PlanWord = written()
    worst: float = written(4, key="two_sigma_over_tolerance")
    problems: tuple[Problem, ...] = written()

    @property
    @also_written()
    def small_marks(self) -> tuple[str, ...]:
        """Camera and mark of each, for scripts."""
        return tuple(f"{view.camera} {view.mark}" for view in self.small)


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """A layout's prediction with what would improve it.

    `hopes` are what it decides though it cannot decide all by what it may count on; empty where it
    decides, or where no picture and no board would help.
    """

    prediction: Prediction
    advice: tuple[Advice, ...] = written()
    aims: tuple[AimChoice, ...] = written()
    hopes: tuple[Hope, ...] = written(default=())

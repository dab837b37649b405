"""A layout proposed for a vehicle: the cheapest of a few hundred that decides every verdict.

Nothing is taken from a rule of thumb: every layout is predicted in full, and the first in order of
cost that passes is taken. It is asked for more than deciding: marks large enough to be found
surely, and room for what usually goes wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.job import Cross, Job
from vision.measure import Light
from vision.planning.layouts import Choice, Size, extent_m, laid_out
from vision.planning.prediction import SIZE_PX, predict
from vision.planning.values import Prediction
from vision.planning.visibility import SURE_PX
from vision.verdict.rule import COVERAGE, centimetres

METRIC_GRID_M, INCH_GRID_M = 0.05, 0.0508
"""Figures are multiples of 5 cm, or of 2 in."""
SIDE_STEPS = (40, 30, 24, 20, 16, 12, 8)
END_STEPS = (20, 16, 12, 8)
"""Spacings in steps of the grid, widest first: 2 m to 40 cm, and 1 m to 40 cm."""
OUT_STEPS = (24, 18, 14)
"""How far out the end strips lie, in steps: 1.2 m, less where the lot is short."""
SIZES = (
    Size(shape=Cross(arm_along_m=0.12, arm_across_m=0.08, line_m=0.025), tape_width_m=0.18),
    Size(shape=Cross(arm_along_m=0.18, arm_across_m=0.12, line_m=0.04), tape_width_m=0.27),
    Size(shape=Cross(arm_along_m=0.3, arm_across_m=0.18, line_m=0.06), tape_width_m=0.4),
    Size(shape=Cross(arm_along_m=0.45, arm_across_m=0.24, line_m=0.09), tape_width_m=0.54),
    Size(shape=Cross(arm_along_m=0.6, arm_across_m=0.3, line_m=0.12), tape_width_m=0.66),
)
"""Crosses on tape; far along a strip it is the arm along that shrinks, so it is the longer one."""
ROWS = ((False, False), (True, False), (True, True))

MARGIN = 1.5
"""Two sigma times this must stay within each tolerance: what deviates by a third of its tolerance
is then still surely within."""
SURE_MARKS, SURE_SHARED = 10, 3
"""Marks for each camera and for each seam; common practice, no source."""
FOUND_STRIP = 2.0
"""A strip laid wrong by this many tolerances must be found in 80 of 100 jobs."""
LOT_ROOM_M = 0.6
"""Room to walk between the layout and the lot's edge, each side; common practice, no source."""

MINUTES = {"mark": 1.0, "metre": 0.7, "wide": 1.5, "raised": 6.0, "strip": 4.0}
"""Of laying: a mark, a metre of tape, the same for tape wider than one roll (18 cm), a raised mark,
a strip's ends. Common practice, no source; only the order of layouts depends on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A layout that decides every verdict: the job, how it was chosen, and what it takes."""

    prediction: Prediction
    choice: Choice
    minutes: float
    tried: int

    @property
    def job(self) -> Job:
        """The whole job, ready but for the pictures."""
        return self.prediction.job


@dataclass(frozen=True, slots=True, kw_only=True)
class NoProposal:
    """Why no layout that was tried will do; `nearest` is the one that comes nearest, if any."""

    reasons: tuple[str, ...]
    nearest: Prediction | None = None


def propose(
    vehicle_job: Job,
    light: Light | None = None,
    size_px: tuple[int, int] = SIZE_PX,
    *,
    inches: bool = False,
) -> Proposal | NoProposal:
    """The cheapest layout for a vehicle with its cameras that has no `shortcomings`.

    First among layouts with raised marks, which alone do not lie in the ground's plane, so that a
    height need not be taken on the word of whoever measured it; then among those without.
    """
    search = _Search(vehicle_job, light, size_px, INCH_GRID_M if inches else METRIC_GRID_M)
    out = search.farthest_out()
    if out is None:
        return NoProposal(reasons=(_too_small(vehicle_job, search.grid_m),))
    for raised in (True, False):
        found = search.cheapest(out, raised)
        if found is not None:
            return found
    assert search.nearest is not None
    return NoProposal(reasons=shortcomings(search.nearest), nearest=search.nearest)


class _Search:
    """A search over `Choice`s that remembers what came nearest."""

    def __init__(
        self, vehicle_job: Job, light: Light | None, size_px: tuple[int, int], grid_m: float
    ) -> None:
        self.vehicle_job, self.light, self.size_px, self.grid_m = (
            vehicle_job,
            light,
            size_px,
            grid_m,
        )
        self.tried = 0
        self.nearest: Prediction | None = None
        self._nearest_score = (np.inf, np.inf)

    def farthest_out(self) -> float | None:
        """How far out the end strips may lie on the lot, in m; None where not even the least."""
        widest = self.vehicle_job.means.tape_width_m or np.inf
        if widest < SIZES[0].tape_width_m - 1e-9:
            return None
        for steps in OUT_STEPS:
            if _fits(laid_out(self.vehicle_job, _smallest(self.grid_m, steps))):
                return steps * self.grid_m
        return None

    def cheapest(self, out_m: float, raised: bool) -> Proposal | None:
        """The cheapest layout without shortcomings; sizes that fail at their densest are passed by.

        A larger mark with the same spacing costs more, so the first size that does sets the bound.
        """
        best: Proposal | None = None
        widest = self.vehicle_job.means.tape_width_m or np.inf
        for size in SIZES:
            for rows in ROWS:
                group = [
                    self._choice(size, side, end, out_m, rows, raised)
                    for side in SIDE_STEPS
                    for end in END_STEPS
                ]
                jobs = [(minutes_of(job := laid_out(self.vehicle_job, c)), c, job) for c in group]
                jobs = [
                    each
                    for each in sorted(jobs, key=lambda each: each[0])
                    if _fits(each[2]) and (best is None or each[0] < best.minutes)
                ]
                if size.tape_width_m > widest + 1e-9 or not jobs:
                    continue
                if self._tried(jobs[-1][2])[1]:
                    continue
                for minutes, choice, job in jobs:
                    prediction, wrong = self._tried(job)
                    if not wrong:
                        best = Proposal(
                            prediction=prediction, choice=choice, minutes=minutes, tried=self.tried
                        )
                        break
        return best

    def _choice(
        self,
        size: Size,
        side: int,
        end: int,
        out_m: float,
        rows: tuple[bool, bool],
        raised: bool,
    ) -> Choice:
        return Choice(
            size=size,
            side_m=side * self.grid_m,
            end_m=end * self.grid_m,
            out_m=out_m,
            rows=rows,
            raised=raised,
            grid_m=self.grid_m,
        )

    def _tried(self, job: Job) -> tuple[Prediction, tuple[str, ...]]:
        self.tried += 1
        prediction = predict(job, self.light, self.size_px, least_px=SURE_PX)
        wrong = shortcomings(prediction)
        score = (len(wrong), prediction.worst)
        if score < self._nearest_score:
            self.nearest, self._nearest_score = prediction, score
        return prediction, wrong


def minutes_of(job: Job) -> float:
    """What laying takes two people, roughly: only its order counts."""
    total = MINUTES["raised"] * sum(mark.at_m[2] > 0 for mark in job.marks)
    for strip in job.strips:
        metres = strip.length_m * MINUTES["metre"]
        if strip.tape_width_m > SIZES[0].tape_width_m:
            metres *= MINUTES["wide"] * strip.tape_width_m / SIZES[0].tape_width_m
        total += MINUTES["strip"] + metres + MINUTES["mark"] * len(strip.at_m)
    return float(total)


def shortcomings(prediction: Prediction) -> tuple[str, ...]:
    """Why a layout is not to be proposed; empty where it is."""
    allowed = prediction.job.tolerances
    found = [problem.text for problem in prediction.problems]
    found += [
        f"{limit.what}: two sigma are {limit.ratio:.0%} of the tolerance"
        for limit in prediction.limits
        if 1 / MARGIN < limit.ratio <= 1
    ]
    for camera in prediction.cameras:
        if camera.marks < SURE_MARKS or camera.strips < 2:
            text = (
                f"camera {camera.name} surely sees {camera.marks} marks on {camera.strips} strips"
            )
            found.append(text)
    for seam in prediction.seams:
        name = f"seam {seam.between[0]} - {seam.between[1]}"
        if seam.shared_marks < SURE_SHARED:
            found.append(f"{name}: {seam.shared_marks} marks are surely seen by both cameras")
        usual = (seam.usual_gap_m or 0.0) + COVERAGE * (seam.sigma_m or 0.0)
        if usual > allowed.seam_gap_m:
            text = (
                f"{name}: the gap of a job without a fault is {centimetres(usual)} with two sigma"
            )
            found.append(text)
    for laying in prediction.layings:
        least = FOUND_STRIP * allowed.strip_m
        on_strip = any(strip.name == laying.name for strip in prediction.job.strips)
        if on_strip and laying.found_m is not None and laying.found_m > least:
            found.append(
                f"{laying.name} would have to lie {centimetres(laying.found_m)} wrong to be found"
            )
    return tuple(found)


def _smallest(grid: float, out: int) -> Choice:
    return Choice(
        size=SIZES[0],
        side_m=SIDE_STEPS[0] * grid,
        end_m=END_STEPS[0] * grid,
        out_m=out * grid,
        rows=ROWS[0],
        raised=False,
        grid_m=grid,
    )


def _fits(job: Job) -> bool:
    """Whether a layout fits the lot, with room to walk round it."""
    needed = [each + 2 * LOT_ROOM_M for each in extent_m(job)]
    limits = (job.means.lot_length_m, job.means.lot_width_m)
    return all(
        limit is None or need <= limit + 1e-9 for need, limit in zip(needed, limits, strict=True)
    )


def _too_small(vehicle_job: Job, grid: float) -> str:
    if (vehicle_job.means.tape_width_m or np.inf) < SIZES[0].tape_width_m:
        return (
            f"the tape is too narrow: the smallest mark needs {centimetres(SIZES[0].tape_width_m)}"
        )
    needed = [
        e + 2 * LOT_ROOM_M for e in extent_m(laid_out(vehicle_job, _smallest(grid, OUT_STEPS[-1])))
    ]
    return (
        f"the lot is too small: even the closest layout needs {needed[0]:.1f} m along the vehicle"
        f" and {needed[1]:.1f} m across, with room to walk"
    )

"""A layout proposed for a vehicle: the cheapest of a few hundred that decides every verdict.

Nothing is taken from a rule of thumb: every layout is predicted in full, and the first in order of
cost that passes is taken. It is asked for more than deciding: marks large enough to be found
surely, and room for what usually goes wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from vision.camera.lens_prior import USUAL_SIZE_PX
from vision.job.job import Job
from vision.marks.measure.forecast import Light
from vision.planning.layouts import Choice, extent_m, laid_out
from vision.planning.plan import Prediction
from vision.planning.prediction import predict
from vision.planning.sizes import ROLL_M, SIZES, MarkKind, Size, printed_m
from vision.planning.visibility import SURE_PX

METRIC_GRID_M, INCH_GRID_M = 0.05, 0.0508
"""Figures are multiples of 5 cm, or of 2 in."""
SIDE_STEPS = (60, 50, 40, 30, 24, 20, 16, 12, 8)
END_STEPS = (32, 24, 20, 16, 12, 8)
"""Spacings in steps of the grid, widest first: 3 m to 40 cm, and 1.6 m to 40 cm."""
OUT_STEPS = (24, 18, 14)
FAR_OUT_STEPS = 32
"""How far out the end strips lie, in steps: 1.2 m, less where the lot is short, and 1.6 m where
nothing nearer will do."""
ROWS = ((False, False), (True, False), (True, True))

MARGIN = 1.5
"""Two sigma times this must stay within each tolerance: what deviates by a third of its tolerance
is then still surely within."""
SURE_MARKS, SURE_SHARED = 12, 3
"""Marks for each camera and for each seam; common practice, no source."""
FOUND_STRIP = 2.0
"""A strip laid wrong by this many tolerances must be found in 80 of 100 jobs."""
LOT_ROOM_M = 0.6
"""Room to walk between the layout and the lot's edge, each side; common practice, no source."""

MINUTES = {"mark": 1.0, "metre": 0.7, "raised": 6.0, "strip": 4.0}
"""Of laying: a mark, a metre of tape of one roll's width, a raised mark, a strip's ends. Common
practice, no source; only the order of layouts depends on it."""


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
    size_px: tuple[int, int] = USUAL_SIZE_PX,
    *,
    mark: MarkKind = "cross",
) -> Proposal | NoProposal:
    """The cheapest layout of one kind of `mark` for a vehicle that has no `shortcomings`.

    First among layouts with raised marks, which alone do not lie in the ground's plane, so that a
    height need not be taken on the word of whoever measured it; then among those without. Where
    none of them keeps the gap of nineteen faultless jobs in twenty within its tolerance, the gap
    that such jobs usually have is enough, and the forecast says so.
    """
    grid_m = INCH_GRID_M if vehicle_job.lengths.imperial else METRIC_GRID_M
    search = _Search(vehicle_job, light, size_px, grid_m, SIZES[mark])
    outs = search.fitting_outs()
    if not outs:
        return NoProposal(reasons=(_too_small(vehicle_job, search.grid_m, SIZES[mark][0]),))
    for rarely in (True, False):
        for raised in (True, False):
            for out_m in outs:
                found = search.cheapest(out_m, raised, rarely=rarely)
                if found is not None:
                    return found
    assert search.nearest is not None
    return NoProposal(reasons=shortcomings(search.nearest), nearest=search.nearest)


class _Search:
    """A search over `Choice`s that remembers what came nearest."""

    def __init__(
        self,
        vehicle_job: Job,
        light: Light | None,
        size_px: tuple[int, int],
        grid_m: float,
        sizes: tuple[Size, ...],
    ) -> None:
        self.vehicle_job, self.light = vehicle_job, light
        self.size_px, self.grid_m, self.sizes = size_px, grid_m, sizes
        self.tried = 0
        self.nearest: Prediction | None = None
        self._nearest_score = (np.inf, np.inf)

    def fitting_outs(self) -> list[float]:
        """How far out the end strips may lie on the lot, in m, in the order to try."""
        widest = self.vehicle_job.means.tape_width_m or np.inf
        if widest < self.sizes[0].end_tape_m - 1e-9:
            return []
        fitting = [
            steps
            for steps in (*OUT_STEPS, FAR_OUT_STEPS)
            if _fits(laid_out(self.vehicle_job, _smallest(self.sizes[0], self.grid_m, steps)))
        ]
        wanted = fitting[:1] + [steps for steps in fitting[1:] if steps == FAR_OUT_STEPS]
        return [steps * self.grid_m for steps in wanted]

    def cheapest(self, out_m: float, raised: bool, *, rarely: bool) -> Proposal | None:
        """The cheapest layout without shortcomings; sizes that fail at their densest are passed by.

        A larger mark with the same spacing costs more, so the first size that does sets the bound.
        """
        best: Proposal | None = None
        widest = self.vehicle_job.means.tape_width_m or np.inf
        for size, rows in product(self.sizes, ROWS):
            if size.end_tape_m > widest + 1e-9:
                break
            jobs = [
                each
                for each in self._by_cost(size, rows, out_m, raised)
                if best is None or each[0] < best.minutes
            ]
            if not jobs or self._tried(jobs[-1][2], rarely)[1]:
                continue
            for minutes, choice, job in jobs:
                prediction, wrong = self._tried(job, rarely)
                if not wrong:
                    best = Proposal(
                        prediction=prediction, choice=choice, minutes=minutes, tried=self.tried
                    )
                    break
        return best

    def _by_cost(
        self, size: Size, rows: tuple[bool, bool], out_m: float, raised: bool
    ) -> list[tuple[float, Choice, Job]]:
        """Every spacing of one size of mark that fits the lot, the cheapest first."""
        found = []
        for side, end in product(SIDE_STEPS, END_STEPS):
            choice = Choice(
                size=size,
                side_m=side * self.grid_m,
                end_m=end * self.grid_m,
                out_m=out_m,
                rows=rows,
                raised=raised,
                grid_m=self.grid_m,
            )
            job = laid_out(self.vehicle_job, choice)
            if not size.crowded(choice.side_m, choice.end_m) and _fits(job):
                found.append((minutes_of(job), choice, job))
        return sorted(found, key=lambda each: each[0])

    def _tried(self, job: Job, rarely: bool) -> tuple[Prediction, tuple[str, ...]]:
        self.tried += 1
        prediction = predict(job, self.light, self.size_px, least_px=SURE_PX, rough=True)
        wrong = shortcomings(prediction, rarely=rarely)
        score = (len(wrong), prediction.worst)
        if score < self._nearest_score:
            self.nearest, self._nearest_score = prediction, score
        return prediction, wrong


def minutes_of(job: Job) -> float:
    """What laying takes two people, roughly: only its order counts."""
    total = MINUTES["raised"] * sum(mark.at_m[2] > 0 for mark in job.marks)
    for strip in job.strips:
        metres = strip.length_m * MINUTES["metre"]
        metres *= max(1.0, strip.tape_width_m / ROLL_M)
        # A panel wider than its tape is put together from sheets.
        sheets = max(1.0, printed_m(strip.shape)[1] / strip.tape_width_m)
        total += MINUTES["strip"] + metres + MINUTES["mark"] * sheets * len(strip.at_m)
    return float(total)


def shortcomings(prediction: Prediction, *, rarely: bool = True) -> tuple[str, ...]:
    """Why a layout is not to be proposed; empty where it is.

    `rarely`: whether a faultless job's gap may only rarely, or not usually, be beyond tolerance.
    """
    allowed, lengths = prediction.job.tolerances, prediction.job.lengths
    # A raised mark that one camera alone sees lies as well as it was set up, and no better.
    raised = {f"place of {mark.name}" for mark in prediction.job.marks}
    found = [problem.text for problem in prediction.problems]
    found += [
        f"{limit.what}: two sigma are {limit.ratio:.0%} of the tolerance"
        for limit in prediction.limits
        if 1 / MARGIN < limit.ratio <= 1 and limit.what not in raised
    ]
    for camera in prediction.cameras:
        if camera.marks < SURE_MARKS or camera.strips < 2:
            text = (
                f"camera {camera.name}: marks surely seen: {camera.marks}, on strips:"
                f" {camera.strips}; {SURE_MARKS} on 2 wanted"
            )
            found.append(text)
    for seam in prediction.seams:
        name = f"seam {seam.between[0]} - {seam.between[1]}"
        if seam.shared_marks < SURE_SHARED:
            found.append(
                f"{name}: marks surely seen by both cameras: {seam.shared_marks};"
                f" {SURE_SHARED} wanted"
            )
        gap = seam.rare_gap_m - (0.0 if rarely else seam.usual_gap_m or 0.0)
        if gap > allowed.seam_gap_m:
            found.append(f"{name}: a job without a fault may show {lengths.cm(gap)}")
    for laying in prediction.layings:
        least = FOUND_STRIP * allowed.strip_m
        on_strip = any(strip.name == laying.name for strip in prediction.job.strips)
        if on_strip and laying.found_m is not None and laying.found_m > least:
            wrong = lengths.cm(laying.found_m)
            found.append(f"{laying.name} would have to lie {wrong} wrong to be found")
    return tuple(found)


def _smallest(size: Size, grid: float, out: int) -> Choice:
    return Choice(
        size=size,
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


def _too_small(vehicle_job: Job, grid: float, size: Size) -> str:
    lengths = vehicle_job.lengths
    if (vehicle_job.means.tape_width_m or np.inf) < size.end_tape_m:
        return f"the tape is too narrow: the smallest mark needs {lengths.cm(size.end_tape_m)}"
    along, across = (
        lengths.roughly.m(e + 2 * LOT_ROOM_M, spec=".1f")
        for e in extent_m(laid_out(vehicle_job, _smallest(size, grid, OUT_STEPS[-1])))
    )
    return (
        f"the lot is too small: even the closest layout needs {along} along the vehicle"
        f" and {across} across, with room to walk"
    )

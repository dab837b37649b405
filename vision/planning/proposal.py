"""A layout proposed for a vehicle: the cheapest of a few hundred that decides every verdict.

Nothing is taken from a rule of thumb: every layout is predicted in full, and the first in order of
cost that passes is taken. It is asked for more than deciding: marks large enough to be found
surely, and room for what usually goes wrong.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from vision.camera.lens_prior import USUAL_SIZE_PX
from vision.job.job import Job
from vision.marks.measure.forecast import Light
from vision.planning.assessment import Prediction
from vision.planning.layouts import Choice, extent_m, laid_out
from vision.planning.limits import place_of
from vision.planning.prediction import predict
from vision.planning.settings import SETTINGS
from vision.planning.sizes import MarkKind, Size, narrowest_tape_m, sizes_for
from vision.units.progress import Progress, silent
from vision.units.reason import Reason

SIDE_STEPS = (60, 50, 40, 30, 24, 20, 16, 12, 8)
END_STEPS = (32, 24, 20, 16, 12, 8)
"""Spacings in steps of the grid, widest first: 3 m to 40 cm, and 1.6 m to 40 cm."""
OUT_STEPS = (24, 18, 14)
FAR_OUT_STEPS = 32
"""How far out the end strips lie, in steps: 1.2 m, less where the lot is short, and 1.6 m where
nothing nearer will do."""
ROWS = ((False, False), (True, False), (True, True))


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

    reasons: tuple[Reason, ...]
    nearest: Prediction | None = None


def propose(
    vehicle_job: Job,
    light: Light | None = None,
    size_px: tuple[int, int] = USUAL_SIZE_PX,
    *,
    mark: MarkKind = "cross",
    page_m: tuple[float, float] | None = None,
    progress: Progress = silent,
) -> Proposal | NoProposal:
    """The cheapest layout of one kind of `mark` for a vehicle that has no `shortcomings`.

    First among layouts with raised marks, which alone do not lie in the ground's plane, so that a
    height need not be taken on the word of whoever measured it; then among those without. Where
    none of them keeps the gap of nineteen faultless jobs in twenty within its tolerance, the gap
    that such jobs usually have is enough, and the forecast says so. Marks lie on the tape that the
    job states, if any, and fit a sheet of paper with `page_m` (width, height) for them, if any do.
    """
    imperial = vehicle_job.lengths.imperial
    grid_m = SETTINGS.inch_grid_m if imperial else SETTINGS.metric_grid_m
    sizes = sizes_for(mark, vehicle_job.means.tape_width_m, page_m)
    if not sizes:
        needed_m = narrowest_tape_m(mark)
        return NoProposal(reasons=(Reason("tape-too-narrow", needed_m=needed_m),))
    search = _Search(vehicle_job, light, size_px, grid_m, sizes, progress)
    outs = search.fitting_outs()
    if not outs:
        along_m, across_m = _needed_m(search.closest(OUT_STEPS[-1]))
        reason = Reason("lot-too-small", along_m=along_m, across_m=across_m)
        return NoProposal(reasons=(reason,))
    for rarely in (True, False):
        for raised in (True, False):
            for out in outs:
                found = search.cheapest(out, raised, rarely=rarely)
                if found is not None:
                    return found
    assert search.nearest is not None
    return NoProposal(reasons=shortcomings(search.nearest), nearest=search.nearest)


@dataclass(slots=True)
class _Search:
    """A search over `Choice`s that remembers what came nearest."""

    vehicle_job: Job
    light: Light | None
    size_px: tuple[int, int]
    grid_m: float
    sizes: tuple[Size, ...]
    progress: Progress
    tried: int = 0
    nearest: Prediction | None = None
    nearest_score: tuple[float, float] = (np.inf, np.inf)
    _predicted: dict[Choice, Prediction] = field(default_factory=dict)

    def closest(self, out: int) -> Job:
        """The layout that takes the least room of those whose end strips lie so far out."""
        return laid_out(self.vehicle_job, self._choice(self.sizes[0], out))

    def fitting_outs(self) -> list[int]:
        """How far out the end strips may lie on the lot, in steps, in the order to try."""
        outs = (*OUT_STEPS, FAR_OUT_STEPS)
        return [out for out in outs if self._fits(self.closest(out))]

    def cheapest(self, out: int, raised: bool, *, rarely: bool) -> Proposal | None:
        """The cheapest layout without shortcomings; sizes that fail at their densest are passed by.

        A larger mark with the same spacing costs more, so the first size that does sets the bound.
        """
        best: Proposal | None = None
        for size, rows in product(self.sizes, ROWS):
            jobs = [
                each
                for each in self._by_cost(size, rows, out, raised)
                if best is None or each[0] < best.minutes
            ]
            if not jobs or self._tried(*jobs[-1][1:], rarely)[1]:
                continue
            for minutes, choice, job in jobs:
                prediction, wrong = self._tried(choice, job, rarely)
                if not wrong:
                    best = Proposal(
                        prediction=prediction, choice=choice, minutes=minutes, tried=self.tried
                    )
                    break
        return best

    def _choice(
        self,
        size: Size,
        out: int,
        side: int = SIDE_STEPS[0],
        end: int = END_STEPS[0],
        rows: tuple[bool, bool] = ROWS[0],
        raised: bool = False,
    ) -> Choice:
        """A choice by steps of the grid."""
        side_m, end_m, out_m = (steps * self.grid_m for steps in (side, end, out))
        return Choice(
            size=size,
            side_m=side_m,
            end_m=end_m,
            out_m=out_m,
            rows=rows,
            raised=raised,
            grid_m=self.grid_m,
        )

    def _by_cost(
        self, size: Size, rows: tuple[bool, bool], out: int, raised: bool
    ) -> list[tuple[float, Choice, Job]]:
        """Every spacing of one size of mark that fits the lot, the cheapest first."""
        found = []
        for side, end in product(SIDE_STEPS, END_STEPS):
            choice = self._choice(size, out, side, end, rows, raised)
            job = laid_out(self.vehicle_job, choice)
            if not size.crowded(choice.side_m, choice.end_m) and self._fits(job):
                found.append((minutes_of(job), choice, job))
        return sorted(found, key=lambda each: each[0])

    def _fits(self, job: Job) -> bool:
        """Whether a layout fits the lot, with room to walk round it."""
        means = self.vehicle_job.means
        lot_m = (means.lot_length_m or np.inf, means.lot_width_m or np.inf)
        return all(need <= most + 1e-9 for need, most in zip(_needed_m(job), lot_m, strict=True))

    def _tried(
        self, choice: Choice, job: Job, rarely: bool
    ) -> tuple[Prediction, tuple[Reason, ...]]:
        prediction = self._predicted.get(choice)
        if prediction is None:
            self.tried += 1
            self.progress(f"trying layouts, the cheapest first: {self.tried}")
            prediction = predict(
                job, self.light, self.size_px, least_px=SETTINGS.sure_px, rough=True
            )
            self._predicted[choice] = prediction
        wrong = shortcomings(prediction, rarely=rarely)
        score = (len(wrong), prediction.worst)
        if score < self.nearest_score:
            self.nearest, self.nearest_score = prediction, score
        return prediction, wrong


def minutes_of(job: Job) -> float:
    """What laying takes two people, roughly: only its order counts."""
    each = SETTINGS.minutes
    total = each.raised * sum(mark.at_m[2] > 0 for mark in job.marks)
    for strip in job.strips:
        metres = strip.length_m * max(1.0, strip.tape_width_m / SETTINGS.roll_m)
        # A panel wider than its tape is put together from sheets.
        sheets = max(1.0, strip.shape.extent_m[1] / strip.tape_width_m)
        total += each.strip + each.metre * metres + each.mark * sheets * len(strip.at_m)
    return float(total)


def shortcomings(prediction: Prediction, *, rarely: bool = True) -> tuple[Reason, ...]:
    """Why a layout is not to be proposed; empty where it is.

    `rarely`: whether a faultless job's gap may only rarely, or not usually, be beyond tolerance.
    """
    return (
        *(problem.reason for problem in prediction.problems),
        *_unsure_marks(prediction),
        *_unsure_figures(prediction, rarely),
    )


def _unsure_figures(prediction: Prediction, rarely: bool) -> Iterator[Reason]:
    """Figures that decide, but leave too little room for what usually goes wrong."""
    allowed = prediction.job.tolerances
    # A raised mark that one camera alone sees lies as well as it was set up, and no better.
    raised = {place_of(mark.name) for mark in prediction.job.marks}
    for limit in prediction.limits:
        if 1 / SETTINGS.margin < limit.ratio <= 1 and limit.of not in raised:
            yield Reason("little-margin", of=limit.of, share=limit.ratio)
    for seam in prediction.seams:
        gap_m = seam.rare_gap_m - (0.0 if rarely else seam.usual_gap_m or 0.0)
        if gap_m > allowed.seam_gap_m:
            yield Reason("faultless-gap", between=seam.between, gap_m=gap_m)
    strips = {strip.name for strip in prediction.job.strips}
    for laying in prediction.layings:
        found_m = laying.found_m if laying.name in strips else None
        if found_m is not None and found_m > SETTINGS.found_strip * allowed.strip_m:
            yield Reason("found-late", strip=laying.name, found_m=found_m)


def _unsure_marks(prediction: Prediction) -> Iterator[Reason]:
    """Cameras and seams with too few marks that are surely seen."""
    sure, shared = SETTINGS.sure_marks, SETTINGS.sure_shared
    for camera in prediction.cameras:
        if camera.marks < sure or camera.strips < 2:
            counts = {"marks": camera.marks, "strips": camera.strips, "wanted": sure}
            yield Reason("few-sure-marks", camera=camera.name, **counts)
    raised = {mark.name for mark in prediction.job.marks if mark.at_m[2] > 0}
    seen = {(view.camera, view.mark.name) for view in prediction.views if view.status == "seen"}
    for seam in prediction.seams:
        # A raised mark that both see ties their views as well as one on the ground does.
        both = sum(all((name, mark) in seen for name in seam.between) for mark in raised)
        if seam.shared_marks + both < shared:
            counts = {"marks": seam.shared_marks + both, "wanted": shared}
            yield Reason("few-shared-marks", between=seam.between, **counts)


def _needed_m(job: Job) -> tuple[float, float]:
    """Length and width (m) of the ground that a layout takes, with room to walk round it."""
    along_m, across_m = (each + 2 * SETTINGS.lot_room_m for each in extent_m(job))
    return along_m, across_m

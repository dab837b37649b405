"""What would do where no layout does: wider tape, or a wider tolerance.

More marks and closer spacing need not be offered: the search has tried them. Each remedy is tried
alone, as a search of its own, and is given with what it would come to. A layout that will do on
some tape, or within some tolerance, will do on wider tape and within a wider one: the widest is
tried first, and the least that will do is sought by halves. Searches that fail are the long ones.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from vision.camera.lens_prior import USUAL_SIZE_PX
from vision.job.job import Job
from vision.planning.proposal import Proposal, propose
from vision.planning.settings import SETTINGS
from vision.planning.sizes import MarkKind
from vision.units.progress import Progress, silent
from vision.units.reason import Reason

Trial = tuple[Reason, Job]


def what_would_do(
    vehicle_job: Job,
    size_px: tuple[int, int] = USUAL_SIZE_PX,
    *,
    mark: MarkKind = "cross",
    page_m: tuple[float, float] | None = None,
    trying: Callable[[Reason], None] = lambda trial: None,
    progress: Progress = silent,
) -> tuple[Reason, ...]:
    """Each remedy that would do, the least of its kind; none where none was found.

    `trying` is told what is being tried, `progress` how far that search is.
    """

    def tried(trial: Trial) -> Reason | None:
        reason, job = trial
        trying(reason)
        found = propose(job, size_px=size_px, mark=mark, page_m=page_m, progress=progress)
        if not isinstance(found, Proposal):
            return None
        marks = sum(len(strip.at_m) for strip in found.job.strips)
        return Reason(reason.code, **reason.arguments, marks=marks)

    least = (_least(trials, tried) for trials in (_tapes(vehicle_job), _tolerances(vehicle_job)))
    return tuple(each for each in least if each is not None)


def _least(trials: Sequence[Trial], tried: Callable[[Trial], Reason | None]) -> Reason | None:
    """The first of rising trials that will do, the last tried first."""
    best: Reason | None = None
    low, high = 0, len(trials) - 1
    middle = high
    while low <= high:
        found = tried(trials[middle])
        if found is None:
            low = middle + 1
        else:
            best, high = found, middle - 1
        middle = (low + high) // 2
    return best


def _tapes(vehicle_job: Job) -> list[Trial]:
    """Wider tapes than the job's, with the job that each makes."""
    means = vehicle_job.means
    imperial = vehicle_job.lengths.imperial
    usual = SETTINGS.usual_inch_tapes_m if imperial else SETTINGS.usual_tapes_m
    return [
        (
            Reason("wider-tape", tape_m=tape_m),
            replace(vehicle_job, means=replace(means, tape_width_m=tape_m)),
        )
        for tape_m in usual
        if means.tape_width_m is not None and tape_m > means.tape_width_m + 1e-9
    ]


def _tolerances(vehicle_job: Job) -> list[Trial]:
    """Wider tolerances than the job's, with the job that each makes."""
    allowed, trials = vehicle_job.tolerances, []
    for factor in SETTINGS.wider_tolerances:
        wider = replace(
            allowed,
            seam_gap_m=factor * allowed.seam_gap_m,
            strip_m=factor * allowed.strip_m,
            aim_rad=factor * allowed.aim_rad,
            roll_rad=factor * allowed.roll_rad,
        )
        reason = Reason("wider-tolerances", seam_gap_m=wider.seam_gap_m, strip_m=wider.strip_m)
        trials.append((reason, replace(vehicle_job, tolerances=wider)))
    return trials

"""What would do where no layout does: wider tape, or a wider tolerance.

More marks and closer spacing need not be offered: the search has tried them. Each remedy is tried
alone, as a search of its own, and is given with what it would come to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from vision.camera.lens_prior import USUAL_SIZE_PX
from vision.job.job import Job
from vision.planning.proposal import Proposal, propose
from vision.planning.settings import SETTINGS
from vision.planning.sizes import MarkKind
from vision.units.reason import Reason


def what_would_do(
    vehicle_job: Job,
    size_px: tuple[int, int] = USUAL_SIZE_PX,
    *,
    mark: MarkKind = "cross",
    page_m: tuple[float, float] | None = None,
    progress: Callable[[Reason], None] = lambda trial: None,
) -> tuple[Reason, ...]:
    """Each remedy that would do, the least of its kind; none where none was found.

    `progress` is told what is being tried.
    """
    found = {}
    for trial, job in _trials(vehicle_job):
        if trial.code in found:
            continue
        progress(trial)
        proposal = propose(job, size_px=size_px, mark=mark, page_m=page_m)
        if isinstance(proposal, Proposal):
            marks = sum(len(strip.at_m) for strip in proposal.job.strips)
            found[trial.code] = Reason(trial.code, **trial.arguments, marks=marks)
    return tuple(found.values())


def _trials(vehicle_job: Job) -> Iterator[tuple[Reason, Job]]:
    """The remedies to try, with the job that each makes."""
    means, allowed = vehicle_job.means, vehicle_job.tolerances
    imperial = vehicle_job.lengths.imperial
    for tape_m in SETTINGS.usual_inch_tapes_m if imperial else SETTINGS.usual_tapes_m:
        if means.tape_width_m is not None and tape_m > means.tape_width_m + 1e-9:
            wider = replace(means, tape_width_m=tape_m)
            yield Reason("wider-tape", tape_m=tape_m), replace(vehicle_job, means=wider)
    for factor in SETTINGS.wider_tolerances:
        tolerances = replace(
            allowed,
            seam_gap_m=factor * allowed.seam_gap_m,
            strip_m=factor * allowed.strip_m,
            aim_rad=factor * allowed.aim_rad,
            roll_rad=factor * allowed.roll_rad,
        )
        trial = Reason(
            "wider-tolerances", seam_gap_m=tolerances.seam_gap_m, strip_m=tolerances.strip_m
        )
        yield trial, replace(vehicle_job, tolerances=tolerances)

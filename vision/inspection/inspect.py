"""The whole inspection: from a job and its pictures to verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from vision.inspection.finding import measured
from vision.inspection.inspected import Inspection
from vision.inspection.judging import judged
from vision.inspection.whatif.asked import what_if
from vision.job.job import Job
from vision.marks.picture import Picture
from vision.units.progress import Progress, silent


def inspect(job: Job, pictures: Sequence[Picture], progress: Progress = silent) -> Inspection:
    """Find, fit, adjust, judge and predict.

    `pictures` come one per camera, in the order of the job. `progress` is told what is
    about to be done, in words for a person.
    """
    found = measured(job, pictures, progress)
    progress("judging")
    inspection = judged(found)
    return replace(inspection, what_if=what_if(inspection))

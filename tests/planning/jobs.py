"""Jobs that plans are made of."""

from __future__ import annotations

from dataclasses import replace

from vision.job.job import Job


def aimed(job: Job, **angles: float) -> Job:
    cameras = tuple(replace(c, aim=replace(c.aim, **angles)) for c in job.cameras)
    return replace(job, cameras=cameras)

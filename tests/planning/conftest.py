"""What tests of planning share: the sample's job, its prediction, and a quicker job."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.paths import CLEAR_DAY
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.planning.assessment import Prediction
from vision.planning.prediction import predict


@pytest.fixture(scope="session")
def job() -> Job:
    return job_from_text(CLEAR_DAY.read_bytes(), "job.toml")


@pytest.fixture(scope="session")
def prediction(job) -> Prediction:
    return predict(job)


@pytest.fixture(scope="session")
def small(job) -> Job:
    """A quicker job: the sample's front and left, every other mark, without the cartons."""
    strips = tuple(replace(s, at_m=s.at_m[::2]) for s in job.strips if s.name in ("left", "front"))
    return replace(job, cameras=(job.cameras[0], job.cameras[2]), strips=strips, marks=())

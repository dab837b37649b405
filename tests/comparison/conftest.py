"""The job that most comparisons are drawn from, and two checks without a change."""

from __future__ import annotations

import pytest

from tests.comparing import STILL, clear_day, two_checks
from vision.comparison.change import Epoch
from vision.job.job import Job


@pytest.fixture(scope="session")
def job() -> Job:
    return clear_day()


@pytest.fixture(scope="session")
def still(job: Job) -> tuple[Epoch, Epoch]:
    """Nothing changed and nothing was laid anew."""
    return two_checks(job, STILL)

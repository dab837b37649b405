"""Readings of a level in a job file.

Proves: both ways to write a rise, its sign, and the default sigma.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.job_texts import JOB
from vision.job.job import LevelReading
from vision.job.job_file import job_from_text


def level(text: str) -> LevelReading:
    job = job_from_text(JOB[: JOB.index("[[reading]]")] + "[[reading]]\n" + text, "job.toml")
    (reading,) = job.readings
    assert isinstance(reading, LevelReading)
    return reading


def test_a_rise_in_degrees() -> None:
    read = level('kind = "level"\non = "ground"\nalong = "ahead"\nangle_deg = -1\n')
    assert (read.on, read.along) == ("ground", "ahead")
    assert read.rise == pytest.approx(np.tan(np.radians(-1)))
    assert read.sigma == pytest.approx(np.radians(0.2))


def test_a_rise_in_per_cent() -> None:
    text = 'kind = "level"\non = "floor"\nalong = "left"\npercent = 1.3\nsigma_deg = 0.1\n'
    read = level(text)
    assert (read.on, read.along) == ("floor", "left")
    assert read.rise == pytest.approx(0.013)
    assert read.sigma == pytest.approx(np.radians(0.1))

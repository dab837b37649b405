"""How long a picture takes, on request: pytest -s tests/speed.

Prints, in one run on one core, the time to find, identify and measure one sample picture and its
ratio to two things any such program does: decode the same JPEG, and find its strongest corners
with OpenCV. Nothing is asserted about time: machines differ, and ratios are for a person to read.
"""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import pytest

from tests.paths import SAMPLES
from vision.camera.lens_prior import lens_prior
from vision.files.disk import read_inspection_input
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.job.layout import planned_layout


def median_s(work: Callable[[], object], runs: int = 5) -> float:
    """Median of some runs after one to warm up."""
    work()
    seconds = []
    for _ in range(runs):
        start = time.process_time()
        work()
        seconds.append(time.process_time() - start)
    return statistics.median(seconds)


@pytest.mark.parametrize("name", ["clear_day", "long_shadow"])
def test_one_picture(name: str) -> None:
    cv2.setNumThreads(1)
    job, pictures = read_inspection_input(SAMPLES / name / "job.toml")
    layout = planned_layout(job)
    for camera, picture in zip(job.cameras, pictures, strict=True):
        prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
        grey = picture.grey
        jpeg = cv2.imencode(".jpg", picture.bgr)[1]
        levels = grey.astype("uint8")
        outcome = identify(job, layout, camera, prior, grey)
        ours = median_s(lambda: identify(job, layout, camera, prior, grey))  # noqa: B023
        decode = median_s(lambda: cv2.imdecode(jpeg, cv2.IMREAD_COLOR))  # noqa: B023
        corners = median_s(lambda: cv2.goodFeaturesToTrack(levels, 320, 0.01, 7))  # noqa: B023
        print(
            f"{name} {camera.name}: {ours:.3f} s, {ours / decode:.0f} times decoding it, "
            f"{ours / corners:.0f} times goodFeaturesToTrack"
        )
        assert isinstance(outcome, Identified)

"""Forty marks in a 1920x1080 picture, on request: pytest -s tests/speed.

Prints, in one run on one core, how long it takes to find, identify and measure the marks of the
left camera of a yard with closely spaced strips, where the time goes, and the ratio to decoding
the same picture. Nothing is asserted about time: machines differ, and ratios are for a person.
"""

from __future__ import annotations

import cProfile
import os
import pstats
from dataclasses import replace

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np

from tests.paths import CLEAR_DAY
from tests.speed.stages import STAGES
from tests.speed.test_pictures import median_s
from vision.camera.lens_prior import lens_prior
from vision.files.disk import read_job
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.job.job import Job, Strip
from vision.job.layout import planned_layout
from vision.practice.deviations_file import deviations_from_text
from vision.practice.scene import draw_scene

SIZE = b"[scene]\nwidth = 1920\nheight = 1080\n"
SPACING_M = 0.3
SHOWN = ("find", "search", "refine", "measure", "fit")


def close_job() -> Job:
    """The sample vehicle with twice as many marks on its strips."""
    job, _ = read_job(CLEAR_DAY)

    def closer(strip: Strip) -> Strip:
        at = np.arange(0.0, strip.at_m[-1] + 1e-6, SPACING_M)
        return replace(strip, at_m=tuple(float(each) for each in at))

    return replace(job, strips=tuple(closer(strip) for strip in job.strips), marks=())


def test_forty_marks() -> None:
    cv2.setNumThreads(1)
    job = close_job()
    drawn = draw_scene(job, deviations_from_text(SIZE, "size.toml", job), seed=1)
    camera = job.camera("left")
    pixels = drawn.pictures["left"]
    grey = cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY).astype(np.float32)
    jpeg = cv2.imencode(".jpg", pixels)[1]
    layout, prior = planned_layout(job), lens_prior(job.lens_of(camera), 1920, 1080)

    def whole() -> object:
        return identify(job, layout, camera, prior, grey)

    outcome = whole()
    assert isinstance(outcome, Identified)
    used = sum(sighting.status == "used" for sighting in outcome.sightings)
    ours, decode = median_s(whole), median_s(lambda: cv2.imdecode(jpeg, cv2.IMREAD_COLOR))
    print(f"{used} marks: {1000 * ours:.0f} ms, {ours / decode:.0f} times decoding the picture")
    profile = cProfile.Profile()
    profile.runcall(whole)
    spent = pstats.Stats(profile).stats
    total = max(entry[3] for entry in spent.values())
    for stage in SHOWN:
        functions = {tuple(each.split(":")) for each in STAGES[stage]}
        seconds = sum(
            entry[3]
            for (file, _, name), entry in spent.items()
            if any(name == n and file.endswith(f"{m.replace('.', '/')}.py") for m, n in functions)
        )
        print(f"  {stage:8s} {100 * seconds / total:3.0f} %")

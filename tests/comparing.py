"""Pairs of checks of one job, drawn with what happened between, and how they compare."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.accuracy.compare import Between, pair
from tests.paths import CLEAR_DAY
from vision.camera.lens_prior import lens_prior
from vision.camera.stated_lens import StatedLens
from vision.comparison.change import Comparison, Epoch, Shared
from vision.comparison.compared import compare
from vision.job.job import Job
from vision.job.job_file import job_from_text

ALL = frozenset({"all"})
KEPT = Shared(not_relaid=ALL)
STILL = Between(relaid=False)


def clear_day() -> Job:
    return job_from_text(CLEAR_DAY.read_bytes(), CLEAR_DAY.name)


def two_checks(job: Job, between: Between, seed: int = 5) -> tuple[Epoch, Epoch]:
    drawn = pair(job, between, np.random.default_rng(seed))
    assert drawn is not None
    return drawn[0], drawn[1]


def compared(checks: tuple[Epoch, Epoch], shared: Shared = KEPT) -> Comparison:
    found = compare(*checks, shared)
    assert isinstance(found, Comparison)
    return found


def named(result: Comparison) -> dict[str, tuple[bool, bool]]:
    return {camera.name: (camera.turned, camera.moved) for camera in result.changed}


def stated_otherwise(epoch: Epoch) -> Epoch:
    """The same check of a job that states the first camera's lens and place otherwise."""
    first, *others = epoch.observations
    stated = StatedLens(name="other", field_of_view_rad=float(np.radians(180)))
    guess = first.prior.guess
    camera, *cameras = epoch.job.cameras
    assert camera.name == first.name
    moved = replace(camera, position_m=camera.position_m + np.array([0.01, 0, 0]))
    return replace(
        epoch,
        job=replace(epoch.job, cameras=(moved, *cameras)),
        observations=(
            replace(first, prior=lens_prior(stated, guess.width, guess.height)),
            *others,
        ),
    )

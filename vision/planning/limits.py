"""Sigmas against the tolerances that they are to decide, and what a layout cannot do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from vision.camera.geometry import ANGLES
from vision.identification.settings import SETTINGS
from vision.inspection.verdict.rule import Judgement, judge, judge_minimum
from vision.job.job import Job
from vision.planning.assessment import (
    Limit,
    PredictedCamera,
    PredictedLaying,
    PredictedSeam,
    Problem,
)
from vision.units.reason import Reason
from vision.views.seams.lines import seam_lines

TIED_DIGITS = 9
"""Figures that agree to so many decimals are the same."""


def sorted_limits(
    job: Job,
    cameras: tuple[PredictedCamera, ...],
    layings: tuple[PredictedLaying, ...],
    seams: tuple[PredictedSeam, ...],
) -> tuple[Limit, ...]:
    """Every sigma with its tolerance, the worst ratio first; of equal ones as in the job."""
    allowed = job.tolerances
    angles = (allowed.aim_rad, allowed.aim_rad, allowed.roll_rad)
    limits = [
        Limit(
            of=Reason("aim", angle=angle, camera=camera.name),
            cameras=(camera.name,),
            sigma=sigma,
            tolerance=tolerance,
        )
        for camera in cameras
        for angle, sigma, tolerance in zip(ANGLES, camera.aim_sigma_rad, angles, strict=True)
    ]
    limits += [
        Limit(of=place_of(each.name), sigma=each.sigma_m, tolerance=allowed.strip_m)
        for each in layings
        if each.sigma_m is not None
    ]
    limits += [
        Limit(
            of=Reason("seam", between=seam.between),
            cameras=seam.between,
            sigma=seam.sigma_m,
            tolerance=allowed.seam_gap_m,
        )
        for seam in seams
        if seam.sigma_m is not None
    ]
    # Left and right are often alike but for roundings, which must not say which comes first.
    return tuple(sorted(limits, key=lambda limit: -round(limit.ratio, TIED_DIGITS)))


def place_of(name: str) -> Reason:
    """What the place of a strip or of a single mark is called in a limit."""
    return Reason("place", name=name)


def problems_of(
    job: Job,
    cameras: tuple[PredictedCamera, ...],
    layings: tuple[PredictedLaying, ...],
    seams: tuple[PredictedSeam, ...],
) -> tuple[Problem, ...]:
    """Everything that keeps a perfectly aimed and laid job from coming out as keep."""
    return (
        *_few_marks(job, cameras),
        *(_problem("not-seen", name=each.name) for each in layings if each.sigma_m is None),
        *_ground(job, cameras),
        *_seams(job, seams),
        *map(_undecided, (e for e in sorted_limits(job, cameras, layings, seams) if e.ratio > 1)),
    )


def _problem(code: str, *cameras: str, word: Judgement = "not-judged", **figures: Any) -> Problem:
    """Why a layout will not do, by what is judged of a figure: no accuracy helps one beyond."""
    return Problem(
        reason=Reason(code, **figures),
        word="beyond" if word == "beyond" else "cannot-decide",
        cameras=cameras,
    )


def _few_marks(job: Job, cameras: tuple[PredictedCamera, ...]) -> Iterator[Problem]:
    shown = {camera.name: camera.marks for camera in cameras}
    least = SETTINGS.least_marks
    for name in (camera.name for camera in job.cameras):
        marks = shown.get(name, 0)
        if marks < least:
            yield _problem("too-few-marks", name, camera=name, marks=marks, least=least)


def _ground(job: Job, cameras: tuple[PredictedCamera, ...]) -> Iterator[Problem]:
    """First ground seen at the intended aims."""
    allowed_m = job.tolerances.nearest_ground_m
    for camera in cameras:
        value_m, sigma_m = camera.nearest_ground_m, camera.nearest_ground_sigma_m
        word = judge(value_m, sigma_m, allowed_m)
        if word != "within":
            figures = {"nearest_m": value_m, "sigma_m": sigma_m, "allowed_m": allowed_m}
            yield _problem("nearest-ground", camera.name, word=word, camera=camera.name, **figures)


def _seams(job: Job, seams: tuple[PredictedSeam, ...]) -> Iterator[Problem]:
    """Seams without a fit, overlap and uncovered seam at the intended aims."""
    measured = {frozenset(seam.between) for seam in seams}
    for pair in (line.between for line in seam_lines(job)):
        if frozenset(pair) not in measured:
            yield _problem("no-gap", *pair, between=pair)
    wanted_m = job.tolerances.overlap_m
    for seam in seams:
        pair = seam.between
        if seam.uncovered_m > 0:
            yield _problem("uncovered", *pair, between=pair, uncovered_m=seam.uncovered_m)
        if seam.overlap_m is None:
            continue
        sigma_m = seam.overlap_sigma_m or 0.0
        word = judge_minimum(seam.overlap_m, sigma_m, wanted_m)
        if word != "within":
            figures = {"overlap_m": seam.overlap_m, "sigma_m": sigma_m, "wanted_m": wanted_m}
            yield _problem("overlap", *pair, word=word, between=pair, **figures)


def _undecided(limit: Limit) -> Problem:
    """The problem of a limit that can never come out within."""
    unit = "rad" if limit.angle else "m"
    figures: dict[str, Any]
    figures = {f"sigma_{unit}": limit.sigma, f"tolerance_{unit}": limit.tolerance}
    return _problem("sigma-beyond-tolerance", *limit.cameras, of=limit.of, **figures)

"""Sigmas against the tolerances that they are to decide, and what a layout cannot do."""

from __future__ import annotations

import numpy as np

from vision.identify.poses import LEAST_MARKS
from vision.job import Job
from vision.planning.values import (
    Limit,
    PlanWord,
    PredictedCamera,
    PredictedLaying,
    PredictedSeam,
    Problem,
)
from vision.seams import seam_lines
from vision.verdict.rule import ANGLES, COVERAGE, centimetres, degrees, judge, judge_minimum


def sorted_limits(
    job: Job,
    cameras: tuple[PredictedCamera, ...],
    layings: tuple[PredictedLaying, ...],
    seams: tuple[PredictedSeam, ...],
) -> tuple[Limit, ...]:
    """Every sigma with its tolerance, the worst ratio first."""
    allowed = job.tolerances
    angles = (allowed.aim_rad, allowed.aim_rad, allowed.roll_rad)
    limits = [
        Limit(
            what=f"{angle} of {camera.name}",
            cameras=(camera.name,),
            sigma=sigma,
            tolerance=tolerance,
            unit="rad",
        )
        for camera in cameras
        for angle, sigma, tolerance in zip(ANGLES, camera.aim_sigma_rad, angles, strict=True)
    ]
    limits += [
        Limit(what=f"place of {each.name}", sigma=each.sigma_m, tolerance=allowed.strip_m, unit="m")
        for each in layings
        if each.sigma_m is not None
    ]
    limits += [
        Limit(
            what=f"seam {_named(seam.between)}",
            cameras=seam.between,
            sigma=seam.sigma_m,
            tolerance=allowed.seam_gap_m,
            unit="m",
        )
        for seam in seams
        if seam.sigma_m is not None
    ]
    return tuple(sorted(limits, key=lambda limit: -limit.ratio))


def figure(value: float, unit: str) -> str:
    """A sigma or tolerance in the unit a person reads."""
    return centimetres(value) if unit == "m" else degrees(value)


def undecided(limit: Limit) -> Problem | None:
    """The problem of a limit that can never come out within; None where it can."""
    if limit.ratio <= 1:
        return None
    allowed = figure(limit.tolerance, limit.unit)
    if np.isfinite(limit.sigma):
        double = figure(COVERAGE * limit.sigma, limit.unit)
        text = f"{limit.what}: two sigma are {double}, more than the {allowed} allowed"
    else:
        text = f"{limit.what}: nothing tells it; {allowed} allowed"
    return _problem("sigma-beyond-tolerance", text, limit.cameras)


def problems_of(
    job: Job,
    cameras: tuple[PredictedCamera, ...],
    layings: tuple[PredictedLaying, ...],
    seams: tuple[PredictedSeam, ...],
) -> tuple[Problem, ...]:
    """Everything that keeps a perfectly aimed and laid job from coming out as keep."""
    limits = sorted_limits(job, cameras, layings, seams)
    found = [*_few_marks(job, cameras), *_unseen(layings), *_ground(job, cameras, seams)]
    found += [problem for limit in limits if (problem := undecided(limit)) is not None]
    return tuple(found)


def _few_marks(job: Job, cameras: tuple[PredictedCamera, ...]) -> list[Problem]:
    shown = {camera.name: camera for camera in cameras}
    problems = []
    for camera in job.cameras:
        seen = shown.get(camera.name)
        count = seen.marks if seen else 0
        if count < LEAST_MARKS:
            text = f"camera {camera.name} sees {count or 'too few'} marks; it needs {LEAST_MARKS}"
            problems.append(_problem("too-few-marks", text, (camera.name,)))
    return problems


def _unseen(layings: tuple[PredictedLaying, ...]) -> list[Problem]:
    return [
        _problem("not-seen", f"no camera sees {each.name} well enough to place it")
        for each in layings
        if each.sigma_m is None
    ]


def _ground(
    job: Job, cameras: tuple[PredictedCamera, ...], seams: tuple[PredictedSeam, ...]
) -> list[Problem]:
    """First ground seen, overlap and uncovered seam at the intended aims."""
    allowed = job.tolerances
    problems = []
    for camera in cameras:
        value, sigma = camera.nearest_ground_m, camera.nearest_ground_sigma_m
        word = judge(value, sigma, allowed.nearest_ground_m)
        if word != "within":
            text = (
                f"camera {camera.name} first sees ground {_metres(value, sigma)} out;"
                f" {allowed.nearest_ground_m:.2f} m allowed"
            )
            own = (camera.name,)
            problems.append(_problem("nearest-ground", text, own, beyond=word == "beyond"))
    measured = {frozenset(seam.between) for seam in seams}
    for line in seam_lines(job):
        if frozenset(line.between) not in measured:
            text = f"seam {_named(line.between)}: a camera of it has no fit"
            problems.append(_problem("no-gap", text, line.between))
    for seam in seams:
        name = f"seam {_named(seam.between)}"
        if seam.uncovered_m > 0:
            text = f"{name}: {seam.uncovered_m:.2f} m of it is not covered by both cameras"
            problems.append(_problem("uncovered", text, seam.between))
        if seam.overlap_m is None:
            continue
        sigma = seam.overlap_sigma_m or 0.0
        word = judge_minimum(seam.overlap_m, sigma, allowed.overlap_m)
        if word != "within":
            text = (
                f"{name}: the views overlap by {_metres(seam.overlap_m, sigma)};"
                f" {allowed.overlap_m:.2f} m wanted"
            )
            problems.append(_problem("overlap", text, seam.between, beyond=word == "beyond"))
    return problems


def _problem(
    code: str, text: str, cameras: tuple[str, ...] = (), *, beyond: bool = False
) -> Problem:
    word: PlanWord = "beyond" if beyond else "cannot-decide"
    return Problem(code=code, text=text, word=word, cameras=cameras)


def _named(between: tuple[str, str]) -> str:
    return f"{between[0]} - {between[1]}"


def _metres(value: float, sigma: float) -> str:
    return f"{value:.2f} m (+-{sigma:.2f})" if np.isfinite(value) else "nowhere within 10 m"

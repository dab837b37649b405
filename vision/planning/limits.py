"""Sigmas against the tolerances that they are to decide, and what a layout cannot do."""

from __future__ import annotations

import numpy as np

from vision.camera.geometry import ANGLES
from vision.identification.poses import LEAST_MARKS
from vision.inspection.verdict.rule import COVERAGE, degrees, judge, judge_minimum
from vision.job.job import Job
from vision.planning.plan import (
    Limit,
    PlanWord,
    PredictedCamera,
    PredictedLaying,
    PredictedSeam,
    Problem,
)
from vision.units.length_words import LengthWords
from vision.views.seams.coverage import NEAREST_REACH_M
from vision.views.seams.lines import seam_lines


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


def doubt(sigma: float, unit: str, lengths: LengthWords) -> str:
    """A sigma, or two, in the unit a person reads."""
    return lengths.doubt(sigma) if unit == "m" else degrees(sigma)


def allowed(limit: Limit, lengths: LengthWords) -> str:
    """The tolerance of a limit, likewise."""
    return lengths.cm(limit.tolerance) if limit.unit == "m" else degrees(limit.tolerance)


def undecided(limit: Limit, lengths: LengthWords) -> Problem | None:
    """The problem of a limit that can never come out within; None where it can."""
    if limit.ratio <= 1:
        return None
    most = allowed(limit, lengths)
    if np.isfinite(limit.sigma):
        double = doubt(COVERAGE * limit.sigma, limit.unit, lengths)
        text = f"{limit.what}: two sigma are {double}, more than the {most} allowed"
    else:
        text = f"{limit.what}: nothing tells it; {most} allowed"
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
    undecideds = (undecided(limit, job.lengths) for limit in limits)
    found += [problem for problem in undecideds if problem is not None]
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
    allowed, lengths = job.tolerances, job.lengths
    problems = []
    for camera in cameras:
        value, sigma = camera.nearest_ground_m, camera.nearest_ground_sigma_m
        word = judge(value, sigma, allowed.nearest_ground_m)
        if word != "within":
            text = (
                f"camera {camera.name} first sees ground {_rough(value, sigma, lengths)} out;"
                f" {lengths.m(allowed.nearest_ground_m)} allowed: tilt it farther down, or accept"
                " more under [tolerance]"
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
            bare = lengths.roughly.m(seam.uncovered_m)
            text = (
                f"{name}: {bare} of it is not covered by both cameras: turn one of them, or state"
                " where your display has its seam in a table [seam.NAME]"
            )
            problems.append(_problem("uncovered", text, seam.between))
        if seam.overlap_m is None:
            continue
        sigma = seam.overlap_sigma_m or 0.0
        word = judge_minimum(seam.overlap_m, sigma, allowed.overlap_m)
        if word != "within":
            text = (
                f"{name}: the views overlap by {_rough(seam.overlap_m, sigma, lengths)};"
                f" {lengths.m(allowed.overlap_m)} wanted"
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


def _rough(value: float, sigma: float, lengths: LengthWords) -> str:
    write = lengths.roughly
    if np.isfinite(value):
        return write.m(value, sigma)
    return f"nowhere within {write.m(NEAREST_REACH_M, spec='.0f')}"

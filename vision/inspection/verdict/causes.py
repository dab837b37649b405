"""What the joint adjustment set free or doubted: what is wrong, or cannot be told, and why."""

from __future__ import annotations

import numpy as np

from vision.adjustment.adjusted import Adjustment, Explanation, FurtherReading
from vision.adjustment.groups import Group
from vision.inspection.settings import SETTINGS
from vision.job.job import AngleReading, Job, LengthReading, LevelReading
from vision.units.reason import Reason

WAYS = (("ahead", "back"), ("left", "right"), ("higher", "lower"))


def causes(job: Job, adjustment: Adjustment) -> tuple[Reason, ...]:
    """One reason for each explanation of what does not fit.

    Then one for each strip whose stated place is hardly believed, though it was not set free.
    """
    explained = (
        _named(job, each, adjustment) if len(each.groups) == 1 else _tied(job, each)
        for each in adjustment.explanations
    )
    doubted = (
        Reason(
            "poor-fit",
            what=stated(job, group),
            taken_sigma_m=sigma_m,
            stated_sigma_m=adjustment.groups[group].rows.sigma,
        )
        for group, sigma_m in adjustment.inflated.items()
        if sigma_m >= SETTINGS.doubted_times * adjustment.groups[group].rows.sigma
    )
    return (*explained, *doubted)


def unobserved(adjustment: Adjustment) -> Reason | None:
    """What no picture can show, and how well the stated places hold it."""
    if adjustment.datum is None:
        return None
    return Reason(
        "unobserved",
        shift_sigma_m=adjustment.datum.shift_sigma_m,
        turn_sigma_rad=adjustment.datum.turn_sigma_rad,
    )


def _named(job: Job, each: Explanation, adjustment: Adjustment) -> Reason:
    """A thing that is wrong, whatever is known of how, and what would be the next cause."""
    (group,) = each.groups
    said: dict[str, object] = {}
    blunder_m = next((r.blunder_m for r in adjustment.readings if r.group == group), None)
    if blunder_m is not None:
        said["blunder_m"] = blunder_m
    if group.kind == "mounting":
        said["sits"] = _sits(job, group.name, adjustment)
    if any(group == Group("mark", mark.name) and mark.views == 1 for mark in adjustment.marks):
        said["one_view"] = True
    if each.rival is not None:
        said |= {"odds": each.odds, "rival": stated(job, each.rival)}
    what = stated(job, group)
    if group.kind == "ground":
        near = _humps(job, group.name, adjustment)
        return Reason("uneven-ground", what=what, near=near, **said)
    return Reason("does-not-fit", what=what, **said)


def _humps(job: Job, name: str, adjustment: Adjustment) -> tuple[tuple[str, float, float], ...]:
    """The marks near which the ground is surely higher or lower: how much, with the sigmas."""
    found = next(each for each in adjustment.strips if each.name == name)
    at_m = np.linspace(0.0, job.strip(name).length_m, len(found.heights_m))
    nearest = np.abs(job.strip(name).at_m - at_m[:, None]).argmin(axis=1)
    return tuple(
        (f"{name}/{index}", float(height), float(sigma))
        for index, height, sigma in zip(nearest, found.heights_m, found.height_sigma_m, strict=True)
        if abs(height) > SETTINGS.significant_sigmas * sigma
    )


def _sits(job: Job, name: str, adjustment: Adjustment) -> tuple[tuple[str, float, float], ...]:
    """How far the lens sits from its stated place, each way that is sure, with the sigmas."""
    found = adjustment.camera(name)
    off_m = found.pose.camera_in_ground_m - job.camera(name).position_m
    return tuple(
        (ways[int(off < 0)], abs(float(off)), float(sigma))
        for off, sigma, ways in zip(off_m, found.position_sigma_m, WAYS, strict=True)
        if abs(off) > SETTINGS.significant_sigmas * sigma
    )


def _tied(job: Job, each: Explanation) -> Reason:
    """Things of which one is wrong, and the further reading that would tell which."""
    decided_by = None if each.decided_by is None else _request(job, each.decided_by)
    groups = tuple(stated(job, group) for group in each.groups)
    return Reason("one-of-several", things=groups, decided_by=decided_by)


def _request(job: Job, reading: FurtherReading) -> Reason:
    """What to read; `again` where the job has that reading."""
    again = False
    for known in job.readings:
        if isinstance(known, AngleReading):
            again |= reading.kind in ("tilt", "roll") and reading.between == (known.camera,)
        elif isinstance(known, LengthReading):
            again |= set(reading.between) == set(known.between)
    return Reason(
        "further-reading",
        kind=reading.kind,
        between=reading.between,
        cameras=tuple(each.name for each in job.cameras if each.name in reading.between),
        again=again,
    )


def stated(job: Job, group: Group) -> Reason:
    """What a group of the adjustment is, for words that name it."""
    if group.kind != "reading":
        return Reason("stated", group=group)
    reading = job.readings[group.reading]
    if isinstance(reading, AngleReading):
        return Reason("stated-angle", group=group, camera=reading.camera)
    if isinstance(reading, LevelReading):
        return Reason("stated-level", group=group, on=reading.on, along=reading.along)
    return Reason("stated-length", group=group, kind=reading.kind, between=reading.between)

"""Words for what the joint adjustment set free or doubted: what is wrong, or cannot be told."""

from __future__ import annotations

import numpy as np

from vision.adjustment.adjusted import Adjustment, Explanation, FurtherReading
from vision.adjustment.groups import Group
from vision.job.job import AngleReading, Job
from vision.units.length_words import METRIC, LengthWords

BEYOND_DOUBT = 1000.0
"""Odds above this are said no more exactly: the sigmas they rest on are not that well known."""

DOUBTED = 2.0
"""A strip whose stated place was taken with this many times its stated sigma is said to be."""

SITS = (
    ("farther ahead", "farther back"),
    ("farther left", "farther right"),
    ("higher", "lower"),
)
SURE_SIGMAS = 3.0
"""Less than so many sigmas off says nothing of which way a mounting is off."""

KINDS = {"distance": "distance", "diagonal": "diagonal", "offset": "offset from the centre line"}


def causes(job: Job, adjustment: Adjustment) -> tuple[str, ...]:
    """One sentence for each explanation of what does not fit, for a person beside the vehicle.

    Then one for each strip whose stated place is hardly believed, though it was not set free.
    """
    explained = (
        _named(job, each, adjustment) if len(each.groups) == 1 else _tied(job, each)
        for each in adjustment.explanations
    )
    doubted = (
        f"{stated(job, group)} fits the rest poorly, though not so poorly that it can be called"
        f" wrong: it was taken to {job.lengths.doubt(sigma_m)} instead of"
        f" {job.lengths.doubt(adjustment.groups[group].rows.sigma)} (one sigma);"
        " tape its ends again to be sure"
        for group, sigma_m in adjustment.doubted.items()
        if sigma_m >= DOUBTED * adjustment.groups[group].rows.sigma
    )
    return (*explained, *doubted)


def unobserved(adjustment: Adjustment, lengths: LengthWords = METRIC) -> str | None:
    """What no picture can show, and how well the stated places hold it, as a sentence."""
    if adjustment.datum is None:
        return None
    x, y = (lengths.doubt(sigma) for sigma in adjustment.datum.shift_sigma_m)
    turn = float(np.degrees(adjustment.datum.turn_sigma_rad))
    return (
        "no picture shows how the layout as a whole lies against the body: what the job states of"
        f" places holds it to {x} lengthways, {y} across and {turn:.2f} degrees (one sigma)"
    )


def _named(job: Job, each: Explanation, adjustment: Adjustment) -> str:
    (group,) = each.groups
    slip = next((r.slip for r in adjustment.readings if r.group == group), None)
    wrong = f"is {slip}" if slip else "does not fit the rest"
    text = f"{stated(job, group)} {wrong}; it was set free, and the figures are those without it"
    if group.kind == "mounting":
        text += _sits(job, group.name, adjustment)
    if any(group == Group("mark", mark.name) and mark.views == 1 for mark in adjustment.marks):
        text += " (only one picture shows it, and a wrong pick there would look the same)"
    if each.rival is None:
        return text
    odds = "over 1000" if each.odds > BEYOND_DOUBT else f"{each.odds:.0f}"
    return f"{text}. That is {odds} times as likely as the next cause, {stated(job, each.rival)}"


def _sits(job: Job, name: str, adjustment: Adjustment) -> str:
    """` (the lens sits 9.9 cm (+-0.3) farther ahead than stated; measure it again)`, where sure."""
    found = adjustment.camera(name)
    stated_m = next(each.position_m for each in job.cameras if each.name == name)
    off_m = found.pose.camera_in_ground_m - stated_m
    told = [
        f"{job.lengths.cm(abs(float(off)), float(sigma))} {ways[int(off < 0)]}"
        for off, sigma, ways in zip(off_m, found.position_sigma_m, SITS, strict=True)
        if abs(off) > SURE_SIGMAS * sigma
    ]
    where = f"the lens sits {' and '.join(told)} than stated; " if told else ""
    return f" ({where}measure it again)"


def _tied(job: Job, each: Explanation) -> str:
    first, *others = (stated(job, group) for group in each.groups)
    text = f"cannot tell whether {first} is wrong, or {', or '.join(others)}; all were set free"
    if each.decided_by is None:
        return f"{text}. No single further reading would decide: measure each of them again"
    return f"{text}. {_request(job, each.decided_by)} to decide"


def _request(job: Job, reading: FurtherReading) -> str:
    """`Measure the distance from left/0 to front/0`; `again` where the job has that reading."""
    again = ""
    for known in job.readings:
        if isinstance(known, AngleReading):
            same = reading.kind in ("tilt", "roll") and reading.between == (known.camera,)
        else:
            same = set(reading.between) == set(known.between)
        again = " again" if same else again
    cameras = {camera.name for camera in job.cameras}
    places = [f"the {name} camera" if name in cameras else name for name in reading.between]
    match reading.kind:
        case "tilt" | "roll":
            return f"Read the {reading.kind} of {places[0]} with a gauge{again}"
        case "offset":
            return f"Measure the offset of {places[0]} from the centre line{again}"
    return f"Measure the distance from {places[0]} to {places[1]}{again}"


def stated(job: Job, group: Group) -> str:
    """What a group of the adjustment is, in words for a person."""
    kind, name = group
    match kind:
        case "strip":
            return f"the stated place of the {name} strip's ends"
        case "bow":
            return f"the straightness of the {name} strip"
        case "mounting":
            return f"the stated place of the {name} camera's mounting"
        case "mark":
            return f"the stated place of {name}"
        case "lens":
            return f"the stated lens of the {name} camera"
        case "lens-type":
            return f"the lens {name} as stated for several cameras"
    reading = job.readings[group.reading]
    if isinstance(reading, AngleReading):
        return f"{group} (angle of the {reading.camera} camera)"
    return f"{group} ({KINDS[reading.kind]}, {' to '.join(map(str, reading.between))})"

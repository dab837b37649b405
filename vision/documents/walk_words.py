"""What is said of a walk round the vehicle: where to stand cones, and what room stays unseen."""

from __future__ import annotations

import numpy as np

from vision.inspection.settings import SETTINGS
from vision.inspection.walk_round import Cone, WalkRound
from vision.job.job import Job, Vehicle
from vision.units.arrays import Array
from vision.units.length_words import METRIC, LengthWords

ROUGH = "places, heights and reaches"
"""What the list says to a centimetre only, for the note on rounding."""
NOT_KEPT = (
    "The check of these pictures says {verdict}, not keep: do first what it says, then walk round."
)
ABOUT_M = 0.01
"""What a driver tells by eye at most: gaps are said to no less."""


def walk_words(job: Job, found: WalkRound) -> list[str]:
    """Cones one by one, the unseen ground at each height, and notes; a line each."""
    write = job.lengths.roughly
    cones = (cone_words(job.vehicle, cone, job.lengths) for cone in found.cones)
    lines = [NOT_KEPT.format(verdict=found.verdict), ""] if not_kept(found) else []
    lines += [f"{number}. {words}" for number, words in enumerate(cones, start=1)]
    reach = write.m(SETTINGS.walk.reach_m, spec=".0f")
    for unseen in found.unseen:
        if not unseen.area_m2:
            continue
        up, area = write.m(unseen.height_m, spec=".1f"), write.area(unseen.area_m2)
        lines.append(f"unseen {up} up: {area} within {reach} of the body")
    if whole := seen_whole(found, write):
        lines.append(f"everything within {reach} of the body is seen {whole}")
    if found.planned:
        lines.append(f"note: as intended, not as found: {', '.join(found.planned)}")
    rounding = job.lengths.note(ROUGH)
    return [*lines, f"note: {rounding}"] if rounding else lines


def not_kept(found: WalkRound) -> bool:
    """Whether the check of these pictures asks for something first."""
    return found.verdict not in (None, "keep")


def seen_whole(found: WalkRound, write: LengthWords) -> str:
    """At which heights nothing is unseen; those have no plan."""
    whole = [each.height_m for each in found.unseen if not each.area_m2]
    said = ["on the ground" if not up else f"{write.m(up, spec='.1f')} up" for up in whole]
    return f"{', '.join(said[:-1])} and {said[-1]}" if len(said) > 1 else "".join(said)


def place_words(vehicle: Vehicle, place_m: Array, lengths: LengthWords = METRIC) -> str:
    """Where a point on the ground is, measured from the body: `0.93 m ahead of the front, ...`."""
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    names = (
        ("ahead of the front", "behind the rear"),
        ("left of the left side", "right of the right side"),
    )
    parts, write = [], lengths.roughly
    for value, size, (plus, minus) in zip(place_m, half, names, strict=True):
        beyond = abs(value) - size
        if beyond > 0:
            parts.append(f"{write.m(beyond)} {plus if value > 0 else minus}")
    if abs(place_m[1]) <= half[1]:
        side = "left" if place_m[1] > 0 else "right"
        parts.append(f"{write.m(abs(place_m[1]))} to the {side} of the centre line")
    if abs(place_m[0]) <= half[0]:
        end = "ahead of" if place_m[0] > 0 else "behind"
        parts.append(f"{write.m(abs(place_m[0]))} {end} the middle of its length")
    return ", ".join(parts)


def cone_words(vehicle: Vehicle, cone: Cone, lengths: LengthWords = METRIC) -> str:
    """One line of the list: where the cone goes and what should be seen."""
    first, second = cone.between
    where = f"stand a cone {place_words(vehicle, cone.place_m, lengths)}"
    match len(cone.seen_by):
        case 2:
            jump = "" if cone.gap_m is None else f", moved by {_about(cone.gap_m, lengths)}"
            return (
                f"{where}: its foot should show in the {first} and the {second} view, and stay one"
                f" cone where the display passes from one to the other{jump}"
            )
        case 1:
            other = second if cone.seen_by[0] == first else first
            return f"{where}: only the {cone.seen_by[0]} view shows it; the {other} view cannot"
    return f"{where}: neither the {first} nor the {second} view shows it"


def _about(gap_m: float, lengths: LengthWords) -> str:
    if gap_m < ABOUT_M:
        return f"less than {lengths.cm(ABOUT_M, spec='.0f')}"
    return f"about {lengths.cm(gap_m, spec='.0f')}"

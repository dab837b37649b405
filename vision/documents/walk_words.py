"""What is said of a walk round the vehicle: where to stand cones, and what room stays unseen."""

from __future__ import annotations

from vision.inspection.walk_round import REACH_M, ROUGH, WalkRound, cone_words
from vision.job.job import Job


def walk_words(job: Job, found: WalkRound) -> list[str]:
    """Cones one by one, the unseen ground at each height, and notes; a line each."""
    write = job.lengths.roughly
    cones = (cone_words(job.vehicle, cone, job.lengths) for cone in found.cones)
    lines = [f"{number}. {words}" for number, words in enumerate(cones, start=1)]
    reach = write.m(REACH_M, spec=".0f")
    for unseen in found.unseen:
        up, area = write.m(unseen.height_m, spec=".1f"), write.area(unseen.area_m2)
        lines.append(f"unseen {up} up: {area} within {reach} of the body")
    if found.planned:
        lines.append(f"note: as intended, not as found: {', '.join(found.planned)}")
    rounding = job.lengths.note(ROUGH)
    return [*lines, f"note: {rounding}"] if rounding else lines

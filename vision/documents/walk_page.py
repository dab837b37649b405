"""The walk-round list as one self-contained page to print or to hold: no network, no script."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.documents.cautions import CAUTION
from vision.documents.templates import written_page
from vision.documents.walk_words import NOT_KEPT, ROUGH, cone_words, not_kept, seen_whole
from vision.inspection.settings import SETTINGS
from vision.inspection.walk_round import Unseen, WalkRound
from vision.job.job import Job
from vision.units.arrays import Flags

STEP_M = SETTINGS.walk.step_m
SIDES = ("front", "left", "rear", "right")


def walk_page(job: Job, walk: WalkRound) -> str:
    """Write the page: the cones in order, plans of what is unseen at each height, the zones."""
    vehicle = job.vehicle
    return written_page(
        "walk_page.html.j2",
        job=job,
        caution=CAUTION,
        cones=[job.lengths.page(cone_words(vehicle, cone, job.lengths)) for cone in walk.cones],
        places=[cone.place_m.tolist() for cone in walk.cones],
        plans=[_plan(unseen) for unseen in walk.unseen if unseen.area_m2],
        whole=seen_whole(walk, job.lengths.roughly),
        not_kept=NOT_KEPT.format(verdict=walk.verdict) if not_kept(walk) else "",
        zones=walk.zones,
        planned=walk.planned,
        half=(vehicle.length_m / 2, vehicle.width_m / 2),
        reach_m=SETTINGS.walk.reach_m,
        write=job.lengths.roughly,
        rounding=job.lengths.note(ROUGH),
    )


def _plan(unseen: Unseen) -> dict[str, object]:
    """A plan with the vehicle's front upwards: SVG x is right (-y) and SVG y is back (-x)."""
    reach = (
        float(unseen.x_m[-1]) + STEP_M / 2,
        float(unseen.y_m[-1]) + STEP_M / 2,
    )
    return {
        "height_m": unseen.height_m,
        "area_m2": unseen.area_m2,
        "blind": dict(zip(SIDES, unseen.blind_to_m, strict=True)),
        "path": _path(unseen.unseen, unseen.x_m, unseen.y_m),
        "box": f"{-reach[1]:.2f} {-reach[0]:.2f} {2 * reach[1]:.2f} {2 * reach[0]:.2f}",
    }


def _path(flags: Flags, x_m: NDArray[np.float64], y_m: NDArray[np.float64]) -> str:
    """Rectangles of runs of unseen cells, as one SVG path."""
    parts = []
    for row, x in zip(flags, x_m, strict=True):
        change = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
        for begin, end in change.reshape(-1, 2):
            left = -(y_m[end - 1] + STEP_M / 2)
            width = (end - begin) * STEP_M
            parts.append(f"M{left:.2f} {-x - STEP_M / 2:.2f}h{width:.2f}v{STEP_M}h-{width:.2f}z")
    return "".join(parts)

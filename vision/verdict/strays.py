"""Marks of strips that were left out because they lie elsewhere than their strip has them.

A single mark laid wrong bends nothing and shifts no strip: it is left out, and of its place no
figure would be left. But a picture shows where it lies, and somebody will pick it there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from vision.adjustment import AdjustedStrip, Adjustment
from vision.geometry import Array
from vision.ground import ground_map
from vision.job import Job
from vision.layout import PlannedMark, planned_layout
from vision.plan_fit import Points

LEAST_STRAY_M, MOST_STRAY_M = 0.01, 0.5
"""Less is how marks are laid; what seems to lie farther off is another thing than that mark."""


def strays(job: Job, adjustment: Adjustment, points: Mapping[str, Points]) -> tuple[str, ...]:
    """One sentence for each mark that pictures show and none uses: how far off it lies.

    `points`: each camera's marks in the order of `AdjustedCamera.used`.
    """
    used, left_out = _sorted(adjustment, points)
    layout, strips = planned_layout(job), {strip.name: strip for strip in adjustment.strips}
    words = []
    for mark_id, (camera, ground_m) in left_out.items():
        if mark_id in used:
            continue
        mark = next((each for each in layout.marks if each.id == mark_id), None)
        if mark is None or mark.strip is None or not strips[mark.strip].seen:
            continue
        off_m = ground_m - _on_strip(job, mark, strips[mark.strip])
        if LEAST_STRAY_M <= float(np.linalg.norm(off_m)) <= MOST_STRAY_M:
            ways = " and ".join(_ways(job, off_m))
            words.append(
                f"{mark_id} lies about {ways} of where the rest of its strip has it, as the"
                f" {camera} camera shows it; it was left out: tape it from mark 0"
            )
    return tuple(words)


def _sorted(
    adjustment: Adjustment, points: Mapping[str, Points]
) -> tuple[set[str], dict[str, tuple[str, Array]]]:
    """Ids that a camera uses; and those left out, with a camera and the ground (2,) it shows."""
    used: set[str] = set()
    left_out: dict[str, tuple[str, Array]] = {}
    for camera in adjustment.cameras:
        seen = points[camera.name]
        flags = camera.used[: len(seen.ids)]
        used |= {mark_id for mark_id, flag in zip(seen.ids, flags, strict=True) if flag}
        ground = ground_map(camera.pose, camera.lens).ground_from_pixel(seen.pixels_px)
        for mark_id, flag, place in zip(seen.ids, flags, ground, strict=True):
            if not flag and np.isfinite(place).all():
                left_out.setdefault(mark_id, (camera.name, place))
    return used, left_out


def _on_strip(job: Job, mark: PlannedMark, strip: AdjustedStrip) -> Array:
    """Where the strip, as adjusted, has the mark (2,)."""
    planned = job.strip(strip.name)
    share = float(planned.at_m[mark.index] / planned.length_m)
    return np.asarray(strip.ends_m[0] + share * (strip.ends_m[1] - strip.ends_m[0]))


def _ways(job: Job, off_m: Array) -> Iterator[str]:
    """`5.1 cm ahead`, `2.0 cm left`: of each direction that is worth saying."""
    for off, (plus, minus) in zip(off_m, (("ahead", "behind"), ("left", "right")), strict=True):
        if abs(off) >= LEAST_STRAY_M / 2:
            yield f"{job.lengths.cm(abs(float(off)))} {plus if off > 0 else minus}"

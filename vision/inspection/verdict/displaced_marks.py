"""Marks of strips that were left out because they lie elsewhere than their strip has them.

A single mark laid wrong bends nothing and shifts no strip: it is left out, and its strip would pass
for well laid. But a picture shows where it lies, and somebody will pick it there. What two pictures
show alike is misplaced; what one shows may as well be a wrong pick, and cannot be told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera, AdjustedStrip, Adjustment
from vision.adjustment.plan_fit import Points
from vision.inspection.settings import SETTINGS
from vision.inspection.verdict.layings import LayingVerdict
from vision.inspection.verdict.rule import (
    Action,
    judge,
    length_and_sigma,
)
from vision.job.job import Job, Strip
from vision.job.layout import Layout, PlannedMark
from vision.job.mark_id import MarkId
from vision.units.arrays import Array
from vision.units.reason import Reason
from vision.views.ground import ground_map

WAYS = (("ahead", "behind"), ("left", "right"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DisplacedMark:
    """A strip's mark that pictures show and none uses.

    `off_m` (2,) is how far it lies from where the rest of its strip has it, `shift_m` (2,) from its
    plan, with `covariance_m2` (2, 2); x ahead, y left. `cameras` are those that show it alike.
    """

    mark_id: MarkId
    strip: str
    cameras: tuple[str, ...]
    off_m: Array
    shift_m: Array
    covariance_m2: Array

    @property
    def reason(self) -> Reason:
        """Where it lies: how far which way, as far as that is worth saying."""
        parts = tuple(
            (plus if off > 0 else minus, abs(float(off)))
            for off, (plus, minus) in zip(self.off_m, WAYS, strict=True)
            if abs(off) >= SETTINGS.least_displaced_m / 2
        )
        return Reason("stray-mark", mark=self.mark_id, cameras=self.cameras, parts=parts)


def displaced_marks(
    job: Job, layout: Layout, adjustment: Adjustment, points: Mapping[str, Points]
) -> tuple[DisplacedMark, ...]:
    """Every mark of a strip that pictures show and none uses.

    `points`: each camera's marks in the order of `AdjustedCamera.used`.
    """
    strips = {strip.name: strip for strip in adjustment.strips}
    planned = {mark.id: mark for mark in layout.marks}
    used: set[MarkId] = set()
    found: dict[MarkId, DisplacedMark] = {}
    for camera in adjustment.cameras:
        seen = points[camera.name]
        used |= {mark_id for mark_id, flag in zip(seen.ids, camera.used, strict=True) if flag}
        for row in np.flatnonzero(~camera.used):
            mark = planned.get(seen.ids[row])
            if mark is None or mark.strip is None or not strips[mark.strip].seen:
                continue
            strip, adjusted = job.strip(mark.strip), strips[mark.strip]
            one = _displaced(strip, adjusted, camera, mark, seen, int(row))
            if one is not None:
                found[mark.id] = _together(found.get(mark.id), one)
    return tuple(each for mark_id, each in found.items() if mark_id not in used)


def with_displaced_marks(
    verdict: LayingVerdict, found: tuple[DisplacedMark, ...], tolerance_m: float
) -> LayingVerdict:
    """The verdict on a strip with those of its marks that were left out and lie beyond tolerance.

    What two pictures show makes it re-measure; what one shows, not judged.
    """
    for each in found:
        figures = length_and_sigma(each.shift_m, each.covariance_m2)
        if each.strip != verdict.name or judge(*figures, tolerance_m) != "beyond":
            continue
        verdict = replace(verdict, reasons=(*verdict.reasons, each.reason))
        if len(each.cameras) > 1:
            action = Action(what=Reason("lay-displaced-again", why=each.reason))
            actions = (*verdict.actions, action)
            verdict = replace(verdict, verdict="re-measure", actions=actions)
        elif verdict.verdict == "keep":
            verdict = replace(verdict, verdict="not-judged")
    return verdict


def _displaced(
    planned: Strip,
    strip: AdjustedStrip,
    camera: AdjustedCamera,
    mark: PlannedMark,
    seen: Points,
    row: int,
) -> DisplacedMark | None:
    """One mark as one camera shows it; None where it lies about right, or is another thing."""
    ground = ground_map(camera.pose, camera.lens)
    beside = seen.pixels_px[row] + np.vstack([np.zeros(2), 0.5 * np.eye(2), -0.5 * np.eye(2)])
    at, *ends = ground.ground_from_pixel(beside)
    by_pixel = np.column_stack([ends[0] - ends[2], ends[1] - ends[3]])
    share = float(planned.at_m[mark.index] / planned.length_m)
    by_ends = np.hstack([(1 - share) * np.eye(2), share * np.eye(2)])
    on_strip = by_ends @ strip.ends_m.ravel()
    off_m = at - on_strip
    # Not so: NaN, where the lens does not see the ground.
    if not SETTINGS.least_displaced_m <= float(np.linalg.norm(off_m)) <= SETTINGS.most_displaced_m:
        return None
    pixel = by_pixel @ seen.covariance_px2[row] @ by_pixel.T
    return DisplacedMark(
        mark_id=mark.id,
        strip=strip.name,
        cameras=(camera.name,),
        off_m=off_m,
        shift_m=at - mark.centre_m[:2],
        # The camera stands by the strip's other marks: its own doubt is in that of the strip.
        covariance_m2=pixel + by_ends @ strip.covariance_m2 @ by_ends.T,
    )


def _together(known: DisplacedMark | None, other: DisplacedMark) -> DisplacedMark:
    """What two cameras show of one mark: both where they agree, else the first alone."""
    if known is None:
        return other
    apart = length_and_sigma(
        known.shift_m - other.shift_m, known.covariance_m2 + other.covariance_m2
    )
    if apart[0] > max(SETTINGS.significant_sigmas * apart[1], SETTINGS.least_displaced_m):
        return known
    return replace(known, cameras=(*known.cameras, *other.cameras))

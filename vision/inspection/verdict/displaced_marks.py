"""Marks of strips that were left out because they lie elsewhere than their strip has them.

A single mark laid wrong bends nothing and shifts no strip: it is left out, and its strip would pass
for well laid. But a picture shows where it lies, and somebody will pick it there. What two pictures
show alike is misplaced; what one shows may as well be a wrong pick, and cannot be told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera, AdjustedStrip, Adjustment
from vision.adjustment.plan_fit import Points
from vision.inspection.verdict.layings import LayingVerdict
from vision.inspection.verdict.rule import (
    SIGNIFICANT,
    Action,
    Reason,
    judge,
    length_and_sigma,
)
from vision.job.job import Job, Strip
from vision.job.layout import Layout, PlannedMark
from vision.job.mark_id import MarkId
from vision.units.arrays import Array
from vision.units.length_words import LengthWords
from vision.views.ground import ground_map

LEAST_STRAY_M, MOST_STRAY_M = 0.01, 0.5
"""Less is how marks are laid; what seems to lie farther off is another thing than that mark."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stray:
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

    def text(self, lengths: LengthWords) -> str:
        """Where it lies and what to do, as a sentence."""
        return f"{self.mark_id} {self.lies(lengths)}; it was left out: tape it from its neighbours"

    def lies(self, lengths: LengthWords) -> str:
        """`lies about 6.0 cm ahead of where ...`."""
        ways = " and ".join(_ways(self.off_m, lengths))
        who = "cameras show" if len(self.cameras) > 1 else "camera shows"
        return (
            f"lies about {ways} of where the rest of its strip has it, as the"
            f" {' and '.join(self.cameras)} {who} it"
        )


def strays(
    job: Job, layout: Layout, adjustment: Adjustment, points: Mapping[str, Points]
) -> tuple[Stray, ...]:
    """Every mark of a strip that pictures show and none uses.

    `points`: each camera's marks in the order of `AdjustedCamera.used`.
    """
    strips = {strip.name: strip for strip in adjustment.strips}
    planned = {mark.id: mark for mark in layout.marks}
    used: set[MarkId] = set()
    found: dict[MarkId, Stray] = {}
    for camera in adjustment.cameras:
        seen = points[camera.name]
        used |= {mark_id for mark_id, flag in zip(seen.ids, camera.used, strict=True) if flag}
        for row in np.flatnonzero(~camera.used):
            mark = planned.get(seen.ids[row])
            if mark is None or mark.strip is None or not strips[mark.strip].seen:
                continue
            stray = _stray(job.strip(mark.strip), strips[mark.strip], camera, mark, seen, int(row))
            if stray is not None:
                found[mark.id] = _together(found.get(mark.id), stray)
    return tuple(stray for mark_id, stray in found.items() if mark_id not in used)


def with_strays(
    verdict: LayingVerdict, found: tuple[Stray, ...], tolerance_m: float, lengths: LengthWords
) -> LayingVerdict:
    """The verdict on a strip with those of its marks that were left out and lie beyond tolerance.

    What two pictures show makes it re-measure; what one shows, not judged.
    """
    for stray in found:
        figures = length_and_sigma(stray.shift_m, stray.covariance_m2)
        if stray.strip != verdict.name or judge(*figures, tolerance_m) != "beyond":
            continue
        reason = Reason(code="stray-mark", text=stray.text(lengths))
        verdict = replace(verdict, reasons=(*verdict.reasons, reason))
        if len(stray.cameras) > 1:
            action = Action(text=f"lay mark {stray.mark_id} again: it {stray.lies(lengths)}")
            actions = (*verdict.actions, action)
            verdict = replace(verdict, verdict="re-measure", actions=actions)
        elif verdict.verdict == "keep":
            verdict = replace(verdict, verdict="not-judged")
    return verdict


def _stray(
    planned: Strip,
    strip: AdjustedStrip,
    camera: AdjustedCamera,
    mark: PlannedMark,
    seen: Points,
    row: int,
) -> Stray | None:
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
    if not LEAST_STRAY_M <= float(np.linalg.norm(off_m)) <= MOST_STRAY_M:
        return None
    pixel = by_pixel @ seen.covariance_px2[row] @ by_pixel.T
    return Stray(
        mark_id=mark.id,
        strip=strip.name,
        cameras=(camera.name,),
        off_m=off_m,
        shift_m=at - mark.centre_m[:2],
        # The camera stands by the strip's other marks: its own doubt is in that of the strip.
        covariance_m2=pixel + by_ends @ strip.covariance_m2 @ by_ends.T,
    )


def _together(known: Stray | None, stray: Stray) -> Stray:
    """What two cameras show of one mark: both where they agree, else the first alone."""
    if known is None:
        return stray
    apart = length_and_sigma(
        known.shift_m - stray.shift_m, known.covariance_m2 + stray.covariance_m2
    )
    if apart[0] > max(SIGNIFICANT * apart[1], LEAST_STRAY_M):
        return known
    return replace(known, cameras=(*known.cameras, *stray.cameras))


def _ways(off_m: Array, lengths: LengthWords) -> Iterator[str]:
    """`5.1 cm ahead`, `2.0 cm left`: of each direction that is worth saying."""
    for off, (plus, minus) in zip(off_m, (("ahead", "behind"), ("left", "right")), strict=True):
        if abs(off) >= LEAST_STRAY_M / 2:
            yield f"{lengths.cm(abs(float(off)))} {plus if off > 0 else minus}"

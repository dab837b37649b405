"""How a straight tape edge that crosses a seam would look: its break and its kink.

The display passes from one camera to the other at the seam. An edge laid straight comes out with a
step there, the part of the seam gap across the edge, and with a bend, how that part changes along
the edge. These are what a driver sees first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vision.adjustment.adjusted import AdjustedStrip, Adjustment
from vision.adjustment.plan_fit import PlanFit
from vision.job.job import Job
from vision.units.arrays import Array, freeze
from vision.units.plain import written
from vision.views.ground import ground_map
from vision.views.seams.gaps import gaps_with_slopes
from vision.views.seams.lines import SeamLine
from vision.views.settings import SETTINGS

TUNED = SETTINGS.seams


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeCrossing:
    """One tape edge at one seam; `side` is left or right of its strip, `at_m` (2,) on the ground.

    `break_m` is how far the first camera's edge lies to the left of the second's, looking along the
    strip; `kink_rad` by how much it turns counter-clockwise from the second's; with sigmas.
    """

    strip: str = written()
    side: str = written()
    at_m: Array = written(5)
    break_m: float = written(5)
    break_sigma_m: float = written(5)
    kink_rad: float = written(3, degrees=True)
    kink_sigma_rad: float = written(3, degrees=True)

    def __post_init__(self) -> None:
        freeze(self, at_m=(2,))


def edge_crossings(
    job: Job, line: SeamLine, plan_fits: Mapping[str, PlanFit], adjustment: Adjustment
) -> tuple[EdgeCrossing, ...]:
    """Every tape edge that crosses a seam where both cameras see it."""
    crossings = []
    for strip in adjustment.strips:
        if not strip.seen:
            continue
        half_m = job.strip(strip.name).tape_width_m / 2
        for side, offset_m in (("left", half_m), ("right", -half_m)):
            at = _meeting(strip, offset_m, line)
            if at is None:
                continue
            crossing = _crossing(strip, side, at, job, line, plan_fits, adjustment)
            crossings += [crossing] if crossing else []
    return tuple(crossings)


def _axes(strip: AdjustedStrip) -> tuple[Array, Array]:
    """Unit vectors along a strip as it lies, and to its left."""
    along = strip.ends_m[1] - strip.ends_m[0]
    along = along / np.linalg.norm(along)
    return along, np.array([-along[1], along[0]])


def _meeting(strip: AdjustedStrip, offset_m: float, line: SeamLine) -> Array | None:
    """Where an edge between its strip's first and last mark meets the seam, or None."""
    along, left = _axes(strip)
    begin, seam = strip.ends_m[0] + offset_m * left, line.end_m - line.start_m
    system = np.column_stack([along, -seam])
    if abs(np.linalg.det(system)) < 1e-6 * np.linalg.norm(seam):
        return None
    distance, share = np.linalg.solve(system, line.start_m - begin)
    length = np.linalg.norm(strip.ends_m[1] - strip.ends_m[0])
    inside = 0 <= distance <= length and 0 <= share <= 1
    return np.asarray(begin + distance * along) if inside else None


def _crossing(
    strip: AdjustedStrip,
    side: str,
    at: Array,
    job: Job,
    line: SeamLine,
    plan_fits: Mapping[str, PlanFit],
    adjustment: Adjustment,
) -> EdgeCrossing | None:
    along, left = _axes(strip)
    pair = (adjustment.camera(line.between[0]), adjustment.camera(line.between[1]))
    first, second = (plan_fits[name] for name in line.between)
    maps = (ground_map(first.pose, first.lens), ground_map(second.pose, second.lens))
    points = at + TUNED.bend_m * np.array([-1.0, 0.0, 1.0])[:, None] * along
    gaps, slopes = gaps_with_slopes(points, job.vehicle, pair, maps)
    if not np.isfinite(gaps).all():
        return None
    joint = adjustment.covariance_of(*line.between)
    across, d_across = gaps @ left, left @ slopes
    bend, d_bend = (across[2] - across[0]) / (2 * TUNED.bend_m), (d_across[2] - d_across[0])
    d_bend = d_bend / (2 * TUNED.bend_m)
    return EdgeCrossing(
        strip=strip.name,
        side=side,
        at_m=at,
        break_m=float(across[1]),
        break_sigma_m=float(np.sqrt(d_across[1] @ joint @ d_across[1])),
        kink_rad=float(np.arctan(bend)),
        kink_sigma_rad=float(np.sqrt(d_bend @ joint @ d_bend)),
    )

"""Verdicts on seams: the gap vector at every point and shared mark against what is accepted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.inspection.settings import SETTINGS
from vision.inspection.verdict.rule import (
    Judgement,
    deciding,
    judge,
    length_and_sigma,
    reasons_for,
    worst_of,
)
from vision.job.job import Tolerances, Vehicle
from vision.units.plain import written
from vision.units.reason import Reason
from vision.views.seams.gaps import SeamGap


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamVerdict:
    """The verdict on the seam between two cameras.

    `gap_m` is the gap that decides it, a length with its own sigma, at `gap_at_m` on the ground:
    the one that is surest to be beyond, or farthest from being within. None where there is none.
    """

    between: tuple[str, str] = written()
    verdict: Judgement = written()
    reasons: tuple[Reason, ...] = written(default=())
    gap_m: float | None = written(5, default=None)
    gap_sigma_m: float | None = written(5, default=None)
    gap_at_m: tuple[float, float] | None = written(3, default=None)


def seam_verdict(
    between: tuple[str, str],
    gap: SeamGap | None,
    tolerances: Tolerances,
    *,
    vehicle: Vehicle | None = None,
    missing: tuple[str, ...] = (),
) -> SeamVerdict:
    """Judge one seam; `gap` is None where a camera of it, named in `missing`, has no fit.

    Seam that one camera does not cover has no gap to judge: it keeps a seam from being within.
    With the `vehicle` its reasons say where the gap is from the nearest corner of the body.
    """
    if gap is None:
        reason = Reason("neighbour-not-identified", cameras=missing)
        return SeamVerdict(between=between, verdict="not-judged", reasons=(reason,))
    covered = np.isfinite(gap.gaps_m).all(axis=1)
    vectors = np.concatenate([gap.gaps_m[covered], gap.mark_gaps_m])
    spreads = np.concatenate([gap.covariances_m2[covered], gap.mark_covariances_m2])
    places = np.concatenate([gap.points_m[covered], gap.mark_at_m])
    figures = [length_and_sigma(v, c) for v, c in zip(vectors, spreads, strict=True)]
    words = [judge(d, s, tolerances.seam_gap_m) for d, s in figures]
    verdict = worst_of(words)
    judged = SeamVerdict(between=between, verdict=verdict)
    if figures:
        worst = deciding(verdict, figures, words)
        x, y = map(float, places[worst])
        where: dict[str, object] = {"at_m": (x, y)}
        if vehicle is not None:
            where["corner"] = from_corner(vehicle, (x, y))
        if worst >= covered.sum():
            where["mark"] = gap.mark_ids[worst - covered.sum()]
        length, sigma = figures[worst]
        reasons = _gap_reasons(verdict, length, sigma, where, tolerances)
        judged = replace(judged, reasons=reasons, gap_m=length, gap_sigma_m=sigma, gap_at_m=(x, y))
    if gap.uncovered_m > 0:
        uncovered = Reason("uncovered", uncovered_m=gap.uncovered_m)
        word: Judgement = "beyond" if verdict == "beyond" else "not-judged"
        judged = replace(judged, verdict=word, reasons=(*judged.reasons, uncovered))
    return judged


def _gap_reasons(
    verdict: Judgement,
    length: float,
    sigma: float,
    where: dict[str, object],
    tolerances: Tolerances,
) -> tuple[Reason, ...]:
    """The reason for the point that decides; `where` says where that is."""
    found = reasons_for(
        verdict,
        "gap",
        real=length > SETTINGS.significant_sigmas * sigma,
        off_m=length,
        sigma_m=sigma,
        limit_m=tolerances.seam_gap_m,
        **where,
    )
    return tuple(found)


def from_corner(vehicle: Vehicle, place_m: tuple[float, float]) -> tuple[str, str, float, float]:
    """The corner of the body nearest to a place, and how far ahead and left of it the place is.

    The corner by its end and its side: `("rear", "right", -0.9, 0.0)` is 0.9 m behind it.
    """
    x, y = place_m
    end = "front" if x > 0 else "rear"
    side = "left" if y > 0 else "right"
    ahead = x - (vehicle.length_m if x > 0 else -vehicle.length_m) / 2
    left = y - (vehicle.width_m if y > 0 else -vehicle.width_m) / 2
    return end, side, ahead, left

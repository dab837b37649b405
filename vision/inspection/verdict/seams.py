"""Verdicts on seams: the gap vector at every point and shared mark against what is accepted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

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
from vision.job.job import Tolerances
from vision.units.plain import written
from vision.units.reason import Reason
from vision.views.seams.gaps import SeamGap


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamVerdict:
    """The verdict on the seam between two cameras."""

    between: tuple[str, str] = written()
    verdict: Judgement = written()
    reasons: tuple[Reason, ...] = written(default=())


def seam_verdict(
    between: tuple[str, str],
    gap: SeamGap | None,
    tolerances: Tolerances,
    *,
    missing: tuple[str, ...] = (),
) -> SeamVerdict:
    """Judge one seam; `gap` is None where a camera of it, named in `missing`, has no fit.

    Seam that one camera does not cover has no gap to judge: it keeps a seam from being within.
    """
    if gap is None:
        reason = Reason("neighbour-not-identified", cameras=missing)
        return SeamVerdict(between=between, verdict="not-judged", reasons=(reason,))
    covered = np.isfinite(gap.gaps_m).all(axis=1)
    vectors = np.concatenate([gap.gaps_m[covered], gap.mark_gaps_m])
    spreads = np.concatenate([gap.covariances_m2[covered], gap.mark_covariances_m2])
    figures = [length_and_sigma(v, c) for v, c in zip(vectors, spreads, strict=True)]
    words = [judge(d, s, tolerances.seam_gap_m) for d, s in figures]
    covered_m = gap.points_m[covered]

    def place(index: int) -> dict[str, object]:
        if index < len(covered_m):
            return {"at_m": tuple(covered_m[index].tolist())}
        return {"mark": gap.mark_ids[index - len(covered_m)]}

    reasons = _gap_reasons(figures, words, place, tolerances)
    verdict = worst_of(words)
    if gap.uncovered_m > 0:
        reasons.append(Reason("uncovered", uncovered_m=gap.uncovered_m))
        verdict = "beyond" if verdict == "beyond" else "not-judged"
    return SeamVerdict(between=between, verdict=verdict, reasons=tuple(reasons))


def _gap_reasons(
    figures: list[tuple[float, float]],
    words: list[Judgement],
    place: Callable[[int], dict[str, object]],
    tolerances: Tolerances,
) -> list[Reason]:
    """The reason for the worst point of those that decide; `place` says where a point is."""
    if not figures:
        return []
    verdict = worst_of(words)
    worst = deciding(verdict, figures, words)
    length, sigma = figures[worst]
    return reasons_for(
        verdict,
        "gap",
        real=length > SETTINGS.significant_sigmas * sigma,
        off_m=length,
        sigma_m=sigma,
        limit_m=tolerances.seam_gap_m,
        **place(worst),
    )

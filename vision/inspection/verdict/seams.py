"""Verdicts on seams: the gap vector at every point and shared mark against what is accepted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.inspection.verdict.rule import (
    COVERAGE,
    SIGNIFICANT,
    Judgement,
    Reason,
    judge,
    length_and_sigma,
    reasons_for,
    worst_of,
)
from vision.job.job import Tolerances
from vision.units.length_words import METRIC, LengthWords
from vision.views.seams.gaps import SeamGap


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamVerdict:
    """The verdict on the seam between two cameras."""

    between: tuple[str, str]
    verdict: Judgement
    reasons: tuple[Reason, ...] = ()


def seam_verdict(
    between: tuple[str, str],
    gap: SeamGap | None,
    tolerances: Tolerances,
    *,
    missing: tuple[str, ...] = (),
    lengths: LengthWords = METRIC,
) -> SeamVerdict:
    """Judge one seam; `gap` is None where a camera of it, named in `missing`, has no fit.

    Seam that one camera does not cover has no gap to judge: it keeps a seam from being within.
    """
    if gap is None:
        who = " and ".join(missing) or "a camera"
        text = f"{who} not identified, so there is no gap to measure"
        reason = Reason(code="neighbour-not-identified", text=text)
        return SeamVerdict(between=between, verdict="not-judged", reasons=(reason,))
    covered = np.isfinite(gap.gaps_m).all(axis=1)
    vectors = np.concatenate([gap.gaps_m[covered], gap.mark_gaps_m])
    spreads = np.concatenate([gap.covariances_m2[covered], gap.mark_covariances_m2])
    figures = [length_and_sigma(v, c) for v, c in zip(vectors, spreads, strict=True)]
    words = [judge(d, s, tolerances.seam_gap_m) for d, s in figures]
    covered_m = gap.points_m[covered]

    def place(index: int) -> str:
        if index < len(covered_m):
            return lengths.roughly.several(covered_m[index].tolist(), "m", labels="xy")
        return f"mark {gap.mark_ids[index - len(covered_m)]}"

    reasons = _gap_reasons(figures, words, place, tolerances, lengths)
    verdict = worst_of(words)
    if gap.uncovered_m > 0:
        text = (
            f"{lengths.roughly.m(gap.uncovered_m)} of the seam is not covered by both cameras;"
            " where your display has it elsewhere, state it in a table [seam.NAME]"
        )
        reasons.append(Reason(code="uncovered", text=text))
        verdict = "beyond" if verdict == "beyond" else "not-judged"
    return SeamVerdict(between=between, verdict=verdict, reasons=tuple(reasons))


def _gap_reasons(
    figures: list[tuple[float, float]],
    words: list[Judgement],
    place: Callable[[int], str],
    tolerances: Tolerances,
    lengths: LengthWords,
) -> list[Reason]:
    """The reason for the worst point of those that decide; `place` says where a point is."""
    if not figures:
        return []
    verdict = worst_of(words)
    deciding = [index for index, word in enumerate(words) if word == verdict]
    # The point farthest from acceptance, sigma included, is the one that decides.
    worst = max(deciding, key=lambda index: figures[index][0] + COVERAGE * figures[index][1])
    if verdict == "beyond":
        worst = max(deciding, key=lambda index: figures[index][0] - COVERAGE * figures[index][1])
    length, sigma = figures[worst]
    return reasons_for(
        verdict,
        "gap",
        f"the two views lie {lengths.cm(length, sigma)} apart at {place(worst)}",
        limit=lengths.cm(tolerances.seam_gap_m),
        span=lengths.span(length, COVERAGE * sigma),
        narrow="more marks that both cameras see near the seam would narrow it",
        real=length > SIGNIFICANT * sigma,
    )

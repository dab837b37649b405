"""Seams as the display of the baseline draws them, with the cameras as they stood then and now.

How far apart two views lie now is uncertain by all that is uncertain about their lenses. How far
they moved since is not: the lenses are the same in both checks, so most of that cancels.
"""

from __future__ import annotations

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera
from vision.adjustment.state import UNKNOWNS
from vision.comparison.change import Epoch, Gap, SeamChange
from vision.comparison.search import Found
from vision.inspection.verdict.rule import judge, length_and_sigma, worst_of
from vision.job.job import Job
from vision.units.arrays import Array
from vision.views.ground import ground_map
from vision.views.seams.gaps import gaps_with_slopes
from vision.views.seams.lines import SeamLine, seam_lines


def seam_changes(found: Found, baseline: Epoch, job: Job) -> tuple[SeamChange, ...]:
    """Every seam of `job` whose two cameras were compared and had a plan fit at the baseline."""
    names = found.pair.both
    return tuple(
        _change(found, baseline, job, line)
        for line in seam_lines(job)
        if all(name in names and name in baseline.displays for name in line.between)
    )


def _change(found: Found, baseline: Epoch, job: Job, line: SeamLine) -> SeamChange:
    points, covariance = line.points_m(), found.solution.covariance.kept
    displays = [ground_map(*baseline.displays[name]) for name in line.between]
    maps = (displays[0], displays[1])
    gaps, rows = [], []
    for views in (found.pair.before, found.pair.after):
        first, second = (_as_adjusted(found, name, views[name]) for name in line.between)
        gap, slope = gaps_with_slopes(points, job.vehicle, (first, second), maps)
        touched = np.concatenate([found.pair.network.touched[views[n]] for n in line.between])
        by_all = np.zeros((*gap.shape, len(covariance)))
        by_all[..., touched] = slope
        gaps.append(gap)
        rows.append(by_all)
    limit = job.tolerances.seam_gap_m
    return SeamChange(
        between=line.between,
        before=_worst(gaps[0], rows[0], covariance, limit),
        after=_worst(gaps[1], rows[1], covariance, limit),
        moved=_worst(gaps[1] - gaps[0], rows[1] - rows[0], covariance, limit),
    )


def _worst(vectors: Array, rows: Array, covariance: Array, limit_m: float) -> Gap:
    """Longest of vectors (n, 2) with its sigma, and the word for all."""
    known = np.flatnonzero(np.isfinite(vectors).all(axis=1))
    if not len(known):
        return Gap(length_m=float("nan"), sigma_m=float("nan"), verdict="not-judged")
    spreads = rows[known] @ covariance @ rows[known].transpose(0, 2, 1)
    figures = [length_and_sigma(v, c) for v, c in zip(vectors[known], spreads, strict=True)]
    word = worst_of([judge(length, sigma, limit_m) for length, sigma in figures])
    # A stretch that one view does not cover has no gap to judge.
    if word == "within" and len(known) < len(vectors):
        word = "not-judged"
    length, sigma = max(figures)
    return Gap(length_m=length, sigma_m=sigma, verdict=word)


def _as_adjusted(found: Found, name: str, view: int) -> AdjustedCamera:
    """A camera as it stood at one check, its covariance being carried apart."""
    state, view_of = found.solution.state, found.pair.network.views[view]
    return AdjustedCamera(
        name=name,
        pose=state.pose(view_of.pose),
        lens=view_of.like.with_vector(state.lens[view_of.lens]),
        covariance=np.zeros((UNKNOWNS, UNKNOWNS)),
        used=np.zeros(0, dtype=bool),
        residual_px=np.zeros((0, 2)),
    )

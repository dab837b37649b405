"""What one more mark, strip or raised mark would bring: candidates, each predicted in full."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

import numpy as np

from vision.job.job import Job, Strip
from vision.job.layout import planned_layout
from vision.planning.plan import Advice, Prediction
from vision.planning.prediction import predict
from vision.planning.raised import raised_mark
from vision.units.arrays import Array
from vision.units.length_words import LengthWords
from vision.views.seams.lines import seam_lines, side_of

Kind = Literal["mark", "strip", "raised mark"]
Candidate = tuple[Kind, str, Job]

OUTER_M = 1.5
"""How much farther from the body one more strip is tried."""
MOST_POINTS = 400
"""Of a layout: with more, one more would bring little, and trying would take minutes."""
RAISED_OUT_M = 1.6


def best_additions(prediction: Prediction) -> tuple[Advice, ...]:
    """The best mark, strip and raised mark to add, the most useful first.

    Best is the smallest worst ratio, then the smallest sum of squares of all of them. An addition
    that makes a problem (its stand hides what counted, no camera sees it) is no candidate, and
    neither is one that eases nothing.
    """
    if not prediction.limits or len(planned_layout(prediction.job).points) > MOST_POINTS:
        return ()
    best: dict[Kind, tuple[tuple[float, float], str, Prediction]] = {}
    for kind, text, job in _candidates(prediction.job):
        tried = predict(job, prediction.light, prediction.size_px)
        if len(tried.problems) > len(prediction.problems):
            continue
        score = (round(tried.worst, 6), tried.total - _added(prediction, tried))
        if score[0] < prediction.worst * (1 - 1e-3) and (kind not in best or score < best[kind][0]):
            best[kind] = (score, text, tried)
    ranked = sorted(best.items(), key=lambda item: item[1][0])
    return tuple(_advice(prediction, kind, text, tried) for kind, (_, text, tried) in ranked)


def _added(before: Prediction, after: Prediction) -> float:
    """What limits that were not there before add to the sum of squares."""
    names = {limit.what for limit in before.limits}
    return sum(limit.ratio**2 for limit in after.limits if limit.what not in names)


def _advice(before: Prediction, kind: Kind, text: str, tried: Prediction) -> Advice:
    limit = before.limits[0]
    after = next(each.sigma for each in tried.limits if each.what == limit.what)
    return Advice(
        kind=kind,
        text=text,
        limit=limit,
        after=after,
        worst_before=before.worst,
        worst_after=tried.worst,
    )


def _candidates(job: Job) -> Iterator[Candidate]:
    for strip in job.strips:
        for text, longer in _with_one_more(strip, job.lengths.roughly):
            yield "mark", text, _replaced(job, longer)
        outer = _outer(job, strip)
        if outer is not None:
            out = job.lengths.roughly.m(OUTER_M, spec=".1f")
            text = f"a strip like {strip.name}, {out} farther out"
            yield "strip", text, replace(job, strips=(*job.strips, outer))
    for where, spot in _raised_places(job):
        mark = raised_mark(job, _free_name(job, "raised"), float(spot[0]), float(spot[1]))
        place = job.lengths.roughly.several(mark.at_m.tolist(), "m", labels=("x", "y", "z"))
        text = f"a raised mark at {place}, {where}"
        yield "raised mark", text, replace(job, marks=(*job.marks, mark))


def _replaced(job: Job, strip: Strip) -> Job:
    strips = tuple(strip if each.name == strip.name else each for each in job.strips)
    return replace(job, strips=strips)


def _with_one_more(strip: Strip, lengths: LengthWords) -> Iterator[tuple[str, Strip]]:
    """A strip with a mark in its widest gap, and one beyond either end."""
    gaps = np.diff(strip.at_m)
    widest, usual = int(np.argmax(gaps)), float(np.median(gaps))
    middle = strip.at_m[widest] + gaps[widest] / 2
    at = np.insert(strip.at_m, widest + 1, middle)
    text = f"a mark on {strip.name} {lengths.m(float(middle))} from its first"
    yield text, replace(strip, at_m=at)
    step = usual * strip.along
    before = np.concatenate([[0.0], strip.at_m + usual])
    text = f"a mark on {strip.name} {lengths.m(usual)}"
    yield f"{text} before its first", replace(strip, from_m=strip.from_m - step, at_m=before)
    after = np.append(strip.at_m, strip.at_m[-1] + usual)
    yield f"{text} beyond its last", replace(strip, to_m=strip.to_m + step, at_m=after)


def _outer(job: Job, strip: Strip) -> Strip | None:
    """The strip once more, farther from the body; None for one that has no out and in."""
    square = np.array([-strip.along[1], strip.along[0]])
    offset = float(square @ strip.from_m)
    if abs(offset) < OUTER_M / 2:
        return None
    step = OUTER_M * np.sign(offset) * square
    name = _free_name(job, f"{strip.name}_outer")
    return replace(strip, name=name, from_m=strip.from_m + step, to_m=strip.to_m + step)


def _raised_places(job: Job) -> Iterator[tuple[str, Array]]:
    """Out from each camera and along each seam, (2,); clear of the body."""
    half = np.array([job.vehicle.length_m, job.vehicle.width_m]) / 2
    outward = np.array([(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)])
    for camera in job.cameras:
        out = outward[side_of(camera)]
        base = np.where(out != 0, out * half, camera.position_m[:2])
        yield f"before camera {camera.name}", base + RAISED_OUT_M * out
    for line in seam_lines(job):
        where = f"on the seam {line.between[0]} - {line.between[1]}"
        yield where, (line.start_m + line.end_m) / 2


def _free_name(job: Job, name: str) -> str:
    taken = {*(mark.name for mark in job.marks), *(strip.name for strip in job.strips)}
    number = 1
    found = name
    while found in taken:
        number += 1
        found = f"{name}_{number}"
    return found

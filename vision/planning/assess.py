"""A layout assessed: what it would reach, what would better it, and the best aim of each camera.

Nothing here looks at a picture. A layout's views, centre sigmas and the joint adjustment's
covariance follow from the job alone, with aims, lenses and places as intended; the lens is that of
the checker, so a plan says nothing about lenses that differ from what is stated by more than that.
Every addition and every aim is predicted in full.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import chain, count

import numpy as np

from vision.camera.geometry import Aim
from vision.camera.lens_prior import USUAL_SIZE_PX, lens_prior
from vision.camera.stated_lens import StatedLens
from vision.job.job import Bracket, Camera, Job, Strip
from vision.job.layout import planned_layout
from vision.job.settings import SETTINGS as JOB
from vision.planning.assessment import (
    AdditionKind,
    Advice,
    AimChoice,
    Assessment,
    Given,
    Hope,
    PlannedView,
    Prediction,
    TriedAim,
)
from vision.planning.prediction import predict
from vision.planning.settings import SETTINGS
from vision.planning.sizes import raised_mark
from vision.units.arrays import Array
from vision.units.progress import Progress, silent
from vision.units.reason import Reason
from vision.views.seams.lines import on_side, outward, seam_lines, side_of

Candidate = tuple[AdditionKind, Reason, Job]
WORTH_TRYING = 1e-3
"""Share by which the worst must get better: less is rounding."""


def assess(prediction: Prediction, progress: Progress = silent) -> Assessment:
    """A prediction with the best additions, and the best aim of each camera that can be turned."""
    return Assessment(
        prediction=prediction,
        hopes=hopes(prediction),
        advice=best_additions(prediction, progress),
        aims=aim_choices(prediction, progress),
    )


# ---------------------------------------------------------------------- what a plan cannot count on


def hopes(prediction: Prediction) -> tuple[Hope, ...]:
    """What is decided where smaller marks are found, lenses are fitted, or at last both.

    Each that betters the worst; both together only where neither decides alone.
    """
    if prediction.word != "cannot-decide" or not prediction.limits:
        return ()
    job = prediction.job
    found: list[Hope] = []
    with_lenses = replace(job, lenses=tuple(map(_fitted, job.lenses)))
    ways: tuple[tuple[tuple[Given, ...], Job, float], ...] = (
        (("small-marks-found",), job, SETTINGS.seen_px),
        (("lenses-fitted",), with_lenses, JOB.least_size_px),
        (("lenses-fitted", "small-marks-found"), with_lenses, SETTINGS.seen_px),
    )
    for given, known, least_px in ways:
        if any(hope.verdict == "decides" for hope in found) and len(given) > 1:
            break
        tried = predict(known, prediction.light, prediction.size_px, least_px=least_px)
        if tried.worst < prediction.worst * (1 - WORTH_TRYING):
            found.append(_hope(given, tried))
    return tuple(found)


def _hope(given: tuple[Given, ...], tried: Prediction) -> Hope:
    least = JOB.least_size_px
    extents = [(each, each.extent_px or 0.0) for each in tried.views if each.status == "seen"]
    small = [(view, extent) for view, extent in extents if extent < least]
    return Hope(
        given=given,
        small=tuple(view for view, _ in small),
        larger=least / min(extent for _, extent in small) if small else None,
        verdict=tried.word,
        worst=tried.worst,
        problems=tried.problems,
    )


def _fitted(lens: StatedLens) -> StatedLens:
    """The lens as a board would give it, where it is only stated."""
    if lens.fitted is not None:
        return lens
    return replace(lens, fitted=lens_prior(lens, *USUAL_SIZE_PX).guess)


# --------------------------------------------------------------------------------------- additions


def best_additions(prediction: Prediction, progress: Progress = silent) -> tuple[Advice, ...]:
    """The best mark, strip and raised mark to add, the most useful first.

    Best is the smallest worst ratio, then the smallest sum of squares of all of them. An addition
    that makes a problem (its stand hides what counted, no camera sees it) is no candidate, and
    neither is one that eases nothing.
    """
    points = planned_layout(prediction.job).points
    if not prediction.limits or len(points) > SETTINGS.most_points:
        return ()
    best: dict[AdditionKind, tuple[tuple[float, float], Reason, Prediction]] = {}
    every = list(_candidates(prediction.job))
    for number, (kind, addition, job) in enumerate(every, start=1):
        progress(f"trying what to add: {number} of {len(every)}")
        tried = predict(job, prediction.light, prediction.size_px)
        if len(tried.problems) > len(prediction.problems):
            continue
        score = (round(tried.worst, 6), round(tried.total - _added(prediction, tried), 6))
        better = kind not in best or score < best[kind][0]
        if score[0] < prediction.worst * (1 - WORTH_TRYING) and better:
            best[kind] = (score, addition, tried)
    ranked = sorted(best.items(), key=lambda item: item[1][0])
    return tuple(_advice(prediction, kind, what, tried) for kind, (_, what, tried) in ranked)


def _added(before: Prediction, after: Prediction) -> float:
    """What limits that were not there before add to the sum of squares."""
    known = {limit.of for limit in before.limits}
    return sum(limit.ratio**2 for limit in after.limits if limit.of not in known)


def _advice(before: Prediction, kind: AdditionKind, addition: Reason, tried: Prediction) -> Advice:
    limit = before.limits[0]
    return Advice(
        kind=kind,
        addition=addition,
        limit=limit,
        after=next(each.sigma for each in tried.limits if each.of == limit.of),
        worst_before=before.worst,
        worst_after=tried.worst,
    )


def _candidates(job: Job) -> Iterator[Candidate]:
    for strip in job.strips:
        for addition, longer in _with_one_more(strip):
            strips = tuple(longer if each.name == strip.name else each for each in job.strips)
            yield "mark", addition, replace(job, strips=strips)
        outer = _outer(job, strip)
        if outer is not None:
            addition = Reason("strip-beside", strip=strip.name, out_m=SETTINGS.outer_m)
            yield "strip", addition, replace(job, strips=(*job.strips, outer))
    for code, where, spot in _raised_places(job):
        mark = raised_mark(job, _free_name(job, "raised"), float(spot[0]), float(spot[1]))
        addition = Reason(code, at_m=tuple(mark.at_m.tolist()), where=where)
        yield "raised mark", addition, replace(job, marks=(*job.marks, mark))


def _with_one_more(strip: Strip) -> Iterator[tuple[Reason, Strip]]:
    """A strip with a mark in its widest gap, and one beyond either end."""
    gaps = np.diff(strip.at_m)
    widest, usual = int(np.argmax(gaps)), float(np.median(gaps))
    middle = float(strip.at_m[widest] + gaps[widest] / 2)
    at = np.insert(strip.at_m, widest + 1, middle)
    yield Reason("mark-between", strip=strip.name, at_m=middle), replace(strip, at_m=at)
    step = usual * strip.along
    before = np.concatenate([[0.0], strip.at_m + usual])
    longer = replace(strip, from_m=strip.from_m - step, at_m=before)
    yield Reason("mark-before", strip=strip.name, step_m=usual), longer
    after = np.append(strip.at_m, strip.at_m[-1] + usual)
    longer = replace(strip, to_m=strip.to_m + step, at_m=after)
    yield Reason("mark-beyond", strip=strip.name, step_m=usual), longer


def _outer(job: Job, strip: Strip) -> Strip | None:
    """The strip once more, farther from the body; None for one that has no out and in."""
    square = np.array([-strip.along[1], strip.along[0]])
    offset = float(square @ strip.from_m)
    if abs(offset) < SETTINGS.outer_m / 2:
        return None
    step = SETTINGS.outer_m * np.sign(offset) * square
    name = _free_name(job, f"{strip.name}_outer")
    return replace(strip, name=name, from_m=strip.from_m + step, to_m=strip.to_m + step)


def _raised_places(job: Job) -> Iterator[tuple[str, str | tuple[str, str], Array]]:
    """Out from each camera and along each seam, (2,), clear of the body; with code and where."""
    for camera in job.cameras:
        side = side_of(camera)
        base = on_side(job.vehicle, side, camera.position_m[:2])
        yield "raised-before", camera.name, base + SETTINGS.raised_out_m * outward(side)
    for line in seam_lines(job):
        yield "raised-on-seam", line.between, (line.start_m + line.end_m) / 2


def _free_name(job: Job, name: str) -> str:
    taken = {*(mark.name for mark in job.marks), *(strip.name for strip in job.strips)}
    numbered = (f"{name}_{number}" for number in count(2))
    return next(each for each in chain([name], numbered) if each not in taken)


# -------------------------------------------------------------------------------------------- aims


def aim_choices(prediction: Prediction, progress: Progress = silent) -> tuple[AimChoice, ...]:
    """The best aim of each camera whose bracket lets it be turned, beside 45 degrees.

    Best is the aim with the fewest problems of this camera (ground near the body, overlap, seams
    covered, verdicts decided), then with the smallest worst ratio of two sigma to tolerance among
    its own angles and its seams. The other cameras stay as intended.
    """
    return tuple(
        _choice(prediction, camera, camera.bracket, progress)
        for camera in prediction.job.cameras
        if camera.bracket is not None
    )


def _choice(
    prediction: Prediction, camera: Camera, bracket: Bracket, progress: Progress
) -> AimChoice:
    known: dict[str, tuple[PlannedView, ...]] = {}
    for view in prediction.views:
        if view.camera != camera.name:
            known[view.camera] = (*known.get(view.camera, ()), view)

    aims = list(_aims(camera, bracket))

    def tried(aim: Aim, number: int = len(aims)) -> TriedAim:
        progress(f"trying aims of the {camera.name} camera: {number} of {len(aims)}")
        turned = replace(camera, aim=aim)
        cameras = tuple(turned if c.name == camera.name else c for c in prediction.job.cameras)
        job = replace(prediction.job, cameras=cameras)
        found = predict(job, prediction.light, prediction.size_px, known=known)
        return _tried(found, camera.name, aim)

    intended = _tried(prediction, camera.name, camera.aim)
    # The intended aim comes first, so that it stays where another is no better.
    every = [intended, *(tried(aim, number) for number, aim in enumerate(aims, start=1))]
    free = {"pan": bracket.pan_rad, "tilt": bracket.tilt_rad}
    return AimChoice(
        camera=camera.name,
        adjustable=tuple(name for name, limits in free.items() if limits is not None),
        best=min(every, key=lambda one: (len(one.problems), round(one.worst, 3))),
        intended=intended,
        at_45=tried(replace(camera.aim, tilt_rad=SETTINGS.usual_tilt_rad)),
    )


def _aims(camera: Camera, bracket: Bracket) -> Iterator[Aim]:
    pans = _steps(bracket.pan_rad, camera.aim.pan_rad, 2 * SETTINGS.aim_step_rad)
    for tilt in _steps(bracket.tilt_rad, camera.aim.tilt_rad, SETTINGS.aim_step_rad):
        for pan in pans:
            yield Aim(pan_rad=float(pan), tilt_rad=float(tilt), roll_rad=camera.aim.roll_rad)


def _steps(limits: tuple[float, float] | None, intended: float, step: float) -> Array:
    """Angles from the lower limit to the upper, both included; the intended where it is fixed."""
    if limits is None:
        return np.array([intended])
    count = max(int(np.ceil((limits[1] - limits[0]) / step - 1e-9)), 1)
    return np.linspace(limits[0], limits[1], count + 1)


def _tried(prediction: Prediction, camera: str, aim: Aim) -> TriedAim:
    limits = [limit for limit in prediction.limits if camera in limit.cameras]
    lost = camera not in {each.name for each in prediction.cameras}
    limit = limits[0] if limits and not lost else None
    return TriedAim(
        pan_rad=aim.pan_rad,
        tilt_rad=aim.tilt_rad,
        worst=float("inf") if limit is None else limit.ratio,
        limit=limit,
        problems=tuple(each.reason for each in prediction.problems if camera in each.cameras),
    )

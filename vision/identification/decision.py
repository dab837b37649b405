"""Which mark is it? From candidates to identified, measured marks of one camera.

The strips repeat, so a pose shifted by one mark explains many candidates almost as well. Several
poses are therefore carried to the end: each is refined, every mark that the body does not hide is
looked for by its drawing, and the poses are compared by evidence found minus evidence missing. Too
close is 'not judged'.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.camera.lens_prior import LensPrior
from vision.camera.solver import NoFit
from vision.identification.identified import Identified, NotIdentified, Sighting, Status
from vision.identification.measuring import Looked, measured_marks
from vision.identification.poses import (
    LEAST_MARKS,
    CarriedPose,
    Task,
    carried_poses,
    expected_weight,
)
from vision.identification.reasons import BEHIND_BODY, BURNT_LEVEL, DARK_LEVEL, Evidence
from vision.job.body import body_hides
from vision.job.job import Camera, Job
from vision.job.layout import Layout, points_of
from vision.job.pattern import drawable
from vision.marks.candidates import picture_noise, softened, unveiled
from vision.units.reason import Reason

HALF_SEEN_MARGIN_M = 0.35
"""A mark hidden only by the outer this much of the body's box may well be seen: bodies are rounded
and mountings some centimetres off. It is looked for, and not missed."""
RIVAL_SHARE = 0.7
"""A second pose with more than this share of the best one's evidence, and of the marks it sees,
makes it 'not judged'."""
LEAST_SHARE = 0.5
"""Evidence over what a picture with every mark in it would give, below which nothing is named. On
practice pictures it is 0.8 and more; another camera's picture of the same lot gives up to 0.45."""
SURE_SHARE, LEAST_CONFIRMED, MOST_MISFIT = 0.7, 0.72, 0.5
"""Below this share of evidence, a pose is named only where this share of the marks due was measured
and the plan fit's chi-square per mark is no more than this. In poor light right poses gave 0.76 and
more, and up to 0.25; poses with one end of a strip a mark off up to 0.70, or 0.53 and more."""
FARTHEST_PLACE_M = 0.35
"""A pose this far from the stated mounting, thrice what a mounting may be wrong, is another's."""
FARTHEST_AIM_RAD = float(np.radians(24.0))
"""Likewise for any angle of the intended aim, which may be 15 degrees wrong."""
FLAT_SPREAD = 3.0
"""Standard deviation of grey, in levels, below which a picture is one even level."""
MOST_BURNT = 0.25
"""Share of a picture that may be burnt out without a word: practice pictures have under 1 %."""


def identify(
    job: Job, layout: Layout, camera: Camera, prior: LensPrior, grey: np.ndarray
) -> Identified | NotIdentified:
    """Find, identify and measure the marks of one picture (height, width), turned back, grey.

    Nothing is assumed but the job: aim within 15 degrees each way, mounting within 10 cm.
    """
    drawn = [mark for mark in layout.marks if drawable(mark.shape)]
    centres = np.array([mark.centre_m for mark in drawn]).reshape(-1, 3)
    hidden = body_hides(job.vehicle, camera.position_m, centres, margin_m=HALF_SEEN_MARGIN_M)
    clear = ~body_hides(job.vehicle, camera.position_m, centres)
    marks = tuple(mark for mark, hides in zip(drawn, hidden, strict=True) if not hides)
    useless = _useless(grey)
    if useless is not None:
        return NotIdentified(camera=camera.name, reason=useless)
    if len(marks) < LEAST_MARKS:
        return NotIdentified(
            camera=camera.name,
            reason=Reason("too-few-marks", marks=len(marks), needed=LEAST_MARKS),
        )
    noise = picture_noise(grey)
    task = Task(
        job=job,
        grey=grey,
        camera=camera,
        prior=prior,
        marks=marks,
        clear=clear[~hidden],
        size=(grey.shape[1], grey.shape[0]),
        noise=noise,
        looked_at=grey,
        soft=softened(grey, noise),
    )
    outcome = _with_and_without_veil(task, layout)
    burnt = float(np.mean(grey > BURNT_LEVEL))
    if isinstance(outcome, NotIdentified) and burnt > MOST_BURNT:
        reason = Reason(outcome.code, **outcome.reason.arguments, burnt_share=burnt)
        return replace(outcome, reason=reason)
    return outcome


def _with_and_without_veil(task: Task, layout: Layout) -> Identified | NotIdentified:
    """What is found in the picture as it is, else without the light that lies over all of it."""
    outcome = _decided(task, layout, carried_poses(task))
    without = unveiled(task.grey)
    if isinstance(outcome, Identified) or without is None:
        return outcome
    task = replace(task, looked_at=without, soft=softened(without, task.noise))
    again = _decided(task, layout, carried_poses(task))
    return again if isinstance(again, Identified) else outcome


def _useless(grey: np.ndarray) -> Reason | None:
    """Why a picture holds nothing at all, or None."""
    # Every third row and column: hundreds of thousands of places do.
    some = grey[::3, ::3]
    bright, spread = float(np.percentile(some, 99)), float(np.std(some))
    if bright < DARK_LEVEL:
        return Reason("dark", level=bright)
    if spread < FLAT_SPREAD:
        return Reason("blank")
    return None


def _decided(task: Task, layout: Layout, poses: list[CarriedPose]) -> Identified | NotIdentified:
    """The best pose measured to the end, or why there is none."""

    def no(code: str, **arguments: object) -> NotIdentified:
        return NotIdentified(camera=task.camera.name, reason=Reason(code, **arguments))

    if not poses:
        return no("no-marks")
    best = poses[0]
    if best.seen < LEAST_MARKS or best.evidence < LEAST_SHARE * best.expected:
        return no("no-marks", places=best.seen)
    # A rival sees about as many marks, however small: near ones alone may fit one strip further on.
    rivals = [pose.evidence for pose in poses[1:] if pose.seen > RIVAL_SHARE * best.seen]
    rival = max(rivals, default=0.0)
    if rival > RIVAL_SHARE * best.evidence:
        return no("ambiguous")
    place_m = float(np.linalg.norm(best.pose.camera_in_ground_m - task.camera.position_m))
    turn_rad = float(np.abs(best.pose.aim.minus(task.camera.aim)).max())
    if place_m > FARTHEST_PLACE_M or turn_rad > FARTHEST_AIM_RAD:
        return no("implausible", place_m=place_m, turn_rad=turn_rad)
    return _measured(task, layout, best, rival)


def _measured(
    task: Task, layout: Layout, best: CarriedPose, rival: float
) -> Identified | NotIdentified:
    """Measure every mark of the chosen pose and say what became of each."""
    looked = measured_marks(task, best)
    if isinstance(looked, NoFit):
        reason = Reason("too-few-marks", why=looked.reason)
        return NotIdentified(camera=task.camera.name, reason=reason)
    if best.evidence < SURE_SHARE * best.expected and not _holds_together(task, looked):
        return NotIdentified(camera=task.camera.name, reason=Reason("no-marks", apart=True))
    sightings = _sightings(task, layout, looked)
    good = [looked.results[point_id] for point_id in looked.fit.points.ids]
    return Identified(
        camera=task.camera.name,
        fit=looked.fit,
        prior=task.prior,
        sightings=sightings,
        blur_px=float(np.median([result.blur_px for result in good if result is not None])),
        expected=sum(s.status in {"used", "rejected", "not-found"} for s in sightings),
        evidence=best.evidence,
        rival=rival,
        share=best.evidence / max(best.expected, 1e-9),
    )


def _holds_together(task: Task, looked: Looked) -> bool:
    """Whether most of what is due was measured, and fits the plan as well as the plan is laid.

    A pose that is right at one end of a strip and one mark off at its other does neither.
    """
    fit = looked.fit
    used = {point_id for point_id, flag in zip(fit.points.ids, fit.used, strict=True) if flag}
    weight = expected_weight(task, fit.pose, fit.lens)
    share = [np.mean([point.id in used for point in points_of(mark)]) for mark in task.marks]
    confirmed = float(weight @ np.array(share)) / max(float(weight.sum()), 1e-9)
    return confirmed >= LEAST_CONFIRMED and fit.chi2 <= MOST_MISFIT * len(used)


def _sightings(task: Task, layout: Layout, looked: Looked) -> tuple[Sighting, ...]:
    """What became of every point of the layout, in order."""
    fit = looked.fit
    looked_for = {point.id for mark in task.marks for point in points_of(mark)}
    used = dict(zip(fit.points.ids, fit.used, strict=True))
    evidence = Evidence(task, layout, fit)
    sightings = []
    for point in layout.points:
        status: Status
        why: Reason | None
        if not drawable(point.shape):
            # A carton's corner is looked for in colour, once all cameras are known.
            status, why = "not-found", Reason("not-looked-for")
        elif point.id not in looked_for:
            status, why = "hidden", BEHIND_BODY
        elif point.id in used:
            status = "used" if used[point.id] else "rejected"
            why = None if used[point.id] else Reason("misfit")
        elif refusal := looked.refused.get(point.id):
            status, why = evidence.refused(point, refusal)
        else:
            status, why = evidence.missing(point)
        sightings.append(
            Sighting(
                id=point.id,
                status=status,
                measured=None if status == "hidden" else looked.results.get(point.id),
                reason=why,
            )
        )
    return tuple(sightings)

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
from vision.identification.inputs import IdentificationInput, prepared
from vision.identification.measuring import MeasuredMarks, measured_marks
from vision.identification.poses import CarriedPose, carried_poses, expected_weight
from vision.identification.reasons import BEHIND_BODY, Evidence
from vision.identification.settings import SETTINGS
from vision.job.job import Camera, Job
from vision.job.layout import Layout, points_of
from vision.units.reason import Reason


def identify(
    job: Job, layout: Layout, camera: Camera, prior: LensPrior, grey: np.ndarray
) -> Identified | NotIdentified:
    """Find, identify and measure the marks of one picture (height, width), turned back, grey.

    Nothing is assumed but the job: aim within 15 degrees each way, mounting within 10 cm.
    """
    given = prepared(job, layout, camera, prior, grey)
    if isinstance(given, Reason):
        return NotIdentified(camera=camera.name, reason=given)
    outcome = _with_and_without_veil(given)
    if isinstance(outcome, Identified):
        return outcome
    burnt = given.picture.burnt_share
    if burnt > SETTINGS.most_burnt:
        reason = Reason(outcome.code, **outcome.reason.arguments, burnt_share=burnt)
        return replace(outcome, reason=reason)
    return outcome


def _with_and_without_veil(given: IdentificationInput) -> Identified | NotIdentified:
    """What is found in the picture as it is, else without the light that lies over all of it."""
    outcome = _decided(given)
    if isinstance(outcome, Identified):
        return outcome
    without = given.picture.without_veil()
    if without is None:
        return outcome
    again = _decided(replace(given, picture=without))
    return again if isinstance(again, Identified) else outcome


def _decided(given: IdentificationInput) -> Identified | NotIdentified:
    """The best pose measured to the end, or why there is none."""
    poses = carried_poses(given)

    def no(code: str, **arguments: object) -> NotIdentified:
        return NotIdentified(camera=given.camera.name, reason=Reason(code, **arguments))

    if not poses:
        return no("no-marks")
    best = poses[0]
    if best.seen < SETTINGS.least_marks or best.evidence < SETTINGS.least_share * best.expected:
        return no("no-marks", places=best.seen)
    # A rival sees about as many marks, however small: near ones alone may fit one strip further on.
    rivals = [pose.evidence for pose in poses[1:] if pose.seen > SETTINGS.rival_share * best.seen]
    rival = max(rivals, default=0.0)
    if rival > SETTINGS.rival_share * best.evidence:
        return no("ambiguous")
    place_m = float(np.linalg.norm(best.pose.camera_in_ground_m - given.camera.position_m))
    turn_rad = float(np.abs(best.pose.aim.minus(given.camera.aim)).max())
    if place_m > SETTINGS.farthest_place_m or turn_rad > SETTINGS.farthest_aim_rad:
        return no("implausible", place_m=place_m, turn_rad=turn_rad)
    return _measured(given, best, rival)


def _measured(
    given: IdentificationInput, best: CarriedPose, rival: float
) -> Identified | NotIdentified:
    """Measure every mark of the chosen pose and say what became of each."""
    measured = measured_marks(given, best)
    if isinstance(measured, NoFit):
        reason = Reason("too-few-marks", why=measured.reason)
        return NotIdentified(camera=given.camera.name, reason=reason)
    if best.evidence < SETTINGS.sure_share * best.expected and not _holds_together(given, measured):
        return NotIdentified(camera=given.camera.name, reason=Reason("no-marks", apart=True))
    sightings = _sightings(given, measured)
    good = [measured.results[point_id] for point_id in measured.fit.points.ids]
    return Identified(
        camera=given.camera.name,
        fit=measured.fit,
        prior=given.prior,
        sightings=sightings,
        blur_px=float(np.median([result.blur_px for result in good if result is not None])),
        expected=sum(s.status in {"used", "rejected", "not-found"} for s in sightings),
        evidence=best.evidence,
        rival=rival,
        share=best.evidence / max(best.expected, 1e-9),
    )


def _holds_together(given: IdentificationInput, measured: MeasuredMarks) -> bool:
    """Whether most of what is due was measured, and fits the plan as well as the plan is laid.

    A pose that is right at one end of a strip and one mark off at its other does neither.
    """
    fit = measured.fit
    used = {point_id for point_id, flag in zip(fit.points.ids, fit.used, strict=True) if flag}
    weight = expected_weight(given, fit.pose, fit.lens)
    share = [np.mean([point.id in used for point in points_of(mark)]) for mark in given.marks]
    confirmed = float(weight @ np.array(share)) / max(float(weight.sum()), 1e-9)
    return confirmed >= SETTINGS.least_confirmed and fit.chi2 <= SETTINGS.most_misfit * len(used)


def _sightings(given: IdentificationInput, measured: MeasuredMarks) -> tuple[Sighting, ...]:
    """What became of every point of the layout, in order."""
    fit = measured.fit
    looked_for = {point.id for mark in given.marks for point in points_of(mark)}
    used = dict(zip(fit.points.ids, fit.used, strict=True))
    evidence = Evidence(given, fit)
    sightings = []
    for point in given.layout.points:
        status: Status
        why: Reason | None
        if not point.shape.drawn:
            # A carton's corner is looked for in colour, once all cameras are known.
            status, why = "not-found", Reason("not-looked-for")
        elif point.id not in looked_for:
            status, why = "hidden", BEHIND_BODY
        elif point.id in used:
            status = "used" if used[point.id] else "rejected"
            why = None if used[point.id] else Reason("misfit")
        elif refusal := measured.refused.get(point.id):
            status, why = evidence.refused(point, refusal)
        else:
            status, why = evidence.missing(point)
        sightings.append(
            Sighting(
                id=point.id,
                status=status,
                measured=None if status == "hidden" else measured.results.get(point.id),
                reason=why,
            )
        )
    return tuple(sightings)

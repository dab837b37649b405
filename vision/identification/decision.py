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
from vision.identification.odds import log10_odds
from vision.identification.poses import carried_poses
from vision.identification.reasons import BEHIND_BODY, Evidence
from vision.identification.refining import CarriedPose
from vision.identification.settings import SETTINGS
from vision.job.job import Camera, Job
from vision.job.layout import Layout, points_of
from vision.units.reason import Reason

LEAST = SETTINGS.odds.least_log10_odds


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
    if not poses:
        return NotIdentified(camera=given.camera.name, reason=Reason("no-marks"))
    best = poses[0]

    def no(code: str, **arguments: object) -> NotIdentified:
        reason = Reason(code, **arguments)
        return NotIdentified(camera=given.camera.name, reason=reason, nats=best.nats)

    rivals = [pose.nats for pose in poses[1:]]
    odds = log10_odds(best.nats, rivals, best.row_nats)
    in_lot = log10_odds(best.nats, rivals, best.row_nats, lot_known=True)
    # Of a right naming more marks are seen than are plainly not there, whatever covers the rest.
    against = best.contradicted > best.confirmed
    alone = log10_odds(best.nats, [], best.row_nats, lot_known=True)
    if against or best.seen < SETTINGS.least_marks or alone < LEAST:
        return no("no-marks", places=best.seen)
    if in_lot < LEAST:
        return no("ambiguous")
    place_m = float(np.linalg.norm(best.pose.camera_in_ground_m - given.camera.position_m))
    turn_rad = float(np.abs(best.pose.aim.minus(given.camera.aim)).max())
    if place_m > SETTINGS.farthest_place_m or turn_rad > SETTINGS.farthest_aim_rad:
        return no("implausible", place_m=place_m, turn_rad=turn_rad)
    found = _measured(given, best, odds if odds >= LEAST else in_lot)
    if odds >= LEAST or isinstance(found, NotIdentified):
        return found
    return replace(no("no-marks", places=best.seen), held=found)


def _measured(
    given: IdentificationInput, best: CarriedPose, odds: float
) -> Identified | NotIdentified:
    """Measure every mark of the chosen pose and say what became of each."""
    measured = measured_marks(given, best)
    if isinstance(measured, NoFit):
        reason = Reason("too-few-marks", why=measured.reason)
        return NotIdentified(camera=given.camera.name, reason=reason, nats=best.nats)
    # Where nearly all that is due was seen no end of it is a mark off, and a strip may lie wrong.
    if not best.tells_enough and not _holds_together(measured):
        reason = Reason("no-marks", apart=True)
        return NotIdentified(camera=given.camera.name, reason=reason, nats=best.nats)
    sightings = _sightings(given, measured)
    good = [measured.results[point_id] for point_id in measured.fit.points.ids]
    return Identified(
        camera=given.camera.name,
        fit=measured.fit,
        prior=given.prior,
        sightings=sightings,
        blur_px=float(np.median([result.blur_px for result in good if result is not None])),
        expected=sum(s.status in {"used", "rejected", "not-found"} for s in sightings),
        nats=best.nats,
        log10_odds=odds,
        contradicted=best.contradicted / max(best.confirmed + best.contradicted, 1e-9),
    )


def _holds_together(measured: MeasuredMarks) -> bool:
    """Whether what was measured fits the plan as well as the plan is laid.

    A pose that is right at one end of a strip and one mark off at its other does not.
    """
    used = int(measured.fit.used.sum())
    return measured.fit.chi2 <= SETTINGS.most_misfit * used


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

"""What an inspection says: verdicts on all that was measured, marks as delivered, warnings."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields, replace
from typing import Any, TypeVar

from vision.adjustment.adjusted import AdjustedCamera, Adjustment
from vision.adjustment.groups import Group
from vision.camera.solver import NoFit
from vision.identification.identified import Identified, NotIdentified, Sighting
from vision.inspection.finding import Findings
from vision.inspection.inspected import (
    InspectedCamera,
    InspectedMark,
    InspectedRaisedMark,
    InspectedSeam,
    InspectedStrip,
    Inspection,
    Naming,
)
from vision.inspection.verdict.cameras import (
    AIM_MAY_EXPLAIN,
    UNEXPLAINED,
    CameraVerdict,
    Marks,
    camera_verdict,
    overlaps_of,
    unidentified_camera,
    without_identity,
)
from vision.inspection.verdict.causes import causes, unobserved
from vision.inspection.verdict.common_turn import CommonTurn, common_turn, standing
from vision.inspection.verdict.displaced_marks import (
    DisplacedMark,
    displaced_marks,
    with_displaced_marks,
)
from vision.inspection.verdict.display_age import display_age
from vision.inspection.verdict.jobs import job_verdict
from vision.inspection.verdict.layings import LayingVerdict, Looks, mark_verdict, strip_verdict
from vision.inspection.verdict.movement import movements
from vision.inspection.verdict.pictures import PictureVerdict, judge_picture
from vision.inspection.verdict.reliability import Reliability, doubts, reliabilities
from vision.inspection.verdict.seams import SeamVerdict, seam_verdict
from vision.inspection.verdict.sources import source_notes
from vision.job.job import Camera, SingleMark, Strip
from vision.job.plausible import unusual
from vision.marks.picture import Picture
from vision.units.reason import Reason
from vision.views.ground import ground_map
from vision.views.seams.coverage import nearest_ground
from vision.views.seams.lines import seam_lines
from vision.views.sharpness.blur_map import BLUR_WIDTH_PX

InspectedT = TypeVar("InspectedT", InspectedStrip, InspectedRaisedMark, InspectedSeam)


def judged(found: Findings) -> Inspection:
    """Judge everything that was measured."""
    job, joint = found.job, found.joint
    pictures = {
        name: judge_picture(
            name, sharp, job.tolerances, identified=isinstance(found.outcomes[name], Identified)
        )
        for name, sharp in found.sharpness.items()
    }
    common = None if joint is None else common_turn(job, joint)
    cameras = tuple(_camera_verdict(found, c, pictures[c.name], common) for c in job.cameras)
    nothing_named = _nothing_is_named(found, pictures)
    if nothing_named:
        cameras = tuple(without_identity(each) for each in cameras)
    left_out = _displaced_marks(found)
    strips = tuple(_strip_verdict(found, strip, left_out) for strip in job.strips)
    marks = tuple(_mark_verdict(found, mark) for mark in job.marks)
    seams = tuple(_seam_verdict(found, line.between) for line in seam_lines(job))
    entries = tuple(Reason("correct-entry", entries=each.entries) for each in found.suspicions)
    if nothing_named and not entries:
        entries = (Reason("check-job", cameras=len(cameras)),)
    whole = job_verdict(cameras, strips, marks, seams, entries)
    stated = () if joint is None else reliabilities(job, joint)
    return Inspection(
        job=job,
        verdict=whole.verdict,
        actions=whole.actions,
        cameras=tuple(
            _inspected(found, camera, verdict, pictures[camera.name])
            for camera, verdict in zip(job.cameras, cameras, strict=True)
        ),
        strips=tuple(
            _with(InspectedStrip, each, adjusted=found.adjusted_strip(each.name)) for each in strips
        ),
        raised_marks=tuple(
            _with(InspectedRaisedMark, each, adjusted=found.adjusted_mark(each.name))
            for each in marks
        ),
        seams=tuple(
            _with(
                InspectedSeam,
                each,
                gap=found.gaps.get(each.between),
                edges=found.edges.get(each.between, ()),
                texture=found.textures.get(each.between),
            )
            for each in seams
        ),
        warnings=_warnings(found, stated, left_out, strips, common),
        stated=stated,
        variance_factor=_variance_factor(joint),
        adjustment=joint,
    )


def _variance_factor(joint: Adjustment | None) -> float | None:
    if joint is None or joint.degrees_of_freedom <= 0:
        return None
    return joint.chi2 / joint.degrees_of_freedom


# --- verdicts ------------------------------------------------------------------------------------


def _camera_verdict(
    found: Findings, camera: Camera, picture: PictureVerdict, common: CommonTurn | None
) -> CameraVerdict:
    outcome, adjusted = found.outcomes[camera.name], found.adjusted_camera(camera.name)
    if isinstance(outcome, NotIdentified):
        return unidentified_camera(camera.name, _unidentified(found, camera, outcome), picture)
    if isinstance(found.adjustment, NoFit):
        return unidentified_camera(camera.name, found.adjustment.reason, picture)
    if adjusted is None:
        return unidentified_camera(camera.name, Reason("no-joint-fit"), picture)
    return camera_verdict(
        camera,
        adjusted,
        found.job.tolerances,
        common=common,
        overlaps=overlaps_of(found.job, camera, found.gaps, found.adjustment, common),
        nearest=nearest_ground(found.job.vehicle, camera, adjusted),
        picture=picture,
        marks=Marks(used=int(adjusted.used.sum()), due=outcome.expected),
    )


def _nothing_is_named(found: Findings, pictures: dict[str, PictureVerdict]) -> bool:
    """Whether no camera is identified though their pictures are usable: the job is to be checked.

    One camera alone says more of its picture than of the job.
    """
    return len(pictures) > 1 and all(
        isinstance(out, NotIdentified)
        and out.code in UNEXPLAINED
        and not pictures[out.camera].faults
        for out in found.outcomes.values()
    )


def _unidentified(found: Findings, camera: Camera, outcome: NotIdentified) -> Reason:
    """Why a camera is not identified, with how to turn it roughly where its aim may be to blame.

    And that its picture stands on its side, if it does.
    """
    more: dict[str, object] = {}
    if outcome.code in AIM_MAY_EXPLAIN:
        more["intended_rad"] = (camera.aim.tilt_rad, camera.aim.roll_rad)
    picture = found.pictures[camera.name]
    if picture.height > picture.width:
        more["upright_px"] = (picture.width, picture.height)
    return Reason(outcome.code, **outcome.reason.arguments, **more)


def _strip_verdict(
    found: Findings, strip: Strip, left_out: tuple[DisplacedMark, ...]
) -> LayingVerdict:
    adjusted = found.adjusted_strip(strip.name)
    suspicion = found.suspicion(strip=strip.name)
    if suspicion is not None:
        return LayingVerdict(name=strip.name, verdict="not-judged", reasons=(suspicion.why,))
    if adjusted is None:
        return _unseen(strip.name)
    tolerances = found.job.tolerances
    verdict = strip_verdict(strip, adjusted, tolerances, looks=_looks(found, strip.name))
    return with_displaced_marks(verdict, left_out, tolerances.strip_m)


def _displaced_marks(found: Findings) -> tuple[DisplacedMark, ...]:
    """Marks of strips that were left out because they lie elsewhere."""
    if found.joint is None:
        return ()
    points = {
        name: each.fit.points
        for name, each in found.outcomes.items()
        if isinstance(each, Identified)
    }
    return displaced_marks(found.job, found.layout, found.joint, points)


def _mark_verdict(found: Findings, mark: SingleMark) -> LayingVerdict:
    adjusted = found.adjusted_mark(mark.name)
    if adjusted is None:
        return _unseen(mark.name)
    return mark_verdict(mark, adjusted, found.job.tolerances, looks=_looks(found, mark.name))


def _looks(found: Findings, name: str) -> Looks:
    """Why each camera that has a strip or single mark in view could not tell it.

    Of several marks what is the matter with most of them.
    """
    looks = []
    for camera, outcome in found.outcomes.items():
        sightings = outcome.sightings if isinstance(outcome, Identified) else ()
        # What a camera used, and all of them together did not.
        reasons = [
            each.reason or Reason("misfit-all")
            for each in sightings
            if each.id.name == name and each.status in ("used", "rejected", "not-found")
        ]
        if reasons:
            commonest, _ = Counter(each.code for each in reasons).most_common(1)[0]
            looks.append((camera, next(each for each in reasons if each.code == commonest)))
    return tuple(looks)


def _unseen(name: str) -> LayingVerdict:
    return LayingVerdict(name=name, verdict="not-judged", reasons=(Reason("not-seen"),))


def _seam_verdict(found: Findings, between: tuple[str, str]) -> SeamVerdict:
    return seam_verdict(
        between,
        found.gaps.get(between),
        found.job.tolerances,
        vehicle=found.job.vehicle,
        missing=tuple(n for n in between if isinstance(found.outcomes[n], NotIdentified)),
    )


# --- what was judged, with its verdict -----------------------------------------------------------


def _inspected(
    found: Findings, camera: Camera, verdict: CameraVerdict, picture_verdict: PictureVerdict
) -> InspectedCamera:
    outcome, picture = found.outcomes[camera.name], found.pictures[camera.name]
    inspected = InspectedCamera(
        camera=camera,
        picture=picture,
        verdict=verdict.verdict,
        reasons=verdict.reasons,
        actions=verdict.actions,
        picture_verdict=picture_verdict,
    )
    if isinstance(outcome, NotIdentified):
        unnamed = Reason("camera-not-identified", why=outcome.reason)
        unseen = tuple(
            InspectedMark(id=mark.id, status="not-found", planned_m=mark.centre_m, reason=unnamed)
            for mark in found.layout.points
        )
        return replace(inspected, marks=unseen)
    adjusted = found.adjusted_camera(camera.name)
    row = {mark_id: index for index, mark_id in enumerate(outcome.fit.points.ids)}
    return replace(
        inspected,
        marks=tuple(
            _inspected_mark(found, picture, outcome, sighting, row.get(sighting.id), adjusted)
            for sighting in outcome.sightings
        ),
        blur_px=outcome.blur_px * BLUR_WIDTH_PX / picture.width,
        naming=Naming(log10_odds=outcome.log10_odds),
        plan_fit=outcome.fit,
        ray_from_ground=ground_map(outcome.fit.pose, outcome.fit.lens).ray_from_ground,
        adjusted=adjusted,
    )


def _inspected_mark(
    found: Findings,
    picture: Picture,
    outcome: Identified,
    sighting: Sighting,
    row: int | None,
    adjusted: AdjustedCamera | None,
) -> InspectedMark:
    """A mark as delivered. Used is what the joint adjustment used: our best knowledge."""
    planned = found.layout.mark(sighting.id).centre_m
    if row is None or sighting.measured is None:
        return InspectedMark(
            id=sighting.id, status=sighting.status, planned_m=planned, reason=sighting.reason
        )
    used = bool(outcome.fit.used[row])
    reason = sighting.reason
    if adjusted is not None:
        used = bool(adjusted.used[row])
        reason = None if used else Reason("misfit-all")
    points = outcome.fit.points
    return InspectedMark(
        id=sighting.id,
        status="used" if used else "rejected",
        planned_m=planned,
        pixel_px=picture.as_delivered(points.pixels_px[row]),
        origin=picture.sources[0] if picture.sources else None,
        covariance_px2=picture.covariance_as_delivered(points.covariance_px2[row]),
        residual_px=picture.vectors_as_delivered(outcome.fit.residual_px[row]),
        residual_m=outcome.fit.residual_m[row],
        reason=reason,
    )


def _with(kind: type[InspectedT], verdict: LayingVerdict | SeamVerdict, **more: Any) -> InspectedT:
    """A verdict with what it was judged on."""
    return kind(**{each.name: getattr(verdict, each.name) for each in fields(verdict)}, **more)


def _of_pictures(found: Findings) -> tuple[Reason, ...]:
    """What was made of pictures whose rows or pixels are not as plain ones' are."""
    combed = [
        Reason("combed", camera=name, apart_px=each.rows_apart_px, rows=each.rows)
        for name, each in found.pictures.items()
        if each.rows != "all"
    ]
    # A shape that stays open is the reason of each camera that it keeps from being judged.
    shapes = [each.reason for each in found.shapes if not each.open]
    taken = found.pictures.values()
    notes = (*source_notes(taken), *movements(found.shots), *display_age(found.job, taken))
    return (*combed, *shapes, *notes)


def _warnings(
    found: Findings,
    stated: tuple[Reliability, ...],
    left_out: tuple[DisplacedMark, ...],
    strips: tuple[LayingVerdict, ...],
    common: CommonTurn | None,
) -> tuple[Reason, ...]:
    """What a person should know beside the verdicts."""
    wrong = tuple(each.warning for each in found.suspicions)
    joint, odd = found.adjustment, (*wrong, *unusual(found.job), *_of_pictures(found))
    if isinstance(joint, NoFit):
        return (*odd, Reason("no-joint-adjustment", why=joint.reason))
    told = {reason for strip in strips for reason in strip.reasons}
    lies = [each.reason for each in left_out if each.reason not in told]
    used = {reading.group for reading in joint.readings}
    groups = [Group.of_reading(number) for number in range(1, len(found.job.readings) + 1)]
    unused = [Reason("reading-not-used", group=group) for group in groups if group not in used]
    open_ = [each for each in (doubts(stated), unobserved(joint)) if each is not None]
    turned = None if common is None else common.reason
    aslope = [each for each in (standing(joint), turned) if each is not None]
    return (*odd, *causes(found.job, joint), *aslope, *lies, *open_, *unused)

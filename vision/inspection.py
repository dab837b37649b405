"""The whole inspection: the rooms in order, from a job and its pictures to verdicts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vision.adjustment import Adjustment, CameraObservations, adjust
from vision.ground import ground_map
from vision.identify import Identified, NotIdentified, Sighting, identify
from vision.inspection_values import (
    InspectedCamera,
    InspectedMark,
    InspectedRaisedMark,
    InspectedSeam,
    InspectedStrip,
    Inspection,
)
from vision.job import Camera, Job
from vision.layout import Layout, planned_layout
from vision.lens_prior import lens_prior
from vision.picture import Picture
from vision.seams import SeamGap, nearest_ground, seam_gaps, seam_lines
from vision.solver import NoFit
from vision.verdict import (
    CameraVerdict,
    LayingVerdict,
    Overlap,
    Reason,
    SeamVerdict,
    camera_verdict,
    job_verdict,
    mark_verdict,
    seam_verdict,
    strip_verdict,
    unidentified_camera,
)
from vision.verdict.cameras import aim_is_beyond

Progress = Callable[[str], None]
Outcome = Identified | NotIdentified


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Findings:
    """What was measured, before anything is judged."""

    job: Job
    layout: Layout
    pictures: dict[str, Picture]
    outcomes: dict[str, Outcome]
    adjustment: Adjustment | NoFit
    gaps: dict[tuple[str, str], SeamGap]


def inspect(
    job: Job, pictures: Sequence[Picture], progress: Progress = lambda step: None
) -> Inspection:
    """Find, fit, adjust and judge. `pictures` come one per camera, in the order of the job.

    `progress` is told what is about to be done, in words for a person.
    """
    layout = planned_layout(job)
    by_name = {c.name: picture for c, picture in zip(job.cameras, pictures, strict=True)}
    outcomes: dict[str, Outcome] = {}
    for camera in job.cameras:
        progress(f"finding the marks of the {camera.name} camera")
        picture = by_name[camera.name]
        prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
        outcomes[camera.name] = identify(job, layout, camera, prior, picture.grey)
    outcomes = _without_repeats(job, by_name, outcomes)
    progress("adjusting cameras and strips together")
    adjustment = _adjusted(job, layout, outcomes)
    progress("measuring the seams")
    gaps: dict[tuple[str, str], SeamGap] = {}
    if not isinstance(adjustment, NoFit):
        fits = {name: out.fit for name, out in outcomes.items() if isinstance(out, Identified)}
        gaps = {gap.between: gap for gap in seam_gaps(job, fits, adjustment)}
    progress("judging")
    return _judged(
        _Findings(
            job=job,
            layout=layout,
            pictures=by_name,
            outcomes=outcomes,
            adjustment=adjustment,
            gaps=gaps,
        )
    )


def _adjusted(job: Job, layout: Layout, outcomes: Mapping[str, Outcome]) -> Adjustment | NoFit:
    observations = tuple(
        CameraObservations(
            name=name,
            prior=outcome.prior,
            points=outcome.fit.points,
            start=(outcome.fit.pose, outcome.fit.lens),
        )
        for name, outcome in outcomes.items()
        if isinstance(outcome, Identified)
    )
    return adjust(job, layout, observations)


def _without_repeats(
    job: Job, pictures: Mapping[str, Picture], outcomes: Mapping[str, Outcome]
) -> dict[str, Outcome]:
    """One picture cannot be two cameras' views: only the camera it fits best keeps it.

    Layouts are near symmetric, so that a picture of the front can pass for one of the rear.
    """
    kept = dict(outcomes)
    for picture in {p.sha256: p for p in pictures.values()}.values():
        names = [c.name for c in job.cameras if pictures[c.name].sha256 == picture.sha256]
        if len(names) < 2:
            continue

        def misfit(name: str) -> float:
            outcome = outcomes[name]
            return outcome.misfit if isinstance(outcome, Identified) else np.inf

        owner = min(names, key=misfit)
        for name in names:
            if name != owner or not np.isfinite(misfit(name)):
                others = " and ".join(other for other in names if other != name)
                kept[name] = NotIdentified(
                    camera=name,
                    code="same-picture",
                    text=f"the {name} camera has the same picture as {others} "
                    f"({pictures[name].file}): give each camera its own",
                )
    return kept


def _judged(found: _Findings) -> Inspection:
    job, adjustment = found.job, found.adjustment
    cameras = {camera.name: _camera_verdict(found, camera) for camera in job.cameras}
    adjusted_strips = (
        {} if isinstance(adjustment, NoFit) else {s.name: s for s in adjustment.strips}
    )
    adjusted_marks = {} if isinstance(adjustment, NoFit) else {m.name: m for m in adjustment.marks}
    strips = {
        strip.name: strip_verdict(strip, adjusted_strips[strip.name], job.tolerances)
        if strip.name in adjusted_strips
        else _unseen(strip.name)
        for strip in job.strips
    }
    marks = {
        mark.name: mark_verdict(mark, adjusted_marks[mark.name], job.tolerances)
        if mark.name in adjusted_marks
        else _unseen(mark.name)
        for mark in job.marks
    }
    seams: dict[tuple[str, str], SeamVerdict] = {}
    for line in seam_lines(job):
        missing = tuple(n for n in line.between if isinstance(found.outcomes[n], NotIdentified))
        seams[line.between] = seam_verdict(
            line.between, found.gaps.get(line.between), job.tolerances, missing=missing
        )
    verdict = job_verdict(
        tuple(cameras.values()),
        tuple(strips.values()),
        tuple(marks.values()),
        tuple(seams.values()),
    )
    return Inspection(
        job=job,
        verdict=verdict.verdict,
        actions=verdict.actions,
        cameras=tuple(_inspected(found, camera, cameras[camera.name]) for camera in job.cameras),
        strips=tuple(
            InspectedStrip(
                name=name,
                verdict=v.verdict,
                reasons=v.reasons,
                actions=v.actions,
                adjusted=adjusted_strips.get(name),
            )
            for name, v in strips.items()
        ),
        raised_marks=tuple(
            InspectedRaisedMark(
                name=name,
                verdict=v.verdict,
                reasons=v.reasons,
                actions=v.actions,
                adjusted=adjusted_marks.get(name),
            )
            for name, v in marks.items()
        ),
        seams=tuple(
            InspectedSeam(
                between=between,
                verdict=v.verdict,
                reasons=v.reasons,
                gap=found.gaps.get(between),
            )
            for between, v in seams.items()
        ),
        warnings=_warnings(found),
        variance_factor=_variance_factor(adjustment),
    )


def _unseen(name: str) -> LayingVerdict:
    reason = Reason(code="not-seen", text="no picture could be used to place it")
    return LayingVerdict(name=name, verdict="not-judged", reasons=(reason,))


def _variance_factor(adjustment: Adjustment | NoFit) -> float | None:
    if isinstance(adjustment, NoFit) or adjustment.degrees_of_freedom <= 0:
        return None
    return adjustment.chi2 / adjustment.degrees_of_freedom


def _camera_verdict(found: _Findings, camera: Camera) -> CameraVerdict:
    outcome, adjustment = found.outcomes[camera.name], found.adjustment
    if isinstance(outcome, NotIdentified):
        return unidentified_camera(camera.name, NoFit(code=outcome.code, text=outcome.text))
    if isinstance(adjustment, NoFit):
        return unidentified_camera(camera.name, adjustment)
    try:
        adjusted = adjustment.camera(camera.name)
    except KeyError:
        text = "too few of its marks fit the other cameras' to place it"
        return unidentified_camera(camera.name, NoFit(code="no-joint-fit", text=text))
    overlaps = []
    for between, gap in found.gaps.items():
        if camera.name not in between or gap.overlap_m is None:
            continue
        neighbour = between[1 - between.index(camera.name)]
        other = next(c for c in found.job.cameras if c.name == neighbour)
        overlaps.append(
            Overlap(
                neighbour=neighbour,
                width_m=gap.overlap_m,
                sigma_m=gap.overlap_sigma_m or 0.0,
                neighbour_is_off=aim_is_beyond(
                    other, adjustment.camera(neighbour), found.job.tolerances
                ),
            )
        )
    return camera_verdict(
        camera,
        adjusted,
        found.job.tolerances,
        overlaps=tuple(overlaps),
        nearest=nearest_ground(found.job.vehicle, camera, adjusted),
        blur_px=outcome.blur_px,
    )


def _inspected(found: _Findings, camera: Camera, verdict: CameraVerdict) -> InspectedCamera:
    outcome, picture = found.outcomes[camera.name], found.pictures[camera.name]
    words = {"verdict": verdict.verdict, "reasons": verdict.reasons, "actions": verdict.actions}
    if isinstance(outcome, NotIdentified):
        unseen = tuple(
            InspectedMark(
                id=mark.id, status="not-found", planned_m=mark.centre_m, reason=outcome.text
            )
            for mark in found.layout.points
        )
        return InspectedCamera(camera=camera, picture=picture, marks=unseen, **words)  # type: ignore[arg-type]
    adjusted = None
    if not isinstance(found.adjustment, NoFit):
        adjusted = next((c for c in found.adjustment.cameras if c.name == camera.name), None)
    row = {mark_id: index for index, mark_id in enumerate(outcome.fit.points.ids)}
    marks = tuple(
        _inspected_mark(found, picture, outcome, sighting, row.get(sighting.id), adjusted)
        for sighting in outcome.sightings
    )
    return InspectedCamera(
        camera=camera,
        picture=picture,
        marks=marks,
        blur_px=outcome.blur_px * 1280 / picture.width,
        plan_fit=outcome.fit,
        ray_from_ground=ground_map(outcome.fit.pose, outcome.fit.lens).ray_from_ground,
        adjusted=adjusted,
        **words,  # type: ignore[arg-type]
    )


def _inspected_mark(
    found: _Findings,
    picture: Picture,
    outcome: Identified,
    sighting: Sighting,
    row: int | None,
    adjusted: object,
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
        used = bool(adjusted.used[row])  # type: ignore[attr-defined]
        reason = "" if used else "it does not fit the other marks and cameras"
    points = outcome.fit.points
    return InspectedMark(
        id=sighting.id,
        status="used" if used else "rejected",
        planned_m=planned,
        pixel_px=picture.as_delivered(points.pixels_px[row]),
        covariance_px2=picture.covariance_as_delivered(points.covariance_px2[row]),
        residual_px=picture.vectors_as_delivered(outcome.fit.residual_px[row]),
        residual_m=outcome.fit.residual_m[row],
        reason=reason,
    )


def _warnings(found: _Findings) -> tuple[str, ...]:
    """What a person should know beside the verdicts."""
    warnings = []
    if isinstance(found.adjustment, NoFit):
        warnings.append(f"no joint adjustment: {found.adjustment.text}")
    else:
        for group in found.adjustment.freed:
            kind, _, name = group.partition(" ")
            what = (
                f"the {name} strip's ends" if kind == "strip" else f"the {name} camera's mounting"
            )
            if kind not in {"strip", "mounting"}:
                what = group
            warnings.append(
                f"the stated place of {what} does not fit the pictures; it was set free, and the "
                "figures are those without it"
            )
    if found.job.readings:
        warnings.append("readings in the job file are not used yet")
    return tuple(warnings)

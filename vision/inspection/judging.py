"""What an inspection says: verdicts on all that was measured, marks as delivered, warnings."""

from __future__ import annotations

from vision.adjustment import Adjustment
from vision.ground import ground_map
from vision.identify import Identified, NotIdentified, Sighting
from vision.inspection.finding import Findings
from vision.inspection_values import (
    InspectedCamera,
    InspectedMark,
    InspectedRaisedMark,
    InspectedSeam,
    InspectedStrip,
    Inspection,
)
from vision.job import Camera
from vision.picture import Picture
from vision.seams import nearest_ground, seam_lines
from vision.solver import NoFit
from vision.verdict import (
    CameraVerdict,
    LayingVerdict,
    Overlap,
    PictureVerdict,
    Reason,
    SeamVerdict,
    Standing,
    camera_verdict,
    causes,
    doubts,
    job_verdict,
    judge_picture,
    mark_verdict,
    seam_verdict,
    standings,
    strays,
    strip_verdict,
    unidentified_camera,
    unobserved,
)
from vision.verdict.cameras import aim_is_beyond


def judged(found: Findings) -> Inspection:
    """Judge everything that was measured."""
    job, adjustment = found.job, found.adjustment
    pictures = {
        name: judge_picture(
            name, sharp, job.tolerances, identified=isinstance(found.outcomes[name], Identified)
        )
        for name, sharp in found.sharpness.items()
    }
    cameras = {c.name: _camera_verdict(found, c, pictures[c.name]) for c in job.cameras}
    adjusted_strips = (
        {} if isinstance(adjustment, NoFit) else {s.name: s for s in adjustment.strips}
    )
    adjusted_marks = {} if isinstance(adjustment, NoFit) else {m.name: m for m in adjustment.marks}
    strips = {
        strip.name: strip_verdict(strip, adjusted_strips[strip.name], job.tolerances, job.lengths)
        if strip.name in adjusted_strips
        else _unseen(strip.name)
        for strip in job.strips
    }
    marks = {
        mark.name: mark_verdict(mark, adjusted_marks[mark.name], job.tolerances, job.lengths)
        if mark.name in adjusted_marks
        else _unseen(mark.name)
        for mark in job.marks
    }
    seams: dict[tuple[str, str], SeamVerdict] = {}
    for line in seam_lines(job):
        missing = tuple(n for n in line.between if isinstance(found.outcomes[n], NotIdentified))
        seams[line.between] = seam_verdict(
            line.between,
            found.gaps.get(line.between),
            job.tolerances,
            missing=missing,
            lengths=job.lengths,
        )
    stated = () if isinstance(adjustment, NoFit) else standings(job, adjustment)
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
        cameras=tuple(_inspected(found, c, cameras[c.name], pictures[c.name]) for c in job.cameras),
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
                edges=found.edges.get(between, ()),
                texture=found.textures.get(between),
            )
            for between, v in seams.items()
        ),
        warnings=_warnings(found, stated),
        stated=stated,
        variance_factor=_variance_factor(adjustment),
        adjustment=None if isinstance(adjustment, NoFit) else adjustment,
    )


def _unseen(name: str) -> LayingVerdict:
    reason = Reason(code="not-seen", text="no picture could be used to place it")
    return LayingVerdict(name=name, verdict="not-judged", reasons=(reason,))


def _variance_factor(adjustment: Adjustment | NoFit) -> float | None:
    if isinstance(adjustment, NoFit) or adjustment.degrees_of_freedom <= 0:
        return None
    return adjustment.chi2 / adjustment.degrees_of_freedom


def _camera_verdict(found: Findings, camera: Camera, picture: PictureVerdict) -> CameraVerdict:
    outcome, adjustment = found.outcomes[camera.name], found.adjustment
    if isinstance(outcome, NotIdentified):
        text = outcome.text
        width, height = found.pictures[camera.name].width, found.pictures[camera.name].height
        if height > width:
            text += (
                f"; the picture stands on its side, {width} x {height} px: save it as the camera"
                " delivers it"
            )
        return unidentified_camera(camera.name, NoFit(code=outcome.code, text=text), picture)
    if isinstance(adjustment, NoFit):
        return unidentified_camera(camera.name, adjustment, picture)
    try:
        adjusted = adjustment.camera(camera.name)
    except KeyError:
        text = "too few of its marks fit the other cameras' to place it"
        return unidentified_camera(camera.name, NoFit(code="no-joint-fit", text=text), picture)
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
        picture=picture,
        lengths=found.job.lengths,
    )


def _inspected(
    found: Findings, camera: Camera, verdict: CameraVerdict, picture_verdict: PictureVerdict
) -> InspectedCamera:
    outcome, picture = found.outcomes[camera.name], found.pictures[camera.name]
    words = {
        "verdict": verdict.verdict,
        "reasons": verdict.reasons,
        "actions": verdict.actions,
        "sharpness": found.sharpness[camera.name],
        "picture_verdict": picture_verdict,
    }
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
    found: Findings,
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


def _warnings(found: Findings, stated: tuple[Standing, ...]) -> tuple[str, ...]:
    """What a person should know beside the verdicts."""
    warnings = []
    if isinstance(found.adjustment, NoFit):
        warnings.append(f"no joint adjustment: {found.adjustment.text}")
    else:
        warnings += causes(found.job, found.adjustment)
        shown = {
            name: each.fit.points
            for name, each in found.outcomes.items()
            if isinstance(each, Identified)
        }
        warnings += strays(found.job, found.adjustment, shown)
        held = unobserved(found.adjustment, found.job.lengths)
        warnings += filter(None, (doubts(stated), held))
        used = {reading.name for reading in found.adjustment.readings}
        warnings += [
            f"reading {number} is not used: its camera takes no part in the adjustment"
            for number in range(1, len(found.job.readings) + 1)
            if f"reading {number}" not in used
        ]
    rounding = found.job.lengths.note("overlap, ground seen and places on a seam")
    return (*warnings, *([rounding] if rounding else []))

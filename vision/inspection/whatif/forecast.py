"""What a turn of a camera, or a vehicle that stands differently, would do to views and seams.

The joint adjustment says where cameras and marks are, so where every ground point would then be
seen follows. What is drawn is up to the display: one that stays as it is set draws with its present
map, the plan fit; one that is set anew would fit its map to the marks as they are then seen, which
is a plan fit to predicted pixels. The lens is the same throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera, Adjustment
from vision.adjustment.plan_fit import PlanFit, Points, fit_plan
from vision.camera.lens_prior import lens_prior
from vision.camera.solver import NoFit
from vision.inspection.inspected import InspectedCamera, Inspection
from vision.inspection.settings import SETTINGS
from vision.inspection.verdict.cameras import aim_judgements
from vision.inspection.verdict.common_turn import CommonTurn, common_turn
from vision.inspection.verdict.rule import judge, judge_minimum, length_and_sigma, worst_of
from vision.inspection.verdict.seams import seam_verdict
from vision.inspection.whatif.change import (
    CameraForecast,
    Change,
    Figure,
    Forecast,
    SeamForecast,
    Sensitivity,
)
from vision.job.job import Camera, Job
from vision.job.layout import Layout, planned_layout
from vision.job.mark_id import MarkId
from vision.job.visibility import View, marks_in_picture
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason
from vision.views.ground import ground_map
from vision.views.seams.coverage import nearest_ground
from vision.views.seams.gaps import SeamGap, drawn_at, seam_gaps, seams_of
from vision.views.seams.lines import SeamLine

NONE = Figure(value_m=float("nan"), sigma_m=float("nan"), verdict="not-judged")


def predict(inspection: Inspection, change: Change) -> Forecast | NoFit:
    """Predict what `change` does; NoFit where the inspection has no joint adjustment.

    Cameras that took no part in it are left out, and said in the notes.
    """
    adjustment = inspection.adjustment
    if adjustment is None:
        return NoFit(reason=Reason("no-adjustment"))
    job, layout = inspection.job, planned_layout(inspection.job)
    after = changed_adjustment(adjustment, change)
    then = {camera.name: camera for camera in after.cameras}
    found = {each.camera.name: each for each in inspection.cameras}
    fits = {n: c.plan_fit for n, c in found.items() if c.plan_fit is not None}
    anew, notes = displays_anew(inspection, after, change)
    common = common_turn(job, adjustment)
    return Forecast(
        cameras=tuple(
            _camera(job, layout, found[each.name], adjustment, then[each.name], common)
            for each in job.cameras
            if each.name in then
        ),
        seams=_seams(job, adjustment, after, fits, anew),
        notes=(*(Reason("not-predicted", camera=n) for n in found if n not in then), *notes),
    )


def displays_anew(
    inspection: Inspection, after: Adjustment, change: Change
) -> tuple[dict[str, PlanFit], tuple[Reason, ...]]:
    """The plan fit of every camera for a display set anew after `change`, and which has none."""
    job, layout = inspection.job, planned_layout(inspection.job)
    mark_m = dict(after.mark_m)
    mark_m |= {m.id: m.centre_m for m in layout.points if m.id.name in change.laid}
    then = {camera.name: camera for camera in after.cameras}
    fits: dict[str, PlanFit] = {}
    notes = []
    for found in inspection.cameras:
        name = found.camera.name
        if found.plan_fit is None:
            continue
        moves = bool(change.laid) or change.moves_vehicle or name in change.turns_rad
        if not moves or name not in then:
            fits[name] = found.plan_fit
            continue
        fit = _set_anew(job, layout, found, then[name], mark_m)
        if isinstance(fit, NoFit):
            notes.append(Reason("not-set-anew", camera=name, why=fit.reason))
        else:
            fits[name] = fit
    return fits, tuple(notes)


def sensitivities(inspection: Inspection, changes: Sequence[Change]) -> tuple[Sensitivity, ...]:
    """How far the two views of each seam move apart under each change; empty without a fit."""
    adjustment = inspection.adjustment
    if adjustment is None:
        return ()
    job = inspection.job
    fits = {c.camera.name: c.plan_fit for c in inspection.cameras if c.plan_fit is not None}
    now = {each.name: each for each in adjustment.cameras}
    lines = seams_of(job, fits, adjustment)
    maps = {name: ground_map(fit.pose, fit.lens) for name, fit in fits.items()}

    def drawn(line: SeamLine, camera: AdjustedCamera) -> Array:
        return drawn_at(line.points_m(), job.vehicle, camera, maps[camera.name])

    before = {(line, name): drawn(line, now[name]) for line in lines for name in line.between}

    def moved_m(line: SeamLine, change: Change) -> float:
        """Of the two views of a seam: how far each is drawn elsewhere, one minus the other."""
        first, second = (
            drawn(line, change.camera(now[name])) - before[line, name]
            if change.moves_vehicle or name in change.turns_rad
            else np.where(np.isfinite(before[line, name]), 0.0, np.nan)
            for name in line.between
        )
        return _longest_m(first - second)

    return tuple(
        Sensitivity(change=each, moved_m={line.between: moved_m(line, each) for line in lines})
        for each in changes
    )


def changed_adjustment(adjustment: Adjustment, change: Change) -> Adjustment:
    """The adjustment with its cameras as they would stand, covariances carried along."""
    carry = np.eye(len(adjustment.parameter_covariance))
    for camera in adjustment.cameras:
        columns = adjustment.camera_slice[camera.name]
        carry[columns, columns] = change.carry(camera)
    return replace(
        adjustment,
        cameras=tuple(map(change.camera, adjustment.cameras)),
        parameter_covariance=carry @ adjustment.parameter_covariance @ carry.T,
    )


def _in_view(
    job: Job,
    layout: Layout,
    camera: AdjustedCamera,
    mark_m: dict[MarkId, Array],
    fit: PlanFit | None,
) -> Flags:
    """Which points of the layout the camera shows large enough to be found, (n,).

    What it measured for its present `fit` and still shows is not hidden by the body, whatever the
    box that stands for the body says: a turn hides nothing.
    """
    lying = [replace(each, centre_m=mark_m.get(each.id, each.centre_m)) for each in layout.points]
    found = marks_in_picture(job.vehicle, camera.pose, camera.lens, lying).views
    ids = () if fit is None else fit.points.ids
    measured = np.array([each.id in ids for each in lying], dtype=bool)
    return np.asarray((found == View.SEEN) | measured & (found > View.OUTSIDE_PICTURE))


def _set_anew(
    job: Job,
    layout: Layout,
    found: InspectedCamera,
    adjusted: AdjustedCamera,
    mark_m: dict[MarkId, Array],
) -> PlanFit | NoFit:
    """The plan fit that a display set anew would make from what the camera then shows."""
    assert found.plan_fit is not None
    in_view = _in_view(job, layout, adjusted, mark_m, found.plan_fit)
    chosen = [layout.points[row] for row in np.flatnonzero(in_view)]
    fitted = found.plan_fit.points
    covariance = dict(zip(fitted.ids, fitted.covariance_px2, strict=True))
    unmeasured = SETTINGS.what_if.unmeasured_sigma_px**2 * np.eye(2)
    places = np.array([mark_m.get(mark.id, mark.centre_m) for mark in chosen]).reshape(-1, 3)
    pixels = adjusted.lens.project(adjusted.pose.transform(places))
    points = Points.of(job, chosen, pixels, [covariance.get(m.id, unmeasured) for m in chosen])
    camera = found.camera
    prior = lens_prior(job.lens_of(camera), adjusted.lens.width, adjusted.lens.height)
    return fit_plan(camera, prior, points, (adjusted.pose, found.plan_fit.lens))


def _camera(
    job: Job,
    layout: Layout,
    found: InspectedCamera,
    adjustment: Adjustment,
    then: AdjustedCamera,
    common: CommonTurn | None,
) -> CameraForecast:
    camera, now = found.camera, adjustment.camera(found.camera.name)
    off, sigma, words = aim_judgements(camera, then, job.tolerances, common)
    marks = [
        int(_in_view(job, layout, each, adjustment.mark_m, found.plan_fit).sum())
        for each in (now, then)
    ]
    return CameraForecast(
        name=camera.name,
        marks_now=marks[0],
        marks_then=marks[1],
        nearest_now=_nearest(job, camera, now),
        nearest_then=_nearest(job, camera, then),
        off_rad=(float(off[0]), float(off[1]), float(off[2])),
        off_sigma_rad=(float(sigma[0]), float(sigma[1]), float(sigma[2])),
        aim=worst_of(words),
    )


def _nearest(job: Job, camera: Camera, adjusted: AdjustedCamera) -> Figure:
    found = nearest_ground(job.vehicle, camera, adjusted)
    limit = job.tolerances.nearest_ground_m
    return Figure(
        value_m=found.distance_m,
        sigma_m=found.sigma_m,
        verdict=judge(found.distance_m, found.sigma_m, limit),
    )


def _seams(
    job: Job,
    adjustment: Adjustment,
    after: Adjustment,
    fits: dict[str, PlanFit],
    anew: dict[str, PlanFit],
) -> tuple[SeamForecast, ...]:
    # Shared marks were measured in the pictures as they are: only the seams' own points count.
    kept = {name: without_marks(fit) for name, fit in fits.items()}
    set_anew = {name: without_marks(fit) for name, fit in anew.items()}
    now = _by_seam(job, kept, adjustment)
    as_set, renewed = _by_seam(job, kept, after), _by_seam(job, set_anew, after)
    return tuple(
        SeamForecast(
            between=between,
            now=gap_figure(job, gap),
            as_set=gap_figure(job, as_set.get(between)),
            set_anew=gap_figure(job, renewed.get(between)),
            moved_m=_moved(gap, as_set[between]) if between in as_set else float("nan"),
            overlap_now=_overlap(job, gap),
            overlap_then=_overlap(job, as_set.get(between)),
        )
        for between, gap in now.items()
    )


def _by_seam(
    job: Job, fits: dict[str, PlanFit], adjustment: Adjustment
) -> dict[tuple[str, str], SeamGap]:
    """The gap of every seam whose cameras both have such a fit."""
    return {gap.between: gap for gap in seam_gaps(job, fits, adjustment)}


def without_marks(fit: PlanFit) -> PlanFit:
    """The same map without the marks it was fitted to."""
    none = np.zeros(len(fit.used), dtype=bool)
    return replace(
        fit,
        points=fit.points.only(none),
        used=fit.used[none],
        residual_px=fit.residual_px[none],
        residual_m=fit.residual_m[none],
    )


def gap_figure(job: Job, gap: SeamGap | None) -> Figure:
    """Worst gap along a seam, with the verdict on all of it."""
    if gap is None or gap.worst_gap_m is None:
        return NONE
    lengths = np.linalg.norm(gap.gaps_m, axis=1)
    at = int(np.nanargmax(lengths))
    value, sigma = length_and_sigma(gap.gaps_m[at], gap.covariances_m2[at])
    word = seam_verdict(gap.between, gap, job.tolerances).verdict
    return Figure(value_m=value, sigma_m=sigma, verdict=word)


def _overlap(job: Job, gap: SeamGap | None) -> Figure:
    if gap is None or gap.overlap_m is None:
        return NONE
    sigma = gap.overlap_sigma_m or 0.0
    word = judge_minimum(gap.overlap_m, sigma, job.tolerances.overlap_m)
    return Figure(value_m=gap.overlap_m, sigma_m=sigma, verdict=word)


def _moved(now: SeamGap, then: SeamGap) -> float:
    """Most that two views move against each other along a seam, where both cover it."""
    return _longest_m(then.gaps_m - now.gaps_m)


def _longest_m(vectors_m: Array) -> float:
    """The longest of vectors (n, 2), NaN where none is known."""
    lengths = np.linalg.norm(vectors_m, axis=1)
    return float(np.nanmax(lengths)) if np.isfinite(lengths).any() else float("nan")

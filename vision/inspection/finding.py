"""What an inspection measures: the rooms in order, from a job and its pictures to findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from vision.adjustment.adjusted import (
    AdjustedCamera,
    AdjustedMark,
    AdjustedStrip,
    Adjustment,
    CameraObservations,
)
from vision.adjustment.plan_fit import PlanFit
from vision.adjustment.search import adjust
from vision.camera.lens_prior import lens_prior
from vision.camera.solver import NoFit
from vision.camera.statistics import chi_square_limit
from vision.identification.even_rows import identified, with_corners
from vision.identification.identified import Identified, NotIdentified, with_lot
from vision.identification.mixups import Look, without_mirrors, without_mixups
from vision.identification.settings import SETTINGS
from vision.identification.shapes import ShapeChoice, choose_shapes, read_shapes
from vision.identification.shots import Combined, with_shots
from vision.inspection.memory import Memory
from vision.inspection.suspects import LookAs, Suspects, Suspicion
from vision.inspection.verdict.cameras import aim_judgements
from vision.job.job import Camera, Job
from vision.job.layout import Layout, planned_layout
from vision.marks.picture import Grey, Picture, Rows
from vision.marks.rows import steadied
from vision.marks.sources.overlays import without_overlays
from vision.marks.sources.straightened import straightened_views
from vision.units.progress import Progress, silent
from vision.units.reason import Reason
from vision.units.recall import Recall, afresh
from vision.views.seam_edges import EdgeCrossing, edge_crossings
from vision.views.seams.gaps import SeamGap, seam_gaps
from vision.views.seams.lines import seam_lines
from vision.views.sharpness.blur import Sharpness
from vision.views.sharpness.measurement import measure_sharpness
from vision.views.texture.registration import texture_shift
from vision.views.texture.shift import NoTexture, TextureShift

REJECTED_CHI2 = chi_square_limit(0.999, 2)
"""What a rejected mark would have added at least."""

Outcome = Identified | NotIdentified

Gaps = dict[tuple[str, str], SeamGap]
Edges = dict[tuple[str, str], tuple[EdgeCrossing, ...]]
Textures = dict[tuple[str, str], TextureShift | NoTexture]
"""By the two cameras of a seam."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Findings:
    """What was measured, before anything is judged."""

    job: Job
    layout: Layout
    pictures: dict[str, Picture]
    outcomes: dict[str, Outcome]
    sharpness: dict[str, Sharpness]
    adjustment: Adjustment | NoFit
    gaps: Gaps
    edges: Edges
    textures: Textures
    shapes: tuple[ShapeChoice, ...] = ()
    suspicions: tuple[Suspicion, ...] = ()
    shots: Mapping[str, Combined] = field(default_factory=dict)

    def suspicion(self, *, camera: str = "", strip: str = "") -> Suspicion | None:
        """What is suspected of the job that a camera or strip rests on."""
        return next((e for e in self.suspicions if camera in e.cameras or strip in e.strips), None)

    @property
    def joint(self) -> Adjustment | None:
        """The joint adjustment, where there is one."""
        return None if isinstance(self.adjustment, NoFit) else self.adjustment

    def adjusted_camera(self, name: str) -> AdjustedCamera | None:
        """A camera as adjusted; None where it took no part."""
        cameras = self.joint.cameras if self.joint else ()
        return next((camera for camera in cameras if camera.name == name), None)

    def adjusted_strip(self, name: str) -> AdjustedStrip | None:
        """A strip as adjusted; None without an adjustment."""
        strips = self.joint.strips if self.joint else ()
        return next((strip for strip in strips if strip.name == name), None)

    def adjusted_mark(self, name: str) -> AdjustedMark | None:
        """A single mark as adjusted; None without an adjustment."""
        marks = self.joint.marks if self.joint else ()
        return next((mark for mark in marks if mark.name == name), None)


def measured(
    job: Job,
    pictures: Sequence[Picture],
    progress: Progress = silent,
) -> Findings:
    """Find, fit and adjust. `pictures` come one per camera, in the order of the job.

    `progress` is told what is about to be done, in words for a person. A picture that gives cause
    for doubt is read in several ways, each asked for by several who doubt: none is done twice.
    """
    found = placed(job, pictures, progress, Memory())
    progress("comparing the ground at the seams")
    return with_textures(found)


def placed(
    job: Job,
    pictures: Sequence[Picture],
    progress: Progress = silent,
    recall: Recall = afresh,
    absent: Set[str] = frozenset(),
    aimed: Callable[[Job, Adjustment], None] = lambda job, adjustment: None,
) -> Findings:
    """All that is measured but the ground's texture, on which no verdict of a camera rests.

    The pictures of `absent` cameras are black, and stand for none. `aimed` is told the adjustment,
    after which no aim changes any more.
    """
    layout = planned_layout(job)
    progress("looking at rows and pixels")
    by_name = {
        c.name: recall(steadied, each) for c, each in zip(job.cameras, pictures, strict=True)
    }
    by_name |= without_overlays({n: p for n, p in by_name.items() if n not in absent}, recall)
    shapes = choose_shapes(job, layout, by_name)
    for shape in shapes:
        job = shape.in_job(job)

    look_as = _looking(by_name, recall)
    fields = {c.name: _half_field(job, c, by_name[c.name]) for c in job.cameras}
    straight = recall(straightened_views, by_name, fields)
    outcomes = _seen(job, by_name, progress, recall, straight)
    progress("looking for wrong entries of the job")
    suspicions = Suspects(
        job=job,
        pictures=by_name,
        look=look_as,
        adjust=lambda other, those: _adjusted(other, planned_layout(other), those),
        cost=_cost,
        recall=recall,
    ).suspicions(with_lot(outcomes))
    for each in suspicions:
        outcomes |= {name: NotIdentified(camera=name, reason=each.why) for name in each.cameras}
    progress("looking for mixed-up pictures")
    outcomes = with_lot(without_mixups(job, by_name, outcomes, partial(look_as, job)))
    shots = _combined(job, by_name, outcomes, recall)
    outcomes |= {name: each.outcome for name, each in shots.items()}
    outcomes = _with_corners(job, by_name, outcomes, recall)
    nothing = Reason("no-picture")
    outcomes |= {name: NotIdentified(camera=name, reason=nothing) for name in absent}
    progress("adjusting cameras and strips together")
    job, shapes, outcomes = _as_read(job, layout, shapes, outcomes)
    adjustment = _adjusted(job, layout, outcomes)
    kept = _unmirrored(job, layout, by_name, outcomes, adjustment, partial(look_as, job))
    if kept != outcomes:
        outcomes, adjustment = kept, _adjusted(job, layout, kept)
    if not isinstance(adjustment, NoFit):
        aimed(job, adjustment)
    progress("looking how sharp the pictures are")
    sharpness = {
        camera.name: _sharpness(job, layout, camera, by_name, outcomes, recall)
        for camera in job.cameras
    }
    progress("measuring the seams")
    gaps, edges = _seams(job, outcomes, adjustment)
    return Findings(
        job=job,
        layout=layout,
        pictures=by_name,
        outcomes=outcomes,
        sharpness=sharpness,
        adjustment=adjustment,
        gaps=gaps,
        edges=edges,
        textures={},
        shapes=shapes,
        suspicions=suspicions,
        shots=shots,
    )


def _looking(pictures: Mapping[str, Picture], recall: Recall) -> LookAs:
    """Look for a camera's marks as one job has them, in its own rows of any grey picture."""

    def look_as(job: Job, camera: Camera, grey: Grey) -> Outcome:
        return recall(looked_at, job, camera, grey, pictures[camera.name].rows)

    return look_as


def _half_field(job: Job, camera: Camera, picture: Picture) -> float:
    """Half of what a camera's lens is said to see from left to right."""
    return lens_prior(job.lens_of(camera), picture.width, picture.height).edge_rad


def _seen(
    job: Job,
    pictures: dict[str, Picture],
    progress: Progress,
    recall: Recall,
    straight: Set[str] = frozenset(),
) -> dict[str, Outcome]:
    """What each camera's marks are; another of its pictures leads where the first shows none."""
    outcomes: dict[str, Outcome] = {}
    for camera in job.cameras:
        progress(f"finding the marks of the {camera.name} camera")
        picture = pictures[camera.name]
        if camera.name in straight:
            why = Reason("straightened", file=picture.file)
            outcomes[camera.name] = NotIdentified(camera=camera.name, reason=why)
            continue
        outcomes[camera.name] = recall(looked_at, job, camera, picture.seen, picture.rows)
        for shot in range(1, len(picture.shots) + 1):
            # Somebody may have stood before the lens when the first was taken.
            if isinstance(outcomes[camera.name], Identified):
                break
            led = picture.led_by(shot)
            seen = recall(looked_at, job, camera, led.seen, led.rows)
            if isinstance(seen, Identified):
                pictures[camera.name], outcomes[camera.name] = led, seen
    return outcomes


def _as_read(
    job: Job, layout: Layout, shapes: tuple[ShapeChoice, ...], outcomes: dict[str, Outcome]
) -> tuple[Job, tuple[ShapeChoice, ...], dict[str, Outcome]]:
    """Job, shapes and outcomes with the one reading of a standard that fits all cameras best."""

    def cost(those: Mapping[str, Outcome]) -> float:
        return _cost(_adjusted(job, layout, those))

    shapes = read_shapes(job, shapes, outcomes, cost)
    for shape in shapes:
        job, outcomes = shape.in_job(job), shape.in_outcomes(job, outcomes)
    return job, shapes, outcomes


def _unmirrored(
    job: Job,
    layout: Layout,
    pictures: Mapping[str, Picture],
    outcomes: dict[str, Outcome],
    adjustment: Adjustment | NoFit,
    look: Look,
) -> dict[str, Outcome]:
    """The outcomes without a picture that fits all the others clearly better turned over."""
    suspects = _off_aim(job, adjustment)
    if not suspects:
        return outcomes

    def cost(those: Mapping[str, Outcome]) -> float:
        return _cost(_adjusted(job, layout, those))

    return without_mirrors(pictures, outcomes, suspects, look, cost)


def with_textures(found: Findings) -> Findings:
    """The findings with what the ground's texture shows at each seam."""
    if found.joint is None:
        return found
    fits = _fits(found.outcomes, found.joint)
    textures = {
        between: texture_shift(found.job, gap, fits, found.pictures, found.joint.strips)
        for between, gap in found.gaps.items()
    }
    return replace(found, textures=textures)


def _combined(
    job: Job, pictures: Mapping[str, Picture], outcomes: Mapping[str, Outcome], recall: Recall
) -> dict[str, Combined]:
    """What further pictures add, of the cameras that have some and are identified."""
    return {
        camera.name: recall(with_shots, job, planned_layout(job), camera, outcome, picture)
        for camera in job.cameras
        if (picture := pictures[camera.name]).shots
        and isinstance(outcome := outcomes[camera.name], Identified)
    }


def looked_at(job: Job, camera: Camera, grey: Grey, rows: Rows) -> Outcome:
    """What one camera's marks are in a grey picture, by that picture alone."""
    prior = lens_prior(job.lens_of(camera), grey.shape[1], grey.shape[0])
    return identified(job, planned_layout(job), camera, prior, grey, rows)


def _sharpness(
    job: Job,
    layout: Layout,
    camera: Camera,
    pictures: Mapping[str, Picture],
    outcomes: Mapping[str, Outcome],
    recall: Recall,
) -> Sharpness:
    picture, outcome = pictures[camera.name], outcomes[camera.name]
    lens = lens_prior(job.lens_of(camera), picture.width, picture.height).guess
    seen = outcome if isinstance(outcome, Identified) else None
    return recall(measure_sharpness, picture, layout, seen, lens.fy / lens.fx)


def _seams(
    job: Job, outcomes: Mapping[str, Outcome], adjustment: Adjustment | NoFit
) -> tuple[Gaps, Edges]:
    """What marks and edges of tape show at each seam; empty for no fit."""
    if isinstance(adjustment, NoFit):
        return {}, {}
    fits = _fits(outcomes, adjustment)
    gaps = {gap.between: gap for gap in seam_gaps(job, fits, adjustment)}
    edges = {
        line.between: edge_crossings(job, line, fits, adjustment)
        for line in seam_lines(job)
        if line.between in gaps
    }
    return gaps, edges


def _fits(outcomes: Mapping[str, Outcome], adjustment: Adjustment) -> dict[str, PlanFit]:
    return {
        name: without_rejected(name, out.fit, adjustment)
        for name, out in outcomes.items()
        if isinstance(out, Identified)
    }


def _with_corners(
    job: Job, pictures: Mapping[str, Picture], outcomes: Mapping[str, Outcome], recall: Recall
) -> dict[str, Outcome]:
    """The outcomes with the cartons' corners that can be seen once the cameras are known."""
    found = dict(outcomes)
    for camera in job.cameras:
        outcome, picture = outcomes[camera.name], pictures[camera.name]
        if isinstance(outcome, Identified):
            found[camera.name] = recall(with_corners, job, camera, outcome, picture)
    return found


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


def without_rejected(name: str, fit: PlanFit, adjustment: Adjustment) -> PlanFit:
    """The same fit, its marks used only where the joint adjustment, which knows more, uses them.

    What a single wrong mark seems to show at a seam says nothing about the seam.
    """
    for camera in adjustment.cameras:
        if camera.name == name:
            return replace(fit, used=fit.used & camera.used[: len(fit.used)])
    return fit


def _off_aim(job: Job, adjustment: Adjustment | NoFit) -> list[Camera]:
    """Cameras that are not surely aimed as intended: a mirrored picture looks so."""
    if isinstance(adjustment, NoFit):
        return []
    adjusted = {camera.name: camera for camera in adjustment.cameras}
    return [
        camera
        for camera in job.cameras
        if camera.name in adjusted
        and set(aim_judgements(camera, adjusted[camera.name], job.tolerances)[2]) != {"within"}
    ]


def _cost(adjustment: Adjustment | NoFit) -> float:
    """Chi-square, with a price for every stated place and every mark that had to be given up."""
    if isinstance(adjustment, NoFit):
        return np.inf
    places = len(adjustment.freed) + len(adjustment.freed_alternatives)
    marks = sum(int((~camera.used).sum()) for camera in adjustment.cameras)
    return adjustment.chi2 + SETTINGS.least_joint_gain * places + REJECTED_CHI2 * marks

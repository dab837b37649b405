"""Which mark is it? From candidates to identified, measured marks of one camera.

The strips repeat, so a pose shifted by one mark explains many candidates almost as well. Several
poses are therefore carried to the end: each is refined, every mark that the body does not hide is
looked for by its drawing, and the poses are compared by evidence found minus evidence missing. Too
close is 'not judged'.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.body import body_hides
from vision.candidates import Candidates, Kind, find_candidates
from vision.geometry import Array, Pose
from vision.hypotheses import AXIS_SCALES, Cameras, coarse_cameras, search
from vision.job import Board, Camera, Cross, Job
from vision.layout import Layout, PlannedMark, points_of
from vision.lens import Lens
from vision.lens_prior import LensPrior
from vision.measure import Measured, cut_patches, d_pixel_d_mark, match, measure
from vision.pattern import drawable, half_extent
from vision.plan_fit import PlanFit, Points, fit_plan
from vision.solver import NoFit

Status = Literal["used", "rejected", "not-found", "hidden", "outside"]

DISTINCT_PX = 6.0
"""Poses whose marks lie closer than this (median) are one pose."""
SAME_PX = 4.0
CARRIED = 4
"""Distinct poses carried to the comparison: on practice pictures the right one leads by far."""
CARRIED_SHARE = 0.35
"""Poses whose candidates' score is below this share of the best are dropped before drawing."""
LOOKS = ((7.0, 0.55, 0.3), (3.0, 0.4, 0.15))
"""Each look for the drawn marks: reach in px, correlation that counts as seen, sigma in px of its
place. Asphalt and edges rarely pass 0.5 within 7 px, and a mark cut by a shadow's edge often does
not, so the second look is closer and kinder."""
HALF_SEEN_MARGIN_M = 0.35
"""A mark hidden only by the outer this much of the body's box may well be seen: bodies are rounded
and mountings some centimetres off. It is looked for, and not missed."""
RIVAL_SHARE = 0.7
"""A second pose with more than this share of the best one's evidence makes it 'not judged'."""
LEAST_MARKS = 5
LEAST_SHARE = 0.5
"""Evidence over what a picture with every mark in it would give, below which nothing is named. On
practice pictures it is 0.8 and more; another camera's picture of the same lot gives up to 0.45."""
LEAST_EXPLAINED = 0.5
LEAST_CONTRAST = 3.0
MOST_SIGMA_PX = 0.6
FARTHEST_PLACE_M = 0.35
"""A pose this far from the stated mounting, thrice what a mounting may be wrong, is another's."""
FARTHEST_AIM_RAD = float(np.radians(24.0))
DARK_LEVEL = 14.0
FLAT_SPREAD = 3.0
SIZE_SEEN_PX = (4.0, 14.0)
"""Shorter extent of a mark at which it begins to be expected, and at which it surely is."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sighting:
    """What became of one mark of the layout in one picture.

    `pixel_px` (2,) and `covariance_px2` (2, 2) in the picture turned back, None where nothing was
    measured; `reason` says why a mark is not used.
    """

    id: str
    status: Status
    measured: Measured | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Identified:
    """One camera whose marks are known.

    `fit` is the plan fit to the measured marks, `sightings` one per mark of the layout in order;
    `evidence` of this pose, `rival` that of the best other pose, and `share` the evidence over what
    a picture with every mark in it would give.
    """

    camera: str
    fit: PlanFit
    prior: LensPrior
    sightings: tuple[Sighting, ...]
    blur_px: float
    expected: int
    evidence: float
    rival: float
    share: float

    @property
    def misfit(self) -> float:
        """Sum of squares of the plan fit per mark and found mark: less is better."""
        return self.fit.chi2 / max(int(self.fit.used.sum()), 1) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class NotIdentified:
    """No pose can be named: a code for the verdict and a sentence for the person."""

    camera: str
    code: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pose:
    """One pose on its way to the comparison."""

    pose: Pose
    lens: Lens
    evidence: float
    seen: int
    expected: float
    found_px: Array
    correlation: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Task:
    """What every step needs: the picture, the camera, and the marks that can be looked for."""

    job: Job
    grey: np.ndarray
    camera: Camera
    prior: LensPrior
    marks: tuple[PlannedMark, ...]
    clear: np.ndarray
    size: tuple[int, int]


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
    task = _Task(
        job=job,
        grey=grey,
        camera=camera,
        prior=prior,
        marks=marks,
        clear=clear[~hidden],
        size=(grey.shape[1], grey.shape[0]),
    )
    useless = _useless(grey)
    if useless is not None:
        return NotIdentified(camera=camera.name, code=useless[0], text=useless[1])
    if len(marks) < LEAST_MARKS:
        return NotIdentified(
            camera=camera.name,
            code="too-few-marks",
            text=f"the layout has {len(marks)} marks this camera could see; "
            f"at least {LEAST_MARKS} are needed",
        )
    poses = _poses(task)
    return _decided(task, layout, poses)


def _place_sigma(job: Job, mark: PlannedMark) -> float:
    """Sigma of a mark's planned place, per coordinate: the strip's ends and the mark's own."""
    if mark.strip is None:
        return next(single.position_sigma_m for single in job.marks if single.name == mark.id)
    strip = job.strip(mark.strip)
    return float(np.hypot(strip.position_sigma_m, strip.mark_sigma_m))


def _useless(grey: np.ndarray) -> tuple[str, str] | None:
    """Why a picture holds nothing at all, or None."""
    bright, spread = float(np.percentile(grey, 99)), float(np.std(grey))
    if bright < DARK_LEVEL:
        return "dark", f"the picture is dark: 99 % of it is below level {bright:.0f} of 255"
    if spread < FLAT_SPREAD:
        return "blank", "the picture is blank: it is one even level throughout"
    return None


def _expected(task: _Task, place_m: Array, f_px: float) -> Array:
    """How surely each mark ought to be seen, 0 to 1, by its foreshortened size in the picture."""
    centres = np.array([mark.centre_m for mark in task.marks])
    # Only marks that can be drawn come here, and those have a half extent.
    half = np.array([min(half_extent(mark.shape)) for mark in task.marks])  # type: ignore[arg-type]
    away = place_m - centres
    range_m = np.linalg.norm(away, axis=1)
    size = 2 * half * f_px * away[:, 2] / range_m**2
    low, high = SIZE_SEEN_PX
    return np.where(task.clear, np.clip((size - low) / (high - low), 0.0, 1.0), 0.0)


def _poses(task: _Task) -> list[_Pose]:
    """The distinct poses that stand up to a look for each drawn mark, best first."""
    guess = task.prior.guess
    half_field = _half_field(guess)
    looks = sorted({(_kind(mark), mark.ink) for mark in task.marks})
    found = [find_candidates(task.grey, kind, ink) for kind, ink in looks]
    candidates = Candidates(
        pixels_px=np.concatenate([each.pixels_px for each in found]),
        strength=np.concatenate([each.strength for each in found]),
    )
    f_px = 0.5 * guess.width / half_field
    weight = _expected(task, task.camera.position_m, f_px)
    points = np.array([mark.centre_m for mark in task.marks])
    worth = weight > 0
    if len(candidates.strength) < LEAST_MARKS or worth.sum() < LEAST_MARKS:
        return []
    cameras, scores = search(
        coarse_cameras(task.camera.aim, task.camera.position_m, guess, half_field, AXIS_SCALES),
        points[worth],
        weight[worth],
        candidates,
        task.size,
    )
    refined = []
    for index in _distinct(cameras, scores, points[worth]):
        pose = _refined(task, _start(cameras, index, guess))
        if pose is not None:
            refined.append(pose)
    kept: list[_Pose] = []
    for pose in sorted(refined, key=lambda pose: -pose.evidence):
        if all(_agreement(pose, other) <= 0.5 for other in kept):
            kept.append(pose)
    return kept


def _agreement(a: _Pose, b: _Pose) -> float:
    """Share of the marks one pose sees that another sees in the same place.

    Two poses that name the same marks alike are one identity, however well each has converged.
    """
    both = (a.correlation > 0) & (b.correlation > 0)
    gap = np.linalg.norm(a.found_px[both] - b.found_px[both], axis=1)
    return float((gap < SAME_PX).sum() / max(min(a.seen, b.seen), 1))


def _kind(mark: PlannedMark) -> Kind:
    match mark.shape:
        case Cross():
            return "cross"
        case Board():
            return "board"
        case _:
            return "saddle"


def _half_field(guess: Lens) -> float:
    """Half the angle between the rays through the picture's left and right edges."""
    edges = guess.unproject(
        np.array([[-0.5, guess.cy], [guess.width - 0.5, guess.cy]], dtype=np.float64)
    )
    angles = np.arctan2(np.abs(edges[:, 0]), edges[:, 2])
    return float(np.nanmean(angles)) if np.isfinite(angles).any() else guess.monotone_limit_rad


def _distinct(cameras: Cameras, scores: Array, points_m: Array) -> list[int]:
    """Indices of the best poses that differ from each other."""
    pixels, _ = cameras.project(points_m)
    kept: list[int] = []
    for index in range(len(scores)):
        if scores[index] < max(CARRIED_SHARE * scores[0], 0.0) or len(kept) == CARRIED:
            break
        apart = [np.median(np.linalg.norm(pixels[index] - pixels[k], axis=1)) for k in kept]
        if all(gap > DISTINCT_PX for gap in apart):
            kept.append(index)
    return kept


def _start(cameras: Cameras, index: int, guess: Lens) -> tuple[Pose, Lens]:
    """The full pose and lens of one coarse camera."""
    a0, a1 = cameras.curve[index]
    f = cameras.f0 * a0
    lens = Lens(
        width=guess.width,
        height=guess.height,
        fx=float(f),
        fy=float(f),
        cx=float(cameras.centre_px[index, 0]),
        cy=float(cameras.centre_px[index, 1]),
        k=np.array([a1 / a0 / cameras.half_field_rad**2, 0.0, 0.0, 0.0]),
    )
    u, _, vt = np.linalg.svd(cameras.R[index])
    return Pose.at(cameras.place_m[index], u @ vt), lens


def _refined(task: _Task, start: tuple[Pose, Lens]) -> _Pose | None:
    """Look for every drawn mark twice, each time with a fit to what was seen; None if no fit."""
    pose, lens = start
    used = np.zeros(len(task.marks), dtype=bool)
    for reach_px, least, sigma_px in LOOKS:
        found, correlation = match(task.grey, pose, lens, task.marks, reach_px)
        seen = np.flatnonzero(np.nan_to_num(correlation) > least)
        covariance = np.broadcast_to(np.eye(2), (len(seen), 2, 2)) * sigma_px**2
        marks = [task.marks[i] for i in seen]
        fit = _fit_points(task, marks, found[seen], covariance, (pose, lens))
        if isinstance(fit, NoFit):
            return None
        pose, lens = fit.pose, fit.lens
        used[:] = False
        used[seen] = fit.used
    f_px = float(np.sqrt(lens.fx * lens.fy))
    weight = _expected(task, pose.camera_in_ground_m, f_px)
    inside = lens.contains(d_pixel_d_mark(pose, lens, task.marks)[0])
    weight = np.where(inside & np.isfinite(correlation), weight, 0.0)
    evidence = float(np.where(used, weight * np.nan_to_num(correlation), -0.5 * weight).sum())
    return _Pose(
        pose=pose,
        lens=lens,
        evidence=evidence,
        seen=int(used.sum()),
        expected=float(weight.sum()),
        found_px=found,
        correlation=np.where(used, correlation, 0.0),
    )


def _fit_points(
    task: _Task,
    marks: Sequence[PlannedMark],
    pixels: Array,
    covariance: Array,
    start: tuple[Pose, Lens],
) -> PlanFit | NoFit:
    points = Points(
        ids=tuple(mark.id for mark in marks),
        planned_m=np.array([mark.centre_m for mark in marks]).reshape(-1, 3),
        mark_sigma_m=np.array([_place_sigma(task.job, mark) for mark in marks]),
        pixels_px=pixels,
        covariance_px2=covariance,
    )
    return fit_plan(task.camera, task.prior, points, start)


def _decided(task: _Task, layout: Layout, poses: list[_Pose]) -> Identified | NotIdentified:
    """The best pose measured to the end, or why there is none."""

    def no(code: str, text: str) -> NotIdentified:
        return NotIdentified(camera=task.camera.name, code=code, text=text)

    if not poses:
        return no("no-marks", "no marks were found that fit the layout")
    best = poses[0]
    if best.seen < LEAST_MARKS or best.evidence < LEAST_SHARE * best.expected:
        return no(
            "no-marks",
            f"{best.seen} places look like marks, too few of those that should be seen "
            "to say which is which",
        )
    rival = poses[1].evidence if len(poses) > 1 else 0.0
    if rival > RIVAL_SHARE * best.evidence:
        return no(
            "ambiguous",
            "two aims explain the picture almost equally well: the marks repeat, and what would "
            "tell them apart is not in the picture",
        )
    place = best.pose.camera_in_ground_m - task.camera.position_m
    turn = best.pose.aim.minus(task.camera.aim)
    if np.linalg.norm(place) > FARTHEST_PLACE_M or np.abs(turn).max() > FARTHEST_AIM_RAD:
        return no(
            "implausible",
            f"the marks fit only with the camera {np.linalg.norm(place) * 100:.0f} cm from where "
            f"the job says it is mounted and turned by {np.degrees(np.abs(turn).max()):.0f} "
            "degrees: is this another camera's picture?",
        )
    return _measured(task, layout, best, rival)


def _measured(task: _Task, layout: Layout, best: _Pose, rival: float) -> Identified | NotIdentified:
    """Measure every mark of the chosen pose and fit the plan to the measurements."""
    start = best.pose, best.lens
    points, starts = _points(task, best)
    patches = cut_patches(task.grey, *start, points, starts)
    results = {
        p.id: None if c is None else measure(c) for p, c in zip(points, patches, strict=True)
    }
    refused = {
        point.id: _refusal(result, centre)
        for point, centre in zip(points, starts, strict=True)
        if (result := results[point.id]) is not None
    }
    good = [
        (point, result)
        for point in points
        if (result := results[point.id]) is not None and refused[point.id] is None
    ]
    fit = _fit_points(
        task,
        [point for point, _ in good],
        np.array([result.pixel_px for _, result in good]).reshape(-1, 2),
        np.array([result.covariance_px2 for _, result in good]).reshape(-1, 2, 2),
        start,
    )
    if isinstance(fit, NoFit):
        return NotIdentified(camera=task.camera.name, code="too-few-marks", text=fit.text)
    used = {point.id: bool(flag) for (point, _), flag in zip(good, fit.used, strict=True)}
    sightings = _sightings(task, layout, fit, results, refused, used)
    return Identified(
        camera=task.camera.name,
        fit=fit,
        prior=task.prior,
        sightings=sightings,
        blur_px=float(np.median([result.blur_px for _, result in good])),
        expected=sum(s.status in {"used", "rejected", "not-found"} for s in sightings),
        evidence=best.evidence,
        rival=rival,
        share=best.evidence / max(best.expected, 1e-9),
    )


def _points(task: _Task, best: _Pose) -> tuple[list[PlannedMark], Array]:
    """Every point of the marks that were seen, and where to begin measuring it, (n, 2).

    A board's corners begin where the pose puts them, moved with the board as it was seen.
    """
    points: list[PlannedMark] = []
    starts: list[Array] = []
    for index in np.flatnonzero(best.correlation > 0):
        mark = task.marks[index]
        own = points_of(mark)
        middle = best.lens.project(best.pose.transform(mark.centre_m))
        pixels = best.lens.project(best.pose.transform(np.array([p.centre_m for p in own])))
        points += own
        starts += list(pixels + best.found_px[index] - middle)
    return points, np.array(starts).reshape(-1, 2)


def _refusal(result: Measured, found_px: Array) -> str | None:
    """Why a measurement is not to be trusted, or None."""
    if result.explained < LEAST_EXPLAINED or result.contrast < LEAST_CONTRAST:
        return (
            f"what is there does not look like the mark: the drawing explains "
            f"{max(result.explained, 0) * 100:.0f} % of it"
        )
    if np.sqrt(np.linalg.eigvalsh(result.covariance_px2)[-1]) > MOST_SIGMA_PX:
        return "its centre cannot be told to half a pixel"
    if np.hypot(*(result.pixel_px - found_px)) > 3.0:
        return "the fit of the drawing ran away from where the mark was found"
    return None


def _sightings(
    task: _Task,
    layout: Layout,
    fit: PlanFit,
    results: Mapping[str, Measured | None],
    refused: Mapping[str, str | None],
    used: Mapping[str, bool],
) -> tuple[Sighting, ...]:
    """What became of every point of the layout, in order."""
    looked_for = {point.id for mark in task.marks for point in points_of(mark)}
    sightings = []
    for point in layout.points:
        status: Status
        if not drawable(point.shape):
            status, why = "not-found", f"{type(point.shape).__name__} marks are not looked for yet"
        elif point.id not in looked_for:
            status, why = "hidden", "the body is in the way"
        elif point.id in used:
            status = "used" if used[point.id] else "rejected"
            why = "" if used[point.id] else "it does not fit the other marks of this picture"
        elif refusal := refused.get(point.id):
            status, why = "rejected", refusal
        else:
            pixel = fit.lens.project(fit.pose.transform(point.centre_m))
            inside = bool(fit.lens.contains(pixel))
            status = "not-found" if inside else "outside"
            why = "nothing like it where it should be" if inside else "outside the picture"
        sightings.append(
            Sighting(id=point.id, status=status, measured=results.get(point.id), reason=why)
        )
    return tuple(sightings)

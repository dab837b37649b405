"""Which mark is it? From candidates to identified, measured marks of one camera.

The strips repeat, so a pose shifted by one mark explains many candidates almost as well. Several
poses are therefore carried to the end: each is refined, every mark that the body does not hide is
looked for by its drawing, and the poses are compared by evidence found minus evidence missing. Too
close is 'not judged'.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from vision.body import body_hides
from vision.candidates import picture_noise, softened
from vision.geometry import Array, Pose
from vision.identify.poses import (
    LEAST_MARKS,
    CarriedPose,
    Task,
    carried_poses,
    fit_points,
)
from vision.identify.values import Identified, NotIdentified, Sighting, Status
from vision.job import Camera, Job
from vision.layout import BoardCorner, Layout, PlannedMark, points_of
from vision.lens import Lens
from vision.lens_prior import LensPrior
from vision.measure import Measured, d_pixel_d_mark, measure
from vision.pattern import drawable, half_extent
from vision.plan_fit import PlanFit
from vision.solver import NoFit

HALF_SEEN_MARGIN_M = 0.35
"""A mark hidden only by the outer this much of the body's box may well be seen: bodies are rounded
and mountings some centimetres off. It is looked for, and not missed."""
RIVAL_SHARE = 0.7
"""A second pose with more than this share of the best one's evidence makes it 'not judged'."""
LEAST_SHARE = 0.5
"""Evidence over what a picture with every mark in it would give, below which nothing is named. On
practice pictures it is 0.8 and more; another camera's picture of the same lot gives up to 0.45."""
LEAST_EXPLAINED, LEAST_CONTRAST = 0.5, 3.0
NOISE_ALONE, LEAST_EXPLAINED_NOISY, LEAST_CONTRAST_NOISY = 1.4, 0.25, 1.5
"""Where what the drawing leaves is within this much of the picture's own noise, nothing is there
but the mark and noise, and a faint mark is good enough: its covariance says how good."""
EXPLAINED_IN_SHADOW = 0.7
MOST_SIGMA_PX, MOST_MOVE_PX = 1.0, 3.0
MOST_SIGMA_SHARE, MOST_MOVE_SHARE = 0.25, 0.35
"""The same in shares of a mark's shorter extent, or of a board's square: beyond them it may be the
next corner that was fitted."""
FARTHEST_PLACE_M = 0.35
"""A pose this far from the stated mounting, thrice what a mounting may be wrong, is another's."""
FARTHEST_AIM_RAD = float(np.radians(24.0))
DARK_LEVEL = 14.0
FLAT_SPREAD = 3.0


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
        soft=softened(grey, noise),
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
    poses = carried_poses(task)
    return _decided(task, layout, poses)


def _useless(grey: np.ndarray) -> tuple[str, str] | None:
    """Why a picture holds nothing at all, or None."""
    bright, spread = float(np.percentile(grey, 99)), float(np.std(grey))
    if bright < DARK_LEVEL:
        return "dark", f"the picture is dark: 99 % of it is below level {bright:.0f} of 255"
    if spread < FLAT_SPREAD:
        return "blank", "the picture is blank: it is one even level throughout"
    return None


def _decided(task: Task, layout: Layout, poses: list[CarriedPose]) -> Identified | NotIdentified:
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


def _measured(
    task: Task, layout: Layout, best: CarriedPose, rival: float
) -> Identified | NotIdentified:
    """Measure every mark of the chosen pose and fit the plan to the measurements."""
    start = best.pose, best.lens
    points, starts = _points(task, best)
    answers = measure(task.grey, *start, points, starts)
    results = {point.id: answer for point, answer in zip(points, answers, strict=True)}
    sizes = sizes_px(start, points)
    refused = {
        point.id: _refusal(result, centre, size, task.noise)
        for point, centre, size in zip(points, starts, sizes, strict=True)
        if (result := results[point.id]) is not None
    }
    good = [
        (point, result)
        for point in points
        if (result := results[point.id]) is not None and refused[point.id] is None
    ]
    fit = fit_points(
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


def _points(task: Task, best: CarriedPose) -> tuple[list[PlannedMark], Array]:
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


def sizes_px(camera: tuple[Pose, Lens], points: Sequence[PlannedMark]) -> Array:
    """Shorter extent of marks, or of the squares round a board's corner, in the picture (n,)."""
    size_m = [
        point.shape.square_m
        if isinstance(point.shape, BoardCorner)
        else 2 * min(half_extent(point.shape))  # type: ignore[arg-type]
        for point in points
    ]
    jacobians = d_pixel_d_mark(*camera, points)[1]
    smallest = np.full(len(points), np.nan)
    seen = np.isfinite(jacobians).all(axis=(1, 2))
    smallest[seen] = np.linalg.svd(jacobians[seen], compute_uv=False)[:, -1]
    return np.asarray(smallest * np.array(size_m))


def _refusal(result: Measured, found_px: Array, size_px: float, noise: float) -> str | None:
    """Why a measurement is not to be trusted, or None.

    `size_px` as `sizes_px` has it, `noise` the picture's.
    """
    clean = result.noise <= NOISE_ALONE * noise
    contrast = LEAST_CONTRAST_NOISY if clean else LEAST_CONTRAST
    explained = LEAST_EXPLAINED_NOISY if clean else LEAST_EXPLAINED
    if result.shadow and result.explained >= EXPLAINED_IN_SHADOW:
        # The contrast is that of the shadow's one side, on which there may be no ink.
        contrast = -np.inf
    if result.contrast < contrast:
        return f"its ink stands out from its tape by {result.contrast:.1f} times the noise only"
    if result.explained < explained:
        return (
            f"what is there does not look like the mark: the drawing explains "
            f"{max(result.explained, 0) * 100:.0f} % of it"
        )
    sigma_px = float(np.sqrt(np.linalg.eigvalsh(result.covariance_px2)[-1]))
    if sigma_px > min(MOST_SIGMA_PX, MOST_SIGMA_SHARE * size_px):
        return f"its centre cannot be told: {sigma_px:.1f} px where it is {size_px:.0f} px across"
    if np.hypot(*(result.pixel_px - found_px)) > min(MOST_MOVE_PX, MOST_MOVE_SHARE * size_px):
        return "the fit of the drawing ran away from where the mark was found"
    return None


def _sightings(
    task: Task,
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

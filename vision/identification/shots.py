"""Several pictures of one camera: each measured, and combined as far as they show one view.

What differs between pictures averages out: noise, and what JPEG makes of it. The ground's fixed
texture under a mark does not, and is the larger part where there is much of it. Each measurement's
covariance holds both, for both look like noise in one picture. How much of it is the pictures' own
is what their centres scatter among themselves, over what the covariances let expect; only that part
is divided by the number of pictures.

A camera that moved shows in all its marks at once: six numbers, those of `Pose.perturbed`, from the
first picture to each other one. A picture that was taken after it moved is not combined.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment.plan_fit import PlanFit
from vision.camera.lens_prior import LensPrior
from vision.camera.solver import NoFit
from vision.camera.statistics import chi_square_limit
from vision.identification.decision import identify
from vision.identification.even_rows import in_rows, with_row_scale
from vision.identification.identified import Identified, NotIdentified, Sighting
from vision.identification.inputs import IdentificationInput, prepared
from vision.identification.measuring import fit_with_doubts, measured_again
from vision.identification.settings import SETTINGS
from vision.job.job import Camera, Job
from vision.job.layout import Layout
from vision.job.mark_id import MarkId
from vision.marks.measure.mark_fit import Measured
from vision.marks.picture import Picture
from vision.units.arrays import Array, frozen_array
from vision.units.reason import Reason

MOVED = chi_square_limit(1 - 1e-6, 6)
"""Chi-square of a step from which a camera surely moved: once in 250,000 jobs of four pictures."""
APART = chi_square_limit(1 - 1e-4, 2)
"""Likewise of one mark between two pictures: something lies on it, or stood on it, in one."""

Centres = Mapping[MarkId, Measured]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """How far a camera moved from its first picture to another one.

    `step` (6,) as `Pose.perturbed` takes it, `covariance` (6, 6); `shift_px` the root mean square
    over the marks of how far it moves them. `shot` counts the further pictures from 1.
    """

    shot: int
    step: Array
    covariance: Array
    shift_px: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "step", frozen_array(self.step, (6,), "step"))
        object.__setattr__(self, "covariance", frozen_array(self.covariance, (6, 6), "covariance"))

    @property
    def moved(self) -> bool:
        """Whether the camera surely moved, by more than averaging would bear."""
        sure = float(self.step @ np.linalg.solve(self.covariance, self.step)) > MOVED
        return sure and self.shift_px > SETTINGS.least_moved_px

    @property
    def turn_rad(self) -> float:
        """By how much it turned, about whatever axis."""
        return float(np.linalg.norm(self.step[3:]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Combined:
    """A camera's marks from all its pictures.

    `steps` of every further picture that shows the same view; `unlike` counts those that do not.
    `own_share` is how much of a centre's variance the pictures do not share; 1 where one picture
    tells nothing of it.
    """

    outcome: Identified
    steps: tuple[Step, ...] = ()
    unlike: tuple[int, ...] = ()
    own_share: float = 1.0

    @property
    def moved(self) -> tuple[Step, ...]:
        """The steps of pictures that were taken after the camera moved."""
        return tuple(each for each in self.steps if each.moved)


def with_shots(
    job: Job, layout: Layout, camera: Camera, outcome: Identified, picture: Picture
) -> Combined:
    """Measure a camera's further pictures and combine them with its first."""
    prior = outcome.prior
    even = picture.rows == "even"
    if even:
        outcome = with_row_scale(outcome, 0.5, len(picture.grey[::2]))
    greys = [in_rows(prior, each.seen, picture.rows) for each in (picture, *picture.shots)]
    givens = [prepared(job, layout, camera, *each) for each in greys]
    combed = [not even and each.rows == "even" for each in (picture, *picture.shots)]
    first = givens[0]
    if isinstance(first, Reason):
        return Combined(outcome=outcome)
    own = {each.id: each.measured for each in outcome.sightings}
    shots: list[Centres] = [
        {id_: found for id_ in outcome.fit.points.ids if (found := own.get(id_)) is not None}
    ]
    steps, unlike = [], []
    for number, given in enumerate(givens[1:], start=1):
        centres: Centres = {}
        if not isinstance(given, Reason) and not combed[number]:
            centres = _centres(given, outcome, greys[number])
        step = _step(outcome.fit, shots[0], centres, number)
        if step is None:
            unlike.append(number)
            continue
        steps.append(step)
        if not step.moved:
            shots.append(centres)
    results, refused, share = _together(outcome.fit, shots, steps)
    combined = _refitted(first, outcome, results, refused) if len(shots) > 1 else outcome
    if even:
        combined = with_row_scale(combined, 2.0, picture.height)
    return Combined(outcome=combined, steps=tuple(steps), unlike=tuple(unlike), own_share=share)


def _centres(
    given: IdentificationInput, outcome: Identified, seen: tuple[LensPrior, np.ndarray]
) -> Centres:
    """Centres in another picture: from where the first has them, else found anew."""
    results, refused = measured_again(given, outcome.fit)
    good = {i: found for i, found in results.items() if found is not None and i not in refused}
    if len(good) >= SETTINGS.least_again_share * len(outcome.fit.points.ids):
        return good
    anew = identify(given.job, given.layout, given.camera, *seen)
    if isinstance(anew, NotIdentified):
        return {}
    return {
        each.id: each.measured
        for each in anew.sightings
        if each.status == "used" and each.measured is not None
    }


def _step(fit: PlanFit, first: Centres, other: Centres, shot: int) -> Step | None:
    """The camera's step from one picture to another; None where too few marks are in both.

    Huber's weights: somebody may have stepped on a mark in between.
    """
    both = [id_ for id_ in fit.points.ids if id_ in first and id_ in other]
    if len(both) < SETTINGS.least_marks:
        return None
    moves, slopes, roots = _moves(fit, both, first, other)
    weight = np.ones(len(both))
    for _ in range(SETTINGS.huber_rounds):
        rows = (roots @ slopes) * np.sqrt(weight)[:, None, None]
        right = np.einsum("nij,nj->ni", roots, moves) * np.sqrt(weight)[:, None]
        normal = np.einsum("nij,nik->jk", rows, rows) + np.diag(SETTINGS.least_step_weight)
        step = np.linalg.solve(normal, np.einsum("nij,ni->j", rows, right))
        left = np.einsum("nij,nj->ni", roots, moves - slopes @ step)
        length = np.linalg.norm(left, axis=1)
        weight = np.minimum(1.0, SETTINGS.huber_sigmas / np.maximum(length, 1e-9))
    shift = np.linalg.norm(slopes @ step, axis=1)
    return Step(
        shot=shot,
        step=step,
        covariance=np.linalg.inv(normal),
        shift_px=float(np.sqrt(np.mean(shift**2))),
    )


def _moves(
    fit: PlanFit, both: Sequence[MarkId], first: Centres, other: Centres
) -> tuple[Array, Array, Array]:
    """Moves (n, 2) of marks in px, their slopes (n, 2, 6) by a step, and whiteners (n, 2, 2)."""
    row = {id_: index for index, id_ in enumerate(fit.points.ids)}
    planned = fit.points.planned_m[[row[id_] for id_ in both]]
    d_pixel = fit.lens.project_with_derivatives(fit.pose.transform(planned))[1]
    moves = np.array([other[i].pixel_px - first[i].pixel_px for i in both])
    covariance = np.array([first[i].covariance_px2 + other[i].covariance_px2 for i in both])
    roots = np.linalg.inv(np.linalg.cholesky(covariance))
    return moves, d_pixel @ fit.pose.d_point_d_pose(planned), roots


def _together(
    fit: PlanFit, shots: Sequence[Centres], steps: Sequence[Step]
) -> tuple[dict[MarkId, Measured | None], dict[MarkId, Reason], float]:
    """Each mark's mean over the pictures, why some are refused, and the pictures' own share."""
    every = {id_: [shot[id_] for shot in shots if id_ in shot] for shot in shots for id_ in shot}
    share = _own_share(every, parameters=6 * (len(shots) - 1))
    results: dict[MarkId, Measured | None] = {}
    refused: dict[MarkId, Reason] = {}
    for id_, those in every.items():
        kept, apart_px = _agreeing(those, share)
        results[id_] = _mean(kept or those, share)
        if not kept:
            refused[id_] = Reason("shots-disagree", apart_px=apart_px)
    return results, refused, share


def _own_share(every: Mapping[MarkId, Sequence[Measured]], parameters: int) -> float:
    """How much of the centres' variance the pictures do not share, from their scatter.

    Marks whose scatter is far beyond the others' are left to `_agreeing`.
    """
    sums, degrees = [], []
    for those in every.values():
        if len(those) > 1:
            off = np.array([each.pixel_px for each in those])
            off = off - off.mean(axis=0)
            inverse = np.linalg.inv(np.mean([each.covariance_px2 for each in those], axis=0))
            sums.append(float(np.einsum("ni,ij,nj->", off, inverse, off)))
            degrees.append(2 * (len(those) - 1))
    if sum(degrees) <= parameters:
        return 1.0
    ratio = np.array(sums) / np.array(degrees)
    sound = ratio <= APART * max(float(np.median(ratio)), 1e-3)
    freedom = float(np.array(degrees)[sound].sum()) - parameters
    share = float(np.array(sums)[sound].sum()) / max(freedom, 1.0)
    return float(np.clip(share, SETTINGS.least_own_share, 1.0))


def _agreeing(those: Sequence[Measured], share: float) -> tuple[list[Measured], float]:
    """Those that lie where the others do, none where no two do; and how far they lie apart, px."""
    places = np.array([each.pixel_px for each in those])
    middle = np.median(places, axis=0)
    apart_px = float(np.linalg.norm(places - middle, axis=1).max())
    if len(those) == 1:
        return list(those), 0.0
    floor = SETTINGS.least_apart_px**2 * np.eye(2)
    spread = share * np.mean([each.covariance_px2 for each in those], axis=0) + floor
    # Of two, each lies half as far from the middle as from the other.
    limit = APART / 2 if len(those) == 2 else APART
    inverse = np.linalg.inv(spread)
    near = [
        each for each, at in zip(those, places - middle, strict=True) if at @ inverse @ at < limit
    ]
    return (near if 2 * len(near) > len(those) else []), apart_px


def _mean(those: Sequence[Measured], share: float) -> Measured:
    """The mean of several measurements, the part of the variance that is their own divided."""
    covariance = np.mean([each.covariance_px2 for each in those], axis=0)
    return replace(
        those[0],
        pixel_px=np.mean([each.pixel_px for each in those], axis=0),
        covariance_px2=covariance * (1 - share + share / len(those)),
    )


def _refitted(
    given: IdentificationInput,
    outcome: Identified,
    results: dict[MarkId, Measured | None],
    refused: dict[MarkId, Reason],
) -> Identified:
    """The outcome with the combined centres; as it was where no fit can be had of them."""
    fit = fit_with_doubts(given, results, refused, (outcome.fit.pose, outcome.fit.lens))
    if isinstance(fit, NoFit):
        return outcome
    used = dict(zip(fit.points.ids, fit.used, strict=True))

    def seen(old: Sighting) -> Sighting:
        result = results.get(old.id)
        if old.id in used:
            good = bool(used[old.id])
            why = None if good else Reason("misfit")
            return Sighting(
                id=old.id, status="used" if good else "rejected", measured=result, reason=why
            )
        if old.id in refused and old.status in ("used", "rejected"):
            return replace(old, status="rejected", measured=result, reason=refused[old.id])
        return old

    return replace(outcome, fit=fit, sightings=tuple(seen(each) for each in outcome.sightings))

"""Poses carried side by side: searched for in the picture, refined, compared by their odds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import resized
from vision.identification.hypotheses import (
    Cameras,
    Sought,
    coarse_cameras,
    search,
)
from vision.identification.inputs import IdentificationInput
from vision.identification.refining import (
    CarriedPose,
    expected,
    leads_to,
    names_alike,
    one_mark_on,
    refined,
    settled,
)
from vision.identification.settings import SETTINGS
from vision.identification.square_view import square_view
from vision.identification.strays import strays
from vision.marks.candidates import Candidates, find_candidates
from vision.units.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Searched:
    """What the search leaves: cameras with their scores, best first, and what they rest on.

    `points_m` (n, 3) are the marks, `found` the candidates in the picture that `guess` is for,
    whose pixels are square.
    """

    cameras: Cameras
    scores: Array
    points_m: Array
    guess: Lens
    found: tuple[Candidates, ...]

    def candidates_px(self, whole: Lens) -> Array:
        """Candidates of all kinds (n, 2), strongest first, in the picture that `whole` is for."""
        strength = np.concatenate([each.strength for each in self.found])
        pixels = np.concatenate([each.pixels_px for each in self.found])
        scale = np.array([whole.width / self.guess.width, whole.height / self.guess.height])
        return np.asarray((pixels[np.argsort(-strength)] + 0.5) * scale - 0.5)


def searched(
    given: IdentificationInput, scales: tuple[float, ...] = SETTINGS.axis_scales
) -> Searched | None:
    """Search for poses in the picture; None where there are too few marks or candidates."""
    whole = given.prior.guess
    guess, looked_at = square_view(whole, given.picture.looked_at)
    half_field = _half_field(guess)
    kinds = [(mark.shape.filter_name, mark.ink) for mark in given.marks]
    looks = sorted(set(kinds))
    f_px = 0.5 * guess.width / half_field
    widest_px = _widest_line_px(given, f_px)
    found = find_candidates(looked_at, looks, widest_px, noise=given.picture.noise)
    weight = expected(given, given.camera.position_m, f_px)
    points = given.centres_m
    worth = weight > 0
    if (
        sum(len(each.strength) for each in found) < SETTINGS.least_marks
        or worth.sum() < SETTINGS.least_marks
    ):
        return None
    cameras, scores = search(
        coarse_cameras(given.camera.aim, given.camera.position_m, guess, half_field, scales),
        Sought(
            points_m=points[worth],
            weight=weight[worth],
            kind=np.array([looks.index(kind) for kind in kinds])[worth],
            found=found,
        ),
        (guess.width, guess.height),
    )
    return Searched(
        cameras=cameras, scores=scores, points_m=points[worth], guess=guess, found=found
    )


def carried_poses(given: IdentificationInput) -> list[CarriedPose]:
    """The poses that stand up to a look for each drawn mark, best first; no two name them alike."""
    found = searched(given)
    if found is None:
        return []
    carried: list[CarriedPose] = []
    for count, index in enumerate(_distinct(found.cameras, found.scores, found.points_m)):
        enough = any(pose.tells_enough for pose in carried)
        if enough and count >= SETTINGS.carried:
            break
        start = _start(found.cameras, index, found.guess, given.prior.guess)
        if any(leads_to(given, start, pose) for pose in carried):
            continue
        told = [pose.seen for pose in carried if pose.tells_enough]
        pose = refined(given, *start, least_seen=SETTINGS.least_seen_share * max(told, default=0))
        if pose is not None:
            carried.append(pose)
    carried.sort(key=lambda pose: -pose.nats)
    if all(not pose.tells_enough for pose in carried):
        most = SETTINGS.most_settled
        carried = [*(settled(given, pose) for pose in carried[:most]), *carried[most:]]
    every = _with_rivals(given, carried)
    return _less_strays(given, every, found.candidates_px(given.prior.guess))


def _less_strays(
    given: IdentificationInput, poses: Sequence[CarriedPose], candidates_px: Array
) -> list[CarriedPose]:
    """The poses, the best of which answers for the marks that it leaves over; best first."""
    tuned = SETTINGS.odds
    told, answered = sorted(poses, key=lambda pose: -pose.nats), 0
    best: CarriedPose | None = None
    while told and told[0] is not best and answered < tuned.answering:
        count = strays(given, told[0].pose, told[0].lens, candidates_px)
        best = replace(told[0], nats=told[0].nats - tuned.stray_nats * count)
        told[0], answered = best, answered + 1
        told.sort(key=lambda pose: -pose.nats)
    return told


def _with_rivals(given: IdentificationInput, carried: list[CarriedPose]) -> list[CarriedPose]:
    """The poses and those that name the best one's marks otherwise, best first, none twice."""
    if not carried:
        return []
    best = max(carried, key=lambda pose: pose.nats)
    every = [*carried, *one_mark_on(given, best)]
    kept: list[CarriedPose] = []
    for pose in sorted(every, key=lambda pose: -pose.nats):
        if not any(names_alike(pose, other) for other in kept):
            kept.append(pose)
    return kept


def _widest_line_px(given: IdentificationInput, f_px: float) -> float:
    """How wide the nearest line of a cross, or square of a board, may be in the picture, px."""
    widest = 0.0
    for mark, clear in zip(given.marks, given.clear, strict=True):
        if clear:
            range_m = float(np.linalg.norm(mark.centre_m - given.camera.position_m))
            widest = max(widest, mark.shape.stroke_m * f_px / range_m)
    return widest


def _half_field(guess: Lens) -> float:
    """Half the angle between the rays through the picture's left and right edges."""
    edges = guess.unproject(
        np.array([[-0.5, guess.cy], [guess.width - 0.5, guess.cy]], dtype=np.float64)
    )
    angles = np.arctan2(np.abs(edges[:, 0]), edges[:, 2])
    return float(np.nanmean(angles)) if np.isfinite(angles).any() else guess.monotone_limit_rad


def _distinct(cameras: Cameras, scores: Array, points_m: Array) -> Iterator[int]:
    """Indices of the best poses that differ from each other, best first."""
    pixels, _ = cameras.project(points_m)
    kept: list[int] = []
    for index in range(len(scores)):
        apart = [
            np.percentile(
                np.linalg.norm(pixels[index] - pixels[k], axis=1), SETTINGS.distinct_percent
            )
            for k in kept
        ]
        if all(gap > SETTINGS.distinct_px for gap in apart):
            kept.append(index)
            yield index
        if len(kept) == SETTINGS.most_carried:
            break


def _start(cameras: Cameras, index: int, guess: Lens, whole: Lens) -> tuple[Pose, Lens]:
    """The full pose and lens of one coarse camera, in the picture that `whole` is a guess for."""
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
    return Pose.at(cameras.place_m[index], u @ vt), resized(lens, whole.width, whole.height)

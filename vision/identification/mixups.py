"""Pictures that were mixed up: the same one twice, two swapped, mirrored or upside down.

A mix-up is looked for only where a camera gives cause: it was not identified, it fits better
elsewhere than where it is mounted, or marks with a handedness agree less than they should. Layouts
are near symmetric, so that a mixed-up picture may fit as well as the right one; then nothing here
can tell, and nothing is said.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from itertools import combinations

import numpy as np

from vision.identification.identified import Identified, NotIdentified
from vision.identification.settings import SETTINGS
from vision.job.job import Camera, Job
from vision.marks.picture import Picture
from vision.units.reason import Reason

Outcome = Identified | NotIdentified
Look = Callable[[Camera, np.ndarray], Outcome]
"""Identify a camera's marks in a grey picture."""

NOTHING_TO_SEE = frozenset({"dark", "blank", "same-picture", "rests-on-entry", "straightened"})
NAMED = frozenset({"swapped", "other-camera"})


_View = tuple[np.ndarray, Reason]
"""One way of reading a camera's picture, and what it would mean for the job."""


def without_mixups(
    job: Job, pictures: Mapping[str, Picture], outcomes: Mapping[str, Outcome], look: Look
) -> dict[str, Outcome]:
    """Replace the outcome of every mixed-up camera by a NotIdentified that names the mix-up."""
    found = _without_repeats(job, pictures, outcomes)
    suspects = [
        camera
        for camera in job.cameras
        if _is_misplaced(camera, found[camera.name]) or _is_poor(found[camera.name])
    ]
    for first, second in combinations(suspects, 2):
        if _are_swapped(first, second, pictures, found, look):
            found[first.name] = _swapped(first, second, pictures)
            found[second.name] = _swapped(second, first, pictures)
    for camera in suspects:
        if _looks_foreign(found[camera.name]):
            whose = _whose(job, camera, pictures[camera.name], found[camera.name], look)
            found[camera.name] = whose or found[camera.name]
    for camera in job.cameras:
        own = found[camera.name]
        if isinstance(own, NotIdentified) and own.code in {*NOTHING_TO_SEE, *NAMED}:
            continue
        if not (_is_misplaced(camera, own) or _is_poor(own)):
            continue
        mirrored, upside_down = _other_views(camera, pictures[camera.name])
        # No mark is ever named in a picture that stands on its head.
        views = [mirrored, upside_down] if isinstance(own, NotIdentified) else [mirrored]
        for grey, reason in views:
            other = look(camera, grey)
            if isinstance(other, Identified) and _better([(camera, other)], [(camera, own)]):
                found[camera.name] = NotIdentified(camera=camera.name, reason=reason)
                break
    return found


def without_mirrors(
    pictures: Mapping[str, Picture],
    outcomes: Mapping[str, Outcome],
    suspects: Sequence[Camera],
    look: Look,
    cost: Callable[[Mapping[str, Outcome]], float],
) -> dict[str, Outcome]:
    """Name the camera whose picture, turned over, fits all the other cameras clearly better.

    Crosses have no handedness, so one picture alone may fit either way round; its neighbours and
    the mountings then decide. `cost` is what the joint adjustment of some outcomes leaves over.
    """
    least = cost(outcomes) - SETTINGS.least_joint_gain
    named: NotIdentified | None = None
    for camera in suspects:
        grey, reason = _other_views(camera, pictures[camera.name])[0]
        other = look(camera, grey)
        if isinstance(other, Identified):
            turned = cost({**outcomes, camera.name: other})
            if turned < least:
                least = turned
                named = NotIdentified(camera=camera.name, reason=reason)
    return {**outcomes, named.camera: named} if named else dict(outcomes)


def _is_poor(outcome: Outcome) -> bool:
    """Whether much of what the marks say speaks against a naming."""
    return isinstance(outcome, Identified) and outcome.contradicted > SETTINGS.poor_contradicted


def _is_misplaced(camera: Camera, outcome: Outcome) -> bool:
    if isinstance(outcome, NotIdentified):
        return outcome.code not in NOTHING_TO_SEE
    away = outcome.fit.pose.camera_in_ground_m - camera.position_m
    return bool(np.linalg.norm(away) > SETTINGS.suspect_place_m)


def _misfit(camera: Camera, outcome: Identified) -> float:
    """Sum of squares of the plan fit, and of its place against the mounting as stated."""
    away = outcome.fit.pose.camera_in_ground_m - camera.position_m
    variance = camera.position_sigma_m**2 + np.diag(outcome.fit.covariance)[:3]
    return outcome.fit.chi2 + min(float((away**2 / variance).sum()), SETTINGS.most_place_misfit)


def _explained(camera: Camera, outcome: Outcome) -> float:
    """How much a reading of a picture explains, in nats: marks named, and how well they fit."""
    marks = SETTINGS.odds.lead_worth * outcome.nats
    return marks - 0.5 * _misfit(camera, outcome) if isinstance(outcome, Identified) else marks


def _better(
    others: Sequence[tuple[Camera, Identified]], own: Sequence[tuple[Camera, Outcome]]
) -> bool:
    """Whether another reading of the pictures explains clearly more than the job's own."""
    gain = sum(_explained(*each) for each in others) - sum(_explained(*each) for each in own)
    return gain > math.log(10) * (SETTINGS.odds.least_log10_odds + SETTINGS.odds.as_stated)


def _are_swapped(
    first: Camera,
    second: Camera,
    pictures: Mapping[str, Picture],
    outcomes: Mapping[str, Outcome],
    look: Look,
) -> bool:
    if pictures[first.name].grey.shape != pictures[second.name].grey.shape:
        return False
    crossed = [
        (first, look(first, pictures[second.name].seen)),
        (second, look(second, pictures[first.name].seen)),
    ]
    known = [(camera, out) for camera, out in crossed if isinstance(out, Identified)]
    own = [(camera, outcomes[camera.name]) for camera in (first, second)]
    return len(known) == len(crossed) and _better(known, own)


def _looks_foreign(outcome: Outcome) -> bool:
    if isinstance(outcome, NotIdentified):
        return outcome.code not in {*NOTHING_TO_SEE, *NAMED}
    return _is_poor(outcome)


def _whose(
    job: Job, camera: Camera, picture: Picture, own: Outcome, look: Look
) -> NotIdentified | None:
    """Name the cameras whose view a picture is much more like than its own camera's."""
    # On a symmetric layout several may fit alike: then each is named.
    whose = {
        other.name: outcome.nats
        for other in job.cameras
        if other.name != camera.name
        and isinstance(outcome := look(other, picture.seen), Identified)
        and _better([(other, outcome)], [(camera, own)])
    }
    if not whose:
        return None
    # The left camera's picture, mirrored, is much like the right one's: its own reading is better.
    turned = look(camera, _other_views(camera, picture)[0][0])
    if isinstance(turned, Identified) and turned.nats >= max(whose.values()):
        return None
    reason = Reason("other-camera", camera=camera.name, file=picture.file, others=tuple(whose))
    return NotIdentified(camera=camera.name, reason=reason)


def _swapped(camera: Camera, other: Camera, pictures: Mapping[str, Picture]) -> NotIdentified:
    reason = Reason(
        "swapped",
        camera=camera.name,
        other=other.name,
        file=pictures[camera.name].file,
        other_file=pictures[other.name].file,
    )
    return NotIdentified(camera=camera.name, reason=reason)


def _other_views(camera: Camera, picture: Picture) -> tuple[_View, _View]:
    mirrored = Reason("mirrored", camera=camera.name, stated_mirrored=picture.mirrored)
    upside_down = Reason("upside-down", camera=camera.name, roll_rad=_half_turned_rad(camera))
    return (
        (np.ascontiguousarray(picture.seen[:, ::-1]), mirrored),
        (np.ascontiguousarray(picture.seen[::-1, ::-1]), upside_down),
    )


def _half_turned_rad(camera: Camera) -> float:
    roll_rad = camera.aim.roll_rad
    return float(roll_rad - np.pi if roll_rad > 0 else roll_rad + np.pi)


def _part(picture: Picture) -> tuple[str, tuple[int, ...]]:
    """What of which file a picture is: two panes of one screen are two pictures."""
    return picture.sha256, picture.sources[0].crop_px if picture.sources else ()


def _without_repeats(
    job: Job, pictures: Mapping[str, Picture], outcomes: Mapping[str, Outcome]
) -> dict[str, Outcome]:
    """One picture cannot be two cameras' views: only the camera it fits best keeps it."""
    kept = dict(outcomes)

    def misfit(name: str) -> float:
        outcome = outcomes[name]
        return outcome.misfit if isinstance(outcome, Identified) else np.inf

    for part in {_part(picture) for picture in pictures.values()}:
        names = [c.name for c in job.cameras if _part(pictures[c.name]) == part]
        if len(names) < 2:
            continue
        owner = min(names, key=misfit)
        for name in names:
            if name == owner and np.isfinite(misfit(name)):
                continue
            others = tuple(other for other in names if other != name)
            file = pictures[name].file
            reason = Reason("same-picture", camera=name, others=others, file=file)
            kept[name] = NotIdentified(camera=name, reason=reason)
    return kept

"""Marks that a naming leaves over: what looks like one of the layout's where none is planned.

A row of marks at even distances can be laid over another row, and a pose and a lens have so many
unknowns that they can bring nearly any two together. What gives such a naming away is the rest: the
marks of the picture's other rows, which lie where it has none.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.identification.inputs import IdentificationInput
from vision.identification.settings import SETTINGS
from vision.job.body import body_hides
from vision.job.layout import PlannedMark
from vision.job.visibility import d_pixel_d_mark
from vision.marks.measure.matching import match
from vision.units.arrays import Array, Flags

TUNED = SETTINGS.odds


def strays(given: IdentificationInput, pose: Pose, lens: Lens, candidates_px: Array) -> int:
    """How many candidates (n, 2), strongest first, look like marks that a pose has no place for.

    With tape round them, as theirs have. Looked for on the ground of the layout and a little beyond
    it, where the body, which mirrors marks, does not stand in the way.
    """
    drawn = [mark for mark in given.layout.marks if mark.shape.drawn]
    centres = np.array([mark.centre_m for mark in drawn])
    places, seen_px = _on_ground(given, pose, lens, centres, candidates_px)
    if not len(places):
        return 0
    apart = np.linalg.norm(places[:, None, :2] - centres[None, :, :2], axis=-1)
    reach = np.array([TUNED.own_reach * max(mark.shape.half_extent_m) for mark in drawn])
    alone = np.flatnonzero((apart > reach).all(axis=1))[: TUNED.most_strays]
    # Drawn as its nearest planned mark is, along that one's strip and across it.
    nearest = [drawn[i] for i in apart[alone].argmin(axis=1)]
    turned = [
        _moved(mark, places[index], turn)
        for turn in (0.0, np.pi / 2)
        for mark, index in zip(nearest, alone, strict=True)
    ]
    if not turned:
        return 0
    reach_px = SETTINGS.looks[-1][0]
    picture = given.picture
    matches = match(picture.edges, pose, lens, turned, reach_px, covered=picture.covered)
    off_px = np.linalg.norm(matches.found_px - d_pixel_d_mark(pose, lens, turned)[0], axis=1)
    step = np.where([mark.ink == "light" for mark in turned], -matches.step, matches.step)
    with np.errstate(invalid="ignore"):
        like = (matches.correlation > TUNED.stray_correlation) & (off_px < TUNED.stray_off_px)
        like &= step > TUNED.tape_step
    return _apart(seen_px[alone], like.reshape(2, -1).any(axis=0))


def _on_ground(
    given: IdentificationInput, pose: Pose, lens: Lens, centres: Array, candidates_px: Array
) -> tuple[Array, Array]:
    """Where candidates lie on the ground (k, 3), and in the picture (k, 2), near the layout."""
    rays, place = lens.unproject(candidates_px) @ pose.R, pose.camera_in_ground_m
    with np.errstate(invalid="ignore", divide="ignore"):
        places = place + np.where(rays[:, 2:] < 0, -place[2] / rays[:, 2:], np.nan) * rays
        low, high = centres[:, :2].min(axis=0), centres[:, :2].max(axis=0)
        near = (places[:, :2] > low - TUNED.round_layout_m).all(axis=1)
        near &= (places[:, :2] < high + TUNED.round_layout_m).all(axis=1)
    places[:, 2] = 0.0
    near = np.flatnonzero(near)
    near = near[~body_hides(given.job.vehicle, place, places[near], margin_m=0.0)]
    return places[near], candidates_px[near]


def _moved(mark: PlannedMark, place_m: Array, turn_rad: float) -> PlannedMark:
    centre_m = np.array([*place_m[:2], mark.centre_m[2]])
    return replace(mark, centre_m=centre_m, heading_rad=mark.heading_rad + turn_rad)


def _apart(seen_px: Array, like: Flags) -> int:
    """How many of the places (n, 2) that are like a mark are not one and the same."""
    kept: list[Array] = []
    for place in seen_px[like]:
        if all(np.linalg.norm(place - other) > SETTINGS.distinct_px for other in kept):
            kept.append(place)
    return len(kept)

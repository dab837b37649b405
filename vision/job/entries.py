"""Which single entries of a job may have been mistyped, and what the job would be without the slip.

A sign, a side, a unit, a count: each way of correcting one entry is an `Edit`, a whole job of its
own. Which of them the pictures speak for is looked at in `vision.inspection.suspects`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from vision.camera.stated_lens import StatedLens
from vision.job.body import inside_m
from vision.job.job import Camera, Job, Strip
from vision.job.plausible import can_be
from vision.job.settings import SETTINGS
from vision.units.arrays import Array
from vision.units.lengths import UNITS
from vision.units.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edit:
    """A job with one entry other than it is stated.

    `entry` names the key, and what is stated and what would be meant; `turned_over` is whether the
    picture of the camera that is named reads the other way round; `rare` how many slips at once it
    takes beyond the first.
    """

    entry: Reason
    job: Job
    turned_over: bool = False
    rare: int = 0

    @property
    def key(self) -> str:
        """The key as the job file has it."""
        return str(self.entry.arguments["key"])


def camera_edits(job: Job, camera: Camera) -> Iterator[Edit]:
    """What may be wrong of one camera: place, pan, mirroring."""
    for place in _places(job, camera):
        yield Edit(
            entry=_lengths(f"camera.{camera.name}.position", camera.position_m, place),
            job=_with_camera(job, replace(camera, position_m=place)),
        )
    for turn_deg in (180, 90, -90):
        pan = float(np.angle(np.exp(1j * (camera.aim.pan_rad + math.radians(turn_deg)))))
        turned = replace(camera, aim=replace(camera.aim, pan_rad=pan))
        if can_be(job.vehicle, turned):
            key = f"camera.{camera.name}.pan_deg"
            said = Reason("entry-angle", key=key, stated_rad=camera.aim.pan_rad, meant_rad=pan)
            yield Edit(entry=said, job=_with_camera(job, turned))
    key = f"camera.{camera.name}.mirrored"
    yield Edit(
        entry=Reason("entry-flag", key=key, meant=not camera.mirrored), job=job, turned_over=True
    )


def lens_edits(job: Job, lens: StatedLens) -> Iterator[Edit]:
    """Other fields of view, near enough to each other that a search finds the right one between."""
    stated = lens.field_of_view_rad
    if stated is None:
        return
    for meant_deg in SETTINGS.tried_fields_deg:
        meant = math.radians(meant_deg)
        if abs(math.log(meant / stated)) < SETTINGS.least_field_change:
            continue
        other = replace(lens, field_of_view_rad=meant)
        key = f"lens.{lens.name}.field_of_view_deg"
        yield Edit(
            entry=Reason("entry-angle", key=key, stated_rad=stated, meant_rad=meant),
            job=replace(job, lenses=tuple(other if each is lens else each for each in job.lenses)),
        )


def strip_edits(job: Job, strip: Strip) -> Iterator[Edit]:
    """What may be wrong of one strip: its side, unit, count, spacing, a pitch, its ends."""
    key = f"strip.{strip.name}"
    for axis in (0, 1):
        sign = np.where(np.arange(2) == axis, -1.0, 1.0)
        if min(abs(strip.from_m[axis]), abs(strip.to_m[axis])) > SETTINGS.same_mounting_m / 2:
            yield from _moved(job, strip, strip.from_m * sign, strip.to_m * sign)
    for factor in _FACTORS:
        yield from _moved(job, strip, strip.from_m * factor, strip.to_m * factor)
    along_m = strip.along * float(np.median(np.diff(strip.at_m)))
    for step in (along_m, -along_m):
        yield from _moved(job, strip, strip.from_m + step, strip.to_m + step, rare=1)
    count, steps = len(strip.at_m), np.diff(strip.at_m)
    if np.allclose(steps, steps[0], atol=1e-3):
        for meant in (count - 1, count + 1):
            if meant > 1:
                at = np.linspace(0, strip.length_m, meant)
                said = Reason("entry-count", key=f"{key}.count", stated=count, meant=meant)
                yield Edit(entry=said, job=_with_strip(job, replace(strip, at_m=at)))
        yield from _spaced(job, strip, float(steps[0]))
    back = strip.length_m - strip.at_m[::-1]
    if not np.allclose(back, strip.at_m, atol=SETTINGS.strip_agreement_m):
        other = replace(strip, from_m=strip.to_m, to_m=strip.from_m)
        said = Reason("entry-exchanged", key=f"{key}.from", other=f"{key}.to")
        yield Edit(entry=said, job=_with_strip(job, other))


def exchanged_strips(job: Job) -> Iterator[Edit]:
    """Two strips whose places were exchanged, where that makes another layout."""
    for index, first in enumerate(job.strips):
        for second in job.strips[index + 1 :]:
            alike = len(first.at_m) == len(second.at_m) and np.allclose(first.at_m, second.at_m)
            if (alike and first.shape == second.shape) or abs(first.along @ second.along) < 0.9:
                continue
            places = {
                first.name: replace(first, from_m=second.from_m, to_m=second.to_m),
                second.name: replace(second, from_m=first.from_m, to_m=first.to_m),
            }
            said = Reason(
                "entry-exchanged", key=f"strip.{first.name}.from", other=f"strip.{second.name}.from"
            )
            strips = tuple(places.get(each.name, each) for each in job.strips)
            yield Edit(entry=said, job=replace(job, strips=strips))


_FACTORS = tuple(
    float(meant / typed)
    for typed, meant in (
        (UNITS["m"], UNITS["ft"]),
        (UNITS["ft"], UNITS["m"]),
        (UNITS["cm"], UNITS["in"]),
        (UNITS["in"], UNITS["cm"]),
    )
)
"""Slips of the unit that leave a length one that can be; tenfold ones and more do not."""


def _places(job: Job, camera: Camera) -> Iterator[Array]:
    """Other places on the body that a slip makes of a camera's."""
    place = camera.position_m
    ways = [place * np.where(np.arange(3) == axis, -1.0, 1.0) for axis in (0, 1)]
    ways.append(place[[1, 0, 2]])
    for factor in _FACTORS:
        ways.append(place * factor)
        ways += [place * np.where(np.arange(3) == axis, factor, 1.0) for axis in range(3)]
    ways += [place + step * np.eye(3)[2] for step in (-1.0, 1.0)]
    low, high = SETTINGS.usual_m["height"]
    for way in ways:
        far = np.linalg.norm(way - place) > SETTINGS.least_place_change_m
        near = abs(inside_m(job.vehicle, way)) < SETTINGS.near_body_m
        if (
            far
            and near
            and low / 3 < way[2] < high
            and can_be(job.vehicle, replace(camera, position_m=way))
        ):
            yield way


def _moved(job: Job, strip: Strip, from_m: Array, to_m: Array, *, rare: int = 0) -> Iterator[Edit]:
    """The strip at other ends, its marks spaced as they then have to be."""
    length_m = float(np.linalg.norm(to_m - from_m))
    other = replace(strip, from_m=from_m, to_m=to_m, at_m=strip.at_m * (length_m / strip.length_m))
    key = f"strip.{strip.name}.from"
    said = _lengths(key, strip.from_m, from_m)
    yield Edit(entry=said, job=_with_strip(job, other), rare=rare)


def _spaced(job: Job, strip: Strip, pitch_m: float) -> Iterator[Edit]:
    """Another usual pitch, counted from either end."""
    steps = len(strip.at_m) - 1
    for meant_m in SETTINGS.usual_pitches_m:
        if not 0.02 < abs(math.log(meant_m / pitch_m)) < math.log(SETTINGS.most_pitch_change):
            continue
        reach = steps * meant_m * strip.along
        at = np.linspace(0.0, steps * meant_m, steps + 1)
        to = replace(strip, to_m=strip.from_m + reach, at_m=at)
        start = replace(strip, from_m=strip.to_m - reach, at_m=at)
        for key, other, stated, meant in (
            ("to", to, strip.to_m, to.to_m),
            ("from", start, strip.from_m, start.from_m),
        ):
            said = _lengths(f"strip.{strip.name}.{key}", stated, meant)
            yield Edit(entry=said, job=_with_strip(job, other), rare=1)


def _lengths(key: str, stated_m: Array, meant_m: Array) -> Reason:
    """A place that would be another; both as they are typed, in m."""
    return Reason(
        "entry-place",
        key=key,
        stated_m=tuple(float(each) for each in stated_m),
        meant_m=tuple(float(each) for each in meant_m),
    )


def _with_camera(job: Job, camera: Camera) -> Job:
    cameras = tuple(camera if each.name == camera.name else each for each in job.cameras)
    return replace(job, cameras=cameras)


def _with_strip(job: Job, strip: Strip) -> Job:
    return replace(
        job, strips=tuple(strip if each.name == strip.name else each for each in job.strips)
    )

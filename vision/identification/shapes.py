"""The shape of pixels where nobody says it and the picture's size leaves it open.

All pictures of one size come from one recorder and share it. Each possible shape is tried on one
camera after the other, until one has led to enough more of the marks. The two readings of a
standard are 2 % apart, which hardly a picture tells alone: there the joint adjustment decides.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.camera.lens_prior import lens_prior
from vision.camera.pixel_shape import NAMED, PixelShape, either_of, possible_shapes
from vision.identification.even_rows import in_rows
from vision.identification.identified import Identified, NotIdentified
from vision.identification.inputs import prepared
from vision.identification.odds import log10_odds
from vision.identification.poses import carried_poses
from vision.identification.settings import SETTINGS
from vision.job.job import Camera, Job
from vision.job.layout import Layout
from vision.marks.picture import Picture
from vision.units.arrays import Array
from vision.units.reason import Reason

Outcome = Identified | NotIdentified
Pictures = Mapping[str, Picture]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShapeChoice:
    """What was chosen for the `cameras` of one recorder, whose pictures have one size in px.

    `readings` are what the chosen standard may mean; `log10_odds` by what odds it leads the next
    shape.
    """

    cameras: tuple[Camera, ...]
    size: tuple[int, int]
    readings: tuple[PixelShape, ...]
    log10_odds: float

    @property
    def shape(self) -> PixelShape:
        """What holds for all readings."""
        return either_of(self.readings)

    @property
    def open(self) -> bool:
        """Whether another shape explains the pictures about as well."""
        return self.log10_odds < SETTINGS.least_shape_log10_odds

    @property
    def reason(self) -> Reason:
        """The choice, to be said."""
        lenses = tuple(dict.fromkeys(camera.lens for camera in self.cameras))
        (width, height), shape = self.size, self.shape
        if self.open:
            return Reason("pixel-shape-open", lenses=lenses, width=width, height=height)
        return Reason(
            "pixel-shape",
            lenses=lenses,
            width=width,
            height=height,
            aspect=shape.aspect,
            sigma=shape.sigma * shape.aspect,
            name=next(name for name, each in NAMED.items() if each == shape),
        )

    def in_job(self, job: Job) -> Job:
        """The job with lenses that say this shape."""
        names = {camera.lens for camera in self.cameras}
        lenses = (
            replace(lens, pixels=self.shape) if lens.name in names else lens for lens in job.lenses
        )
        return replace(job, lenses=tuple(lenses))

    def in_outcomes(self, job: Job, outcomes: Mapping[str, Outcome]) -> dict[str, Outcome]:
        """The outcomes with priors that say this shape; not identified where it is open."""
        held, stated = dict(outcomes), self.in_job(job)
        for camera in self.cameras:
            outcome = outcomes[camera.name]
            if isinstance(outcome, NotIdentified):
                continue
            if self.open:
                held[camera.name] = NotIdentified(camera=camera.name, reason=self.reason)
            else:
                prior = lens_prior(stated.lens_of(camera), *self.size)
                held[camera.name] = replace(outcome, prior=prior)
        return held


def choose_shapes(job: Job, layout: Layout, pictures: Pictures) -> tuple[ShapeChoice, ...]:
    """Choose the shape of pixels for every lens that needs one; for most jobs none does."""
    choices = []
    for size in dict.fromkeys(_size(pictures[camera.name]) for camera in job.cameras):
        shapes = possible_shapes(*size)
        cameras = tuple(each for each in job.cameras if _is_open(job, each, pictures, size))
        if len(shapes) < 2 or not cameras:
            continue
        tried = [
            ShapeChoice(cameras=cameras, size=size, readings=e, log10_odds=0.0) for e in shapes
        ]
        nats = _nats(job, layout, pictures, tried)
        second, first = (int(index) for index in np.argsort(nats)[-2:])
        # Where hardly a mark fits with any shape, something else is wrong, and is said elsewhere.
        if log10_odds(nats[first], []) >= SETTINGS.odds.least_log10_odds:
            lead = log10_odds(nats[first], [nats[second]])
            choices.append(replace(tried[first], log10_odds=lead))
    return tuple(choices)


def read_shapes(
    job: Job,
    choices: Sequence[ShapeChoice],
    outcomes: Mapping[str, Outcome],
    cost: Callable[[Mapping[str, Outcome]], float],
) -> tuple[ShapeChoice, ...]:
    """The choices with the one reading of a standard that fits all cameras clearly better.

    `cost` is what the joint adjustment of some outcomes leaves over, as a chi-square. Where the
    readings fit about alike both stay.
    """
    read = []
    for choice in choices:
        if len(choice.readings) > 1 and not choice.open:
            narrow = [replace(choice, readings=(each,)) for each in choice.readings]
            left = [cost(each.in_outcomes(job, outcomes)) for each in narrow]
            first, second = np.argsort(left)[:2]
            if left[second] - left[first] > 2 * math.log(SETTINGS.reading_odds):
                choice = narrow[int(first)]
        read.append(choice)
    return tuple(read)


def _size(picture: Picture) -> tuple[int, int]:
    return picture.width, picture.height


def _is_open(job: Job, camera: Camera, pictures: Pictures, size: tuple[int, int]) -> bool:
    """Whether a camera's lens has a shape to be chosen: it says none, and has one size only."""
    lens = job.lens_of(camera)
    sizes = {_size(pictures[each.name]) for each in job.cameras if each.lens == camera.lens}
    return lens.fitted is None and lens.pixels is None and sizes == {size}


def _nats(job: Job, layout: Layout, pictures: Pictures, tried: Sequence[ShapeChoice]) -> Array:
    """What the marks add up to under each shape, over as many cameras as it takes."""
    total = np.zeros(len(tried))
    for camera in tried[0].cameras:
        picture = pictures[camera.name]
        for index, choice in enumerate(tried):
            prior = lens_prior(choice.in_job(job).lens_of(camera), *choice.size)
            given = prepared(job, layout, camera, *in_rows(prior, picture.seen, picture.rows))
            poses = [] if isinstance(given, Reason) else carried_poses(given)
            total[index] += max((pose.nats for pose in poses), default=0.0)
        second, first = np.sort(total)[-2:]
        if log10_odds(first, [second]) > SETTINGS.odds.least_log10_odds:
            break
    return total

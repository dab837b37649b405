"""Light, ground and life of a yard, as the conditions under which marks are to be found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.accuracy.lived_in import lived_in
from vision.camera.pixel_shape import NAMED, PixelShape
from vision.job.job import Job
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.practice.deviations import Damage, Deviations, Ground, Light, Moved, Person

Asked = Callable[[Job, np.random.Generator], Deviations]


def _sun(rng: np.random.Generator) -> dict[str, float]:
    return {
        "sun_elevation_rad": float(np.radians(rng.uniform(14, 32))),
        "sun_azimuth_rad": float(rng.uniform(0, 2 * np.pi)),
    }


def _damaged(job: Job, rng: np.random.Generator) -> dict[MarkId, Damage]:
    """Something on or wrong with every fourth mark."""
    kinds = [Damage(leaves=3), Damage(torn=0.4), Damage(smeared=0.8), Damage(covered=0.5)]
    ids = planned_layout(job).ids
    return {mark: kinds[int(rng.integers(4))] for mark in ids if rng.uniform() < 0.25}


def _people(job: Job, rng: np.random.Generator) -> tuple[Person, ...]:
    """One on each of the near strips."""
    people = []
    for strip in job.strips[:4]:
        place = strip.from_m + rng.uniform(0.2, 0.8) * (strip.to_m - strip.from_m)
        at = (float(place[0]), float(place[1]))
        turn = float(rng.uniform(0, 6))
        people.append(Person(name=f"on {strip.name}", at_m=at, facing_rad=turn))
    return tuple(people)


def _things(share: float) -> Asked:
    """Things and people that hide this share of the marks that would be seen."""

    def asked(job: Job, rng: np.random.Generator) -> Deviations:
        covers, people = lived_in(job, share, rng)
        return Deviations(covers=covers, people=people)

    return asked


def _dusk(noise: float) -> Asked:
    """Lamps on the mains, and a recorder that sets odd rows aside by half a pixel to one."""

    def asked(job: Job, rng: np.random.Generator) -> Deviations:
        cameras = {
            camera.name: Moved(row_shift_px=float(rng.choice([0.0, 0.5, 1.0])))
            for camera in job.cameras
        }
        light = Light(level=0.35, noise=noise, bands=float(rng.uniform(2, 5)))
        return Deviations(light=light, cameras=cameras)

    return asked


def _shaped(name: str, shape: PixelShape) -> Asked:
    """A recorder's pictures: standard definition, its pixels not square, and nobody says so."""
    height = 480 if name.startswith("525") else 576
    return lambda job, rng: Deviations(width=720, height=height, pixel_aspect=shape.aspect)


def _combed(asked: Asked) -> Asked:
    """The same from a recorder whose odd rows are 20 ms late, while the vehicle rolls or stands."""

    def combed(job: Job, rng: np.random.Generator) -> Deviations:
        ahead_m = float(rng.uniform(0.01, 0.05) * rng.choice([-1, 1]))
        moved = Moved(comb_m=np.array([ahead_m, 0.0, 0.0]))
        return replace(asked(job, rng), cameras={each.name: moved for each in job.cameras})

    return combed


def _wavy(job: Job, rng: np.random.Generator) -> dict[str, Moved]:
    return {
        strip.name: Moved(bow_m=float(rng.uniform(-0.03, 0.03)), wrinkles_m=0.004)
        for strip in job.strips
    }


CONDITIONS: dict[str, Asked] = {
    "plain": lambda job, rng: Deviations(),
    "low_sun": lambda job, rng: Deviations(light=Light(**_sun(rng))),
    "wet": lambda job, rng: Deviations(ground=Ground(wet=1, gloss=1)),
    "wet_sun": lambda job, rng: Deviations(
        ground=Ground(wet=1, gloss=1),
        light=Light(**_sun(rng)),
    ),
    "mirrors": lambda job, rng: Deviations(ground=Ground(gloss=1)),
    "dusk": lambda job, rng: Deviations(light=Light(level=0.35, noise=10)),
    "noise": lambda job, rng: Deviations(light=Light(noise=10)),
    "blur": lambda job, rng: Deviations(light=Light(blur_px=2)),
    "jpeg": lambda job, rng: Deviations(light=Light(jpeg_quality=50)),
    "small": lambda job, rng: Deviations(width=720, height=480),
    "wrinkled": lambda job, rng: Deviations(strips=_wavy(job, rng)),
    "damaged": lambda job, rng: Deviations(
        damages=_damaged(job, rng),
        ground=Ground(leaves=60),
    ),
    "paint": lambda job, rng: Deviations(ground=Ground(lines=18, cracks=16, covers=8)),
    "people": lambda job, rng: Deviations(people=_people(job, rng)),
    "things 25 %": _things(0.25),
    "things 50 %": _things(0.5),
    "dusk 10": _dusk(10),
    "dusk 15": _dusk(15),
    "dusk 20": _dusk(20),
}
SHAPED = {name: _shaped(name, shape) for name, shape in NAMED.items() if name.endswith("samples")}
CONDITIONS |= SHAPED | {f"{name}, combed": _combed(asked) for name, asked in SHAPED.items()}

"""People and things at random, until they hide a given share of the marks that would be seen."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from vision.camera.geometry import Pose
from vision.job.body import body_hides
from vision.job.job import Job
from vision.job.layout import planned_layout
from vision.practice.boxes import Box, box_entry
from vision.practice.deviations import Cover, Person
from vision.practice.spots import cover_box, person_boxes

SEEN_FROM_M = 7.0
"""A mark farther than this from a camera is too small to count among those that would be seen."""
MOST_THINGS = 60
ORANGE, PALE, DARK = (30.0, 95.0, 220.0), (190.0, 200.0, 205.0), (42.0, 40.0, 38.0)
COLOURS = ((60.0, 90.0, 50.0), (150.0, 90.0, 30.0), (40.0, 40.0, 150.0), PALE, DARK, ORANGE)

Thing = list[Cover] | Person


def lived_in(
    job: Job, share: float, rng: np.random.Generator
) -> tuple[tuple[Cover, ...], tuple[Person, ...]]:
    """Covers and people that hide `share` of all sightings of marks that there would be."""
    centres = np.array([mark.centre_m for mark in planned_layout(job).marks])
    seen = _seen(job, centres)
    clear = [each.copy() for each in seen]
    due = sum(int(each.sum()) for each in seen)
    covers: list[Cover] = []
    people: list[Person] = []
    for index in range(MOST_THINGS):
        if sum(int(each.sum()) for each in clear) <= (1 - share) * due:
            break
        at = centres[rng.integers(len(centres)), :2] + rng.normal(0, 0.15, 2)
        thing = THINGS[int(rng.integers(len(THINGS)))](f"thing {index}", at, rng)
        if isinstance(thing, Person):
            people.append(thing)
            boxes = person_boxes(thing)
        else:
            covers += thing
            boxes = [cover_box(each) for each in thing]
        for camera, flags in zip(job.cameras, clear, strict=True):
            flags &= ~_behind(boxes, camera.position_m, centres)
    return tuple(covers), tuple(people)


def _seen(job: Job, centres: np.ndarray) -> list[np.ndarray]:
    """Per camera which marks (n,) it would see in an empty yard, as it is meant to look."""
    found = []
    for camera in job.cameras:
        pose = Pose.at(camera.position_m, camera.aim.rotation())
        near = np.linalg.norm(centres - camera.position_m, axis=1) < SEEN_FROM_M
        ahead = pose.transform(centres)[:, 2] > 0
        found.append(near & ahead & ~body_hides(job.vehicle, camera.position_m, centres))
    return found


def _behind(boxes: Sequence[Box], eye: np.ndarray, centres: np.ndarray) -> np.ndarray:
    rays = (centres - eye).astype(np.float32)
    hidden = np.zeros(len(centres), dtype=bool)
    for box in boxes:
        hidden |= box_entry(box, eye, rays)[0] < 1
    return hidden


# --------------------------------------------------------------------------------------- things


def _person(name: str, at: np.ndarray, rng: np.random.Generator) -> Thing:
    turn, tall = float(rng.uniform(0, 6)), float(rng.uniform(1.5, 1.9))
    return Person(name=name, at_m=(float(at[0]), float(at[1])), height_m=tall, facing_rad=turn)


def _box(size_m: tuple[float, float, float], most_bands: int) -> Callable[..., Thing]:
    """A box of about this size, some of them banded."""

    def made(name: str, at: np.ndarray, rng: np.random.Generator) -> Thing:
        long, wide, tall = (float(each) for each in np.array(size_m) * rng.uniform(0.7, 1.3, 3))
        cover = _cover(name, at, (long, wide), tall, rng, bands=int(rng.integers(most_bands + 1)))
        return [cover]

    return made


def _cone(name: str, at: np.ndarray, rng: np.random.Generator) -> Thing:
    """Two triangles across each other, on a plate."""
    wide, tall, turn = rng.uniform(0.25, 0.4), rng.uniform(0.45, 0.9), rng.uniform(0, np.pi)
    outline = np.array([[-1, -1], [1, -1], [0.15, 1], [-0.15, 1]])
    cards = [
        _cover(f"{name} {side}", at, (0.01, wide), tall, rng, outline=outline, bands=2,
               colour=ORANGE, turn=turn + side * np.pi / 2)
        for side in (0, 1)
    ]  # fmt: skip
    plate = _cover(f"{name} plate", at, (1.1 * wide, 1.1 * wide), 0.03, rng, colour=DARK, turn=turn)
    return [*cards, plate]


def _tarpaulin(name: str, at: np.ndarray, rng: np.random.Generator) -> Thing:
    """A flat thing of any outline."""
    turns = np.sort(rng.uniform(0, 2 * np.pi, 9))
    reach = rng.uniform(0.5, 1.0, 9)
    outline = np.column_stack([reach * np.cos(turns), reach * np.sin(turns)])
    size = (float(rng.uniform(0.7, 1.6)), float(rng.uniform(0.5, 1.0)))
    return [_cover(name, at, size, 0.02, rng, outline=outline)]


def _hose(name: str, at: np.ndarray, rng: np.random.Generator) -> Thing:
    """A coil: a ring with a hole."""
    wide = float(rng.uniform(0.5, 0.9))
    return [_cover(name, at, (wide, 0.99 * wide), 0.03, rng, outline=_ring((0, 0), (1, 1), 0.55))]


def _bicycle(name: str, at: np.ndarray, rng: np.random.Generator) -> Thing:
    """Two wheels, and a frame between them."""
    wheels = [_ring((side * 0.6, -0.3), (0.38, 0.68), 0.85) for side in (-1, 1)]
    bar = [[-0.6, -0.3], [-0.1, 0.5], [0.5, 0.55], [0.6, 1.0], [0.64, 1.0], [0.0, -0.3]]
    loops = [*wheels, np.array([*bar, bar[0]])]
    # From the end of one loop to the next and back again: what is passed twice is no side.
    back = [loop[-1:] for loop in loops[-2::-1]]
    outline = np.concatenate([*loops, *back])
    tall = float(rng.uniform(0.9, 1.1))
    return [_cover(name, at, (1.7, 0.03), tall, rng, outline=outline)]


def _ring(
    middle: tuple[float, float], reach: tuple[float, float], hole: float, corners: int = 16
) -> np.ndarray:
    """A closed ring (n, 2): once round outside, once round the hole."""
    turns = np.linspace(0, 2 * np.pi, corners + 1)
    circle = np.column_stack([np.cos(turns), np.sin(turns)]) * reach
    return np.concatenate([circle, hole * circle]) + middle


def _cover(
    name: str,
    at: np.ndarray,
    size_m: tuple[float, float],
    tall_m: float,
    rng: np.random.Generator,
    *,
    outline: np.ndarray | None = None,
    bands: int = 0,
    colour: tuple[float, float, float] | None = None,
    turn: float | None = None,
) -> Cover:
    return Cover(
        name=name,
        at_m=(float(at[0]), float(at[1])),
        size_m=size_m,
        height_m=tall_m,
        turn_rad=float(rng.uniform(0, 2 * np.pi)) if turn is None else float(turn),
        outline=outline,
        colour=COLOURS[int(rng.integers(len(COLOURS)))] if colour is None else colour,
        bands=bands,
        mottled=float(rng.uniform(0, 0.6)),
    )


THINGS: tuple[Callable[[str, np.ndarray, np.random.Generator], Thing], ...] = (
    _person,
    _box((0.6, 0.6, 1.05), 2),
    _box((0.5, 0.4, 0.35), 0),
    _box((2.2, 0.12, 0.1), 4),
    _cone,
    _cone,
    _tarpaulin,
    _hose,
    _bicycle,
)

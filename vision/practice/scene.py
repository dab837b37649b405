"""Draws the pictures that a job would give, faults and all, with the truth beside them.

For practice and for tests: what does a check say when a camera is knocked or a strip lies crooked?
A ray is cast through every pixel, many where there is an edge, to the ground, the tapes, the marks
on their trestles and the vehicle's body. The lens is that of `vision.camera.lens`, the checker's
own: a scene says nothing about the lens model. The drawing of marks is not the checker's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from vision.job.job import Job
from vision.marks.picture import Pixels, encoded
from vision.practice.deviations import Deviations
from vision.practice.drawing import draw
from vision.practice.ground_texture import yard
from vision.practice.truth import truth_of
from vision.practice.world import World, true_world
from vision.units.progress import Progress, silent

LOSSLESS = (".png", ".bmp", ".tif", ".tiff")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """A picture (height, width, 3) uint8 per camera as delivered, the truth, and the world."""

    pictures: Mapping[str, Pixels]
    truth: dict[str, Any]
    world: World


def draw_scene(
    job: Job,
    deviations: Deviations,
    seed: int = 0,
    progress: Progress = silent,
) -> Scene:
    """Draw every camera's picture; the same job, deviations and seed give the same pictures."""
    # One stream each, so that one more camera does not change the pictures of the others.
    world_rng, yard_rng, *noise = np.random.default_rng(seed).spawn(2 + len(job.cameras))
    world = true_world(job, deviations, world_rng)
    ground = yard(yard_rng, deviations.ground)
    pictures = {}
    for number, (eye, rng) in enumerate(zip(world.eyes, noise, strict=True), start=1):
        progress(f"drawing picture {number} of {len(world.eyes)}: {eye.camera.name}")
        pictures[eye.camera.name] = draw(world, eye, ground, deviations, rng)
    return Scene(pictures=pictures, truth=truth_of(world, deviations, seed), world=world)


def drawn_file(pixels: Pixels, file: str, jpeg_quality: int) -> bytes:
    """The bytes of a picture file; without loss where the name asks for that, else JPEG."""
    suffix = next((each for each in LOSSLESS if file.lower().endswith(each)), ".jpg")
    return encoded(pixels, suffix, jpeg_quality if suffix == ".jpg" else None)

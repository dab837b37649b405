"""What stands out of a body: bumpers, sills, trim, lamps, plates, mirror arms. Boxes with depth.

A body as a plain box has no edge that is anywhere but in its faces; a camera on it then sees all
edges in one plane. Sizes are from memory of coaches and vans.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from vision.job.job import Vehicle
from vision.practice.boxes import Box

DARK, GREY, LIGHT, RED, AMBER = (
    (42.0, 42.0, 44.0),
    (105.0, 108.0, 110.0),
    (205.0, 206.0, 204.0),
    (48.0, 40.0, 150.0),
    (60.0, 140.0, 215.0),
)
Places = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]


def fittings(vehicle: Vehicle) -> tuple[Box, ...]:
    """The boxes of a body, named `body/...`, in ground coordinates."""
    made = [*_ends(vehicle, 1), *_ends(vehicle, -1), *_sides(vehicle, 1), *_sides(vehicle, -1)]
    return tuple(made)


def _ends(vehicle: Vehicle, way: int) -> Iterator[Box]:
    """Front (`way` 1) or rear (-1)."""
    end, half = vehicle.length_m / 2, vehicle.width_m / 2
    name = "front" if way > 0 else "rear"
    deep = 0.16 if way > 0 else 0.11

    def box(part: str, out: tuple[float, float], y: tuple[float, float],
            z: tuple[float, float], colour: tuple[float, float, float]) -> Box:  # fmt: skip
        x = sorted((way * (end + out[0]), way * (end + out[1])))
        return _box(f"body/{name}/{part}", ((x[0], x[1]), y, z), colour)

    yield box("bumper", (0.0, deep), (-0.93 * half, 0.93 * half), (0.36, 0.62), DARK)
    yield box("lip", (0.0, deep + 0.03), (-0.7 * half, 0.7 * half), (0.36, 0.41), GREY)
    yield box("plate", (deep, deep + 0.01), (-0.26, 0.26), (0.44, 0.56), LIGHT)
    yield box("trim", (0.0, 0.025), (-0.96 * half, 0.96 * half), (0.98, 1.02), DARK)
    for side in (1, -1):
        y = sorted((side * 0.6 * half, side * 0.84 * half))
        colour = LIGHT if way > 0 else RED
        yield box(f"lamp{side}", (0.0, 0.06), (y[0], y[1]), (0.7, 0.9), colour)
        y = sorted((side * 0.86 * half, side * 0.93 * half))
        yield box(f"corner{side}", (0.0, 0.05), (y[0], y[1]), (0.7, 0.9), AMBER)
        y = sorted((side * 0.30 * half, side * 0.34 * half))
        yield box(f"rib{side}", (0.0, 0.02), (y[0], y[1]), (1.02, 1.5), GREY)
    if way < 0:
        yield box("handle", (0.0, 0.05), (-0.09, 0.09), (1.1, 1.16), DARK)


def _sides(vehicle: Vehicle, way: int) -> Iterator[Box]:
    """Left (`way` 1) or right (-1)."""
    end, half = vehicle.length_m / 2, vehicle.width_m / 2
    name = "left" if way > 0 else "right"

    def box(part: str, x: tuple[float, float], out: tuple[float, float],
            z: tuple[float, float], colour: tuple[float, float, float]) -> Box:  # fmt: skip
        y = sorted((way * (half + out[0]), way * (half + out[1])))
        return _box(f"body/{name}/{part}", (x, (y[0], y[1]), z), colour)

    yield box("sill", (-0.2 * end, 0.28 * end), (0.0, 0.06), (0.26, 0.36), DARK)
    yield box("rail", (-0.97 * end, 0.97 * end), (0.0, 0.03), (1.04, 1.10), GREY)
    yield box("gutter", (-0.98 * end, 0.98 * end), (0.0, 0.02), (1.98, 2.01), DARK)
    for number, x in enumerate(np.arange(-0.8, 0.9, 0.2) * end):
        yield box(f"post{number}", (x, x + 0.05), (0.0, 0.015), (1.10, 1.98), GREY)
    for number, x in enumerate((-0.55 * end, 0.02 * end, 0.5 * end)):
        yield box(f"lamp{number}", (x, x + 0.1), (0.0, 0.04), (0.55, 0.61), AMBER)
    yield box("hatch", (-0.1 * end, -0.1 * end + 0.45), (0.0, 0.012), (0.62, 0.95), LIGHT)
    yield box("handle", (0.6 * end, 0.6 * end + 0.14), (0.0, 0.05), (1.16, 1.2), DARK)
    # The arm and the head of the mirror, ahead of the side camera.
    yield box("arm", (0.93 * end, 0.93 * end + 0.05), (0.0, 0.28), (1.86, 1.91), DARK)
    yield box("mirror", (0.93 * end - 0.05, 0.93 * end + 0.08), (0.2, 0.42), (1.55, 1.9), DARK)


def _box(name: str, places: Places, colour: tuple[float, float, float]) -> Box:
    (x0, x1), (y0, y1), (z0, z1) = places
    return Box(
        name=name,
        middle_m=np.array([(x0 + x1) / 2, (y0 + y1) / 2]),
        heading_rad=0.0,
        half_m=((x1 - x0) / 2, (y1 - y0) / 2),
        height_m=z1,
        foot_m=z0,
        colour=colour,
    )

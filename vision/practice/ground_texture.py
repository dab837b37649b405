"""What the yard looks like: asphalt, painted lines, cracks and covers, fixed to the ground.

Textures are made once for all cameras, each with coarser copies of itself: a pixel far away covers
much ground and must see its mean, or the far ground would sparkle and no two cameras would agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.practice.deviations import Floats, Ground

GRAIN_CELL_M, GRAIN_CELLS = 0.005, 1024
BLOTCH_CELL_M, BLOTCH_CELLS = 0.05, 512
YARD_CELL_M, YARD_CELLS = 0.0125, 2400
"""The yard's own marks reach 15 m from the vehicle's middle each way."""
ROW = 1024
"""OpenCV's remap takes rows of limited length: points go in as rows of this many."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Texture:
    """Square pictures of one piece of ground centred on the origin, each half the one before.

    `repeats`: goes on for ever; else the value beyond it is 1.
    """

    levels: tuple[Floats, ...]
    cell_m: float
    repeats: bool

    def at(self, x: Floats, y: Floats, footprint_m: Floats) -> Floats:
        """Value at ground points (n,), as a pixel that covers `footprint_m` (n,) sees it."""
        top = len(self.levels) - 1
        lod = np.log2(np.maximum(footprint_m * np.float32(1 / self.cell_m), np.float32(1)))
        lod = np.minimum(lod, np.float32(top))
        base = np.minimum(lod.astype(np.int8), top - 1)
        values = np.empty(len(x), dtype=np.float32)
        for level in range(top):
            chosen = np.flatnonzero(base == level)
            if chosen.size:
                there = x[chosen], y[chosen]
                fine, coarse = self._sample(level, *there), self._sample(level + 1, *there)
                values[chosen] = fine + (lod[chosen] - np.float32(level)) * (coarse - fine)
        return values

    def _sample(self, level: int, x: Floats, y: Floats) -> Floats:
        tile = self.levels[level]
        cell = self.cell_m * 2**level
        half = 0.5 * len(tile) - 0.5
        columns = x * np.float32(1 / cell) + np.float32(half)
        rows = y * np.float32(1 / cell) + np.float32(half)
        count = -(-len(x) // ROW) * ROW
        maps = np.empty((2, count), dtype=np.float32)
        maps[0, : len(x)], maps[1, : len(x)] = columns, rows
        maps[:, len(x) :] = 0
        border = cv2.BORDER_WRAP if self.repeats else cv2.BORDER_CONSTANT
        from_tile: Any = tile
        found = cv2.remap(
            from_tile, maps[0].reshape(-1, ROW), maps[1].reshape(-1, ROW), cv2.INTER_LINEAR,
            borderMode=border, borderValue=1.0,
        )  # fmt: skip
        values: Floats = found.reshape(-1)[: len(x)]
        return values


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Yard:
    """The ground's textures: grain and blotches are shares around 0, `painted` a factor."""

    grain: Texture
    blotches: Texture
    painted: Texture


def yard(rng: np.random.Generator, asked: Ground) -> Yard:
    """Make a yard; the same generator makes the same one."""
    grain = _coloured_noise(rng, GRAIN_CELLS, 0.35)
    blotches = _coloured_noise(rng, BLOTCH_CELLS, 1.3)
    return Yard(
        grain=Texture(levels=_pyramid(0.16 * grain, 7), cell_m=GRAIN_CELL_M, repeats=True),
        blotches=Texture(levels=_pyramid(0.07 * blotches, 4), cell_m=BLOTCH_CELL_M, repeats=True),
        painted=Texture(
            levels=_pyramid(_painted(rng, asked), 5), cell_m=YARD_CELL_M, repeats=False
        ),
    )


def _coloured_noise(rng: np.random.Generator, cells: int, power: float) -> Floats:
    """Periodic noise of mean 0 and sigma 1 whose amplitude falls with frequency to `power`."""
    spectrum = np.fft.rfft2(rng.standard_normal((cells, cells), dtype=np.float32))
    fy, fx = np.fft.fftfreq(cells)[:, None], np.fft.rfftfreq(cells)[None]
    frequency = np.hypot(fy, fx)
    # Nothing slower than a few rounds per tile: it would show the tile's repetition.
    spectrum *= np.maximum(frequency, 3 / cells) ** -power * (frequency > 0)
    noise = np.fft.irfft2(spectrum, s=(cells, cells))
    return np.asarray(noise / noise.std(), dtype=np.float32)


def _pyramid(tile: Floats, count: int) -> tuple[Floats, ...]:
    levels = [np.ascontiguousarray(tile, dtype=np.float32)]
    for _ in range(count - 1):
        half = len(levels[-1]) // 2
        levels.append(cv2.resize(levels[-1], (half, half), interpolation=cv2.INTER_AREA))  # type: ignore[arg-type]
    return tuple(levels)


class _Paint:
    """Draws on a factor (cells, cells) over the yard, in metres."""

    def __init__(self) -> None:
        self.factor = np.ones((YARD_CELLS, YARD_CELLS), dtype=np.float32)

    @staticmethod
    def cells(points: object) -> NDArray[np.int32]:
        """Places in cells; four bits below the cell: OpenCV draws with parts of one then."""
        place = np.asarray(points, dtype=np.float64) / YARD_CELL_M + YARD_CELLS / 2 - 0.5
        return np.round(place * 16).astype(np.int32)

    def line(self, points: object, width_m: float, value: float) -> None:
        """A line through places."""
        thick = max(1, round(width_m / YARD_CELL_M))
        cv2.polylines(self.factor, [self.cells(points)], False, value, thick, cv2.LINE_8, 4)

    def patch(self, corners: object, value: float) -> None:
        """A filled polygon."""
        cv2.fillPoly(self.factor, [self.cells(corners)], value, cv2.LINE_8, 4)

    def disc(self, centre: object, radius_m: float, value: float) -> None:
        """A filled circle."""
        at, radius = self.cells(centre).tolist(), int(radius_m * (16 / YARD_CELL_M))
        cv2.circle(self.factor, at, radius, value, -1, cv2.LINE_8, 4)


def _painted(rng: np.random.Generator, asked: Ground) -> Floats:
    """Factor (cells, cells) on the asphalt: old paint, cracks, patches, covers, stains."""
    paint = _Paint()
    _age(paint, rng, asked)
    for side in (-1, 1):
        paint.line([[-12, side * 6.2], [12, side * 6.2]], 0.1, 1.75)
        for bay in np.arange(-10.5, 11, 3.5):
            paint.line([[bay, side * 6.2], [bay, side * 11.2]], 0.1, 1.7)
    paint.line([[10.4, -5.2], [10.4, 5.2]], 0.12, 1.6)
    paint.line([[-10.6, -5.2], [-10.6, 5.2]], 0.12, 1.6)
    for index in range(asked.lines):
        # Round the vehicle, where the tapes lie; every third one is crossed by another.
        turn, place = rng.uniform(0, np.pi), rng.uniform(-8, 8, 2)
        width, value = rng.uniform(0.08, 0.15), rng.uniform(1.5, 1.9)
        along = rng.uniform(1, 3) * np.array([np.cos(turn), np.sin(turn)])
        paint.line([place - along, place + along], width, value)
        if index % 3 == 0:
            across = np.array([-along[1], along[0]]) / 2
            paint.line([place - across, place + across], width, value)
    factor = paint.factor
    worn = cv2.resize(rng.uniform(0.55, 1.0, (300, 300)).astype(np.float32), factor.shape)
    lit = factor > 1
    factor[lit] = 1 + (factor[lit] - 1) * worn[lit]
    return factor


def _age(paint: _Paint, rng: np.random.Generator, asked: Ground) -> None:
    """Mended patches, cracks and the covers of manholes."""
    for _ in range(3):
        x, y = rng.uniform(-9, 9, 2)
        corners = np.array([[x, y], [x + 1.6, y], [x + 1.6, y + 0.7], [x, y + 0.7]])
        paint.patch(corners, 0.86)
        paint.line([*corners, corners[0]], 0.03, 0.7)
    for _ in range(asked.cracks):
        turn, steps = rng.uniform(0, 2 * np.pi), rng.normal(0, 0.5, 24)
        directions = turn + np.cumsum(steps) * 0.6
        walk = np.cumsum(0.18 * np.stack([np.cos(directions), np.sin(directions)], -1), axis=0)
        paint.line(walk + rng.uniform(-9, 9, 2), 0.0125, 0.55)
    for _ in range(asked.covers):
        centre = rng.uniform(-9, 9, 2)
        for radius_m, value in ((0.34, 0.6), (0.30, 0.8), (0.12, 0.7)):
            paint.disc(centre, radius_m, value)

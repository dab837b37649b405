"""What lies on ground, tapes and marks: leaves, cardboard, tears, smears; and who stands there.

Flat things are ellipses and rectangles on the ground. A coarse map of where any lie keeps the many
points that meet none out of the search.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.job.job import Ink
from vision.job.layout import PlannedMark
from vision.job.mark_id import MarkId
from vision.practice.boxes import Box
from vision.practice.deviations import Cover, Damage, Floats, Person
from vision.practice.placed import axes, to_ground, within
from vision.practice.settings import SETTINGS
from vision.units.arrays import Array, Flags, frozen_array

Colour = tuple[float, float, float]

CELL_M, CELLS = 0.1, 400
LIGHT_TAPE, DARK_TAPE = (202.0, 208.0, 208.0), (40.0, 40.0, 42.0)
DARK_INK, LIGHT_INK = (34.0, 33.0, 33.0), (205.0, 210.0, 212.0)
CARTON = (96.0, 138.0, 172.0)
LEAVES: tuple[Colour, ...] = (
    (28.0, 62.0, 110.0), (40.0, 110.0, 150.0), (36.0, 84.0, 66.0), (30.0, 50.0, 78.0)
)  # fmt: skip
CLOTHES: tuple[Colour, ...] = ((70.0, 50.0, 40.0), (60.0, 120.0, 60.0), (110.0, 150.0, 205.0))


def paper_and_ink(ink: Ink) -> tuple[Floats, Floats]:
    """Levels (3,) of tape or sheet, and of the mark on it."""
    pair = (LIGHT_TAPE, DARK_INK) if ink == "dark" else (DARK_TAPE, LIGHT_INK)
    return np.array(pair[0], dtype=np.float32), np.array(pair[1], dtype=np.float32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """One flat thing: an ellipse or rectangle with its middle (2,), direction and half size.

    `on` is the mark it belongs to, or None. `colour` is None for bare ground, and `cover` the share
    of what is below that it covers.
    """

    what: Literal["leaf", "cardboard", "tear", "smear"]
    on: MarkId | None
    middle_m: Array
    heading_rad: float
    half_m: tuple[float, float]
    colour: Colour | None
    cover: float = 1.0
    is_round: bool = True

    def __post_init__(self) -> None:
        object.__setattr__(self, "middle_m", frozen_array(self.middle_m, (2,), "middle_m"))

    @property
    def cells(self) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """First and last but one cell (2,) of the map in which it may lie."""
        reach = float(np.hypot(*self.half_m)) + CELL_M
        low = np.clip(_cell(self.middle_m - reach), 0, CELLS - 1)
        high = np.clip(_cell(self.middle_m + reach) + 1, 1, CELLS)
        return low, high

    def holds(self, points: Floats) -> Flags:
        """Whether points (n, 2) lie in it."""
        return within(points, self.middle_m, self.heading_rad, self.half_m, is_round=self.is_round)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spots:
    """All flat things, the later upon the earlier, and a map (cells, cells) of where any may be."""

    each: tuple[Spot, ...] = ()
    _near: Flags = field(init=False, repr=False)

    def __post_init__(self) -> None:
        near = np.zeros((CELLS, CELLS), dtype=bool)
        for spot in self.each:
            low, high = spot.cells
            near[low[0] : high[0], low[1] : high[1]] = True
        object.__setattr__(self, "_near", near)

    def lay(self, points: Floats, colours: Floats, bare: Floats) -> None:
        """Paint them over colours (n, 3) of ground points (n, 2); `bare` is the ground's own."""
        if not self.each:
            return
        cell = np.clip(_cell(points), 0, CELLS - 1)
        near = np.flatnonzero(self._near[cell[:, 0], cell[:, 1]])
        number = cell[near, 0] * CELLS + cell[near, 1]
        # In the order of their cells, so that those round a spot are a few runs of them.
        order = np.argsort(number, kind="stable")
        near, number = near[order], number[order]
        for spot in self.each:
            low, high = spot.cells
            rows = np.arange(low[0], high[0]) * CELLS
            begin, end = (np.searchsorted(number, rows + each) for each in (low[1], high[1]))
            runs = [near[a:b] for a, b in zip(begin, end, strict=True) if b > a]
            if not runs:
                continue
            there = np.concatenate(runs)
            under = there[spot.holds(points[there])]
            own = bare[under] if spot.colour is None else np.array(spot.colour, np.float32)
            colours[under] += np.float32(spot.cover) * (own - colours[under])

    def on(self, mark_id: MarkId) -> Spots:
        """Those that belong to one mark."""
        return Spots(each=tuple(spot for spot in self.each if spot.on == mark_id))

    def off(self, raised: Sequence[MarkId]) -> Spots:
        """Those that lie on the ground: all but what belongs to raised marks."""
        return Spots(each=tuple(spot for spot in self.each if spot.on not in raised))


def _cell(points: Floats) -> NDArray[np.int32]:
    return np.asarray(np.floor(points / CELL_M) + CELLS // 2, dtype=np.int32)


def spots_on(
    marks: Sequence[PlannedMark], damages: Mapping[MarkId, Damage], rng: np.random.Generator
) -> list[Spot]:
    """What was done to marks, at their true places."""
    found: list[Spot] = []
    for mark in marks:
        if mark.id in damages:
            found += _damaged(mark, damages[mark.id], rng)
    return found


def _damaged(mark: PlannedMark, damage: Damage, rng: np.random.Generator) -> list[Spot]:
    along, across = mark.shape.half_extent_m
    border = mark.shape.border_m
    width = max(0.5 * (mark.tape_width_m or 0.0), across + border)
    found: list[Spot] = []
    if damage.smeared > 0:
        paper, ink = paper_and_ink(mark.ink)
        blue, green, red = (float(level) for level in 0.5 * (paper + ink))
        found.append(
            replace(
                _piece(
                    mark, "smear", (-0.1 * along, 1.3 * along), 1.2 * across, (blue, green, red)
                ),
                cover=damage.smeared,
                is_round=True,
            )
        )
    if damage.torn > 0:
        edge = along * (1 - 2 * damage.torn)
        found.append(_piece(mark, "tear", (edge, 1.6 * along), width + 0.01, None))
        for q in np.linspace(-width, width, 5):
            # Paper tears in a jagged line.
            bite = rng.uniform(0.1, 0.3) * along
            piece = _piece(mark, "tear", (edge - bite, edge + bite), width / 5, None, q)
            found.append(replace(piece, is_round=True))
    if damage.covered > 0:
        span = (-1.6 * along - border, along * (2 * damage.covered - 1))
        found.append(_piece(mark, "cardboard", span, 1.3 * width, CARTON))
    for _ in range(damage.leaves):
        away = rng.normal(0, 0.45, 2) * (along, across)
        found.append(_leaf(_ground(mark, *away), rng, mark.id))
    return found


def _ground(mark: PlannedMark, s: float, q: float) -> Array:
    return np.asarray(to_ground(np.array(s), np.array(q), mark.centre_m[:2], mark.heading_rad))


def _piece(
    mark: PlannedMark,
    what: Literal["cardboard", "tear", "smear"],
    span: tuple[float, float],
    half_across: float,
    colour: Colour | None,
    q: float = 0.0,
) -> Spot:
    return Spot(
        what=what,
        on=mark.id,
        middle_m=_ground(mark, sum(span) / 2, q),
        heading_rad=mark.heading_rad,
        half_m=((span[1] - span[0]) / 2, half_across),
        colour=colour,
        is_round=False,
    )


def _leaf(middle_m: Array, rng: np.random.Generator, on: MarkId | None) -> Spot:
    half = rng.uniform(*SETTINGS.leaf_m)
    return Spot(
        what="leaf",
        on=on,
        middle_m=middle_m,
        heading_rad=rng.uniform(0, np.pi),
        half_m=(half, 0.6 * half),
        colour=LEAVES[rng.integers(len(LEAVES))],
    )


def leaves_along(
    lines: Sequence[tuple[Array, Array]], count: int, rng: np.random.Generator
) -> list[Spot]:
    """Leaves about the tapes, each of which runs between two places (2,)."""
    found = []
    for _ in range(count if lines else 0):
        start, end = lines[int(rng.integers(len(lines)))]
        place = start + rng.uniform() * (end - start) + rng.normal(0, SETTINGS.leaves_sigma_m, 2)
        found.append(_leaf(place, rng, None))
    return found


def cover_box(cover: Cover) -> Box:
    """A thing that stands or lies about, as what rays meet."""
    return Box(
        name=cover.name,
        middle_m=np.array(cover.at_m),
        heading_rad=cover.turn_rad,
        half_m=(cover.size_m[0] / 2, cover.size_m[1] / 2),
        height_m=cover.height_m,
        foot_m=cover.foot_m,
        colour=cover.colour,
        bands=cover.bands,
        mottled=cover.mottled,
        outline=cover.outline,
    )


def person_boxes(person: Person) -> list[Box]:
    """A person as boxes: two legs, the trunk with its arms, the head; all named after them."""
    tall = person.height_m
    _, left = axes(person.facing_rad)

    def box(off: float, half: tuple[float, float], foot: float, top: float, colour: Colour) -> Box:
        return Box(
            name=f"person {person.name}",
            middle_m=np.array(person.at_m) + off * left,
            heading_rad=person.facing_rad,
            half_m=half,
            foot_m=foot * tall,
            height_m=top * tall,
            colour=colour,
        )

    return [
        box(0.11, (0.12, 0.075), 0.0, 0.49, CLOTHES[0]),
        box(-0.11, (0.12, 0.075), 0.0, 0.49, CLOTHES[0]),
        box(0.0, (0.13, 0.24), 0.49, 0.83, CLOTHES[1]),
        box(0.0, (0.10, 0.085), 0.86, 1.0, CLOTHES[2]),
    ]

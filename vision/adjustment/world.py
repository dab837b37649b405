"""Where the marks truly lie: strips, single marks and their own deviations as linear unknowns.

Every unknown here is a deviation from the plan, so its prior is zero with a stated sigma, and every
point's place is the planned one plus a constant matrix times the unknowns. A strip has its two ends
(from x, from y, to x, to y) and a bow: how far its middle lies to the left of the line between
them, the rest following a parabola. The ground under it has heights at knots, straight between
them. A mark moves as the strip does at its place, and a board panel, being rigid, turns with the
strip there. Each mark of a strip deviates by itself along and across; a panel also turns. A single
mark deviates in x, y and z. Each named tape has one scale error, the
ground two slopes where an angle was read against gravity, and a camera that brings no picture but
was measured to has its place. Where both the ground and the body's floor were levelled along an
axis, the body is turned against the ground by an unknown small angle that this shows: what is
measured on the body, the mountings, turns with it about the origin.

A mark's own deviation touches that mark alone, so it is eliminated when the network is solved. What
several observations share, and what a reading names, is kept: those unknowns come first.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vision.adjustment.settings import SETTINGS
from vision.camera.geometry import cross_matrix
from vision.job.job import AngleReading, Job, LengthReading, LevelReading, Strip
from vision.job.layout import Layout, PlannedMark
from vision.job.mark_id import MarkId
from vision.units.arrays import Array

QUARTER_TURN = np.array([[0.0, -1.0], [1.0, 0.0]])

NO_BLOCK = -1
"""Of a point whose mark has no deviation that is eliminated."""

Blocks = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class World:
    """The unknowns of the ground.

    `sigma` (w,) of each unknown's prior, in metres (radians for a panel's turn). The first `kept`
    are kept, the rest are eliminated, `own_size` to each mark: a mark that has fewer unknowns is
    filled up with some that nothing depends on. `laid` are the strips; `strips` maps each to the
    four columns of its ends, `bows` to that of its bow, `heights` each that some camera shows to
    those of the ground under it, `moves` each that may have been moved between two checks to four
    by how far its ends were, `marks` each mark to its own columns, `cameras` each camera without a
    picture to its place, `tapes` each tape to its scale, counted from 0 within the world; `slope`
    are the ground's two, None where nothing was read against gravity. `stance` maps the ground
    axes, 0 for x and 1 for y, about which the body is turned by an unknown angle to its column.
    `in_pictures` are the marks that some camera shows; the others are here because somebody
    measured to them.
    """

    planned: dict[MarkId, PlannedMark] = field(default_factory=dict)
    mark_of_point: dict[MarkId, MarkId] = field(default_factory=dict)
    sigma: Array = field(default_factory=lambda: np.zeros(0))
    kept: int = 0
    own_size: int = 0
    laid: dict[str, Strip] = field(default_factory=dict)
    strips: dict[str, slice] = field(default_factory=dict)
    bows: dict[str, int] = field(default_factory=dict)
    heights: dict[str, slice] = field(default_factory=dict)
    moves: dict[str, slice] = field(default_factory=dict)
    marks: dict[MarkId, slice] = field(default_factory=dict)
    cameras: dict[str, slice] = field(default_factory=dict)
    tapes: dict[str, int] = field(default_factory=dict)
    slope: slice | None = None
    stance: dict[int, int] = field(default_factory=dict)
    in_pictures: frozenset[MarkId] = frozenset()

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return len(self.sigma)

    @property
    def single(self) -> tuple[MarkId, ...]:
        """Ids of the single marks among `marks`."""
        return tuple(name for name in self.marks if self.planned[name].strip is None)

    def d_turned_m(self, place_m: Array) -> Array:
        """How a place (3,) on the body goes with each angle of the stance, (3, s).

        To the first order: a turn of 2 degrees puts a camera 3 mm off, a fraction of how well its
        mounting is measured.
        """
        return -cross_matrix(place_m)[:, list(self.stance)]

    def blocks(self, mark_ids: Sequence[MarkId]) -> Blocks:
        """Which eliminated block (n,) each mark's own deviation is; NO_BLOCK where it is kept."""
        starts = np.array([self.marks[mark_id].start for mark_id in mark_ids], dtype=np.intp)
        return np.where(starts < self.kept, NO_BLOCK, (starts - self.kept) // self.own_size)

    def split(self, state: Array, blocks: Blocks) -> tuple[Array, Array]:
        """The kept unknowns (kept,) of a state, and for each of `blocks` (n,) its own (n, o)."""
        own = np.concatenate([state[self.kept :], np.zeros(self.own_size)])
        # The last one belongs to points without a block.
        return state[: self.kept], own.reshape(-1, self.own_size)[blocks]

    def d_places(self, mark_ids: Sequence[MarkId], planned_m: Array) -> tuple[Array, Array, Blocks]:
        """Differentiate places by the kept unknowns (n, 3, kept) and by each mark's own (n, 3, o).

        Each point belongs to one of `mark_ids` (n) and lies at `planned_m` (n, 3) as planned: the
        mark's centre, or a corner of its panel. Last, the block (n,) of each point's own unknowns.
        """
        kept = np.zeros((len(mark_ids), 3, self.kept))
        own = np.zeros((len(mark_ids), 3, self.own_size))
        blocks = self.blocks(mark_ids)
        rows: dict[str | None, list[int]] = {}
        for row, mark_id in enumerate(mark_ids):
            rows.setdefault(self.planned[mark_id].strip, []).append(row)
        for name, these in rows.items():
            if name is None:
                for row in these:
                    kept[row, :, self.marks[mark_ids[row]]] = np.eye(3)
                continue
            at = np.array(these)
            centre_m = np.array([self.planned[mark_ids[row]].centre_m for row in these])
            ends, bow, axes = _on_strip(self.laid[name], planned_m[at, :2], centre_m[:, :2])
            kept[at, :2, self.strips[name]] = ends
            kept[at, :2, self.bows[name]] = bow
            if name in self.heights:
                kept[at, 2, self.heights[name]] = _by_heights(self.laid[name], planned_m[at, :2])
            width = min(self.own_size, 3)
            own[at, :2, :width] = axes[:, :, :width]
            for row in at[blocks[at] == NO_BLOCK]:
                columns = self.marks[mark_ids[row]]
                count = columns.stop - columns.start
                kept[row, :2, columns] = axes[these.index(row), :, :count]
                own[row] = 0.0
        return kept, own, blocks


def _on_strip(strip: Strip, points_m: Array, centre_m: Array) -> tuple[Array, Array, Array]:
    """Derivatives of places (n, 2) on a strip by its ends (n, 2, 4) and bow (n, 2).

    Last (n, 2, 3) those by a mark's own: along, across, and a turn about its centre.
    """
    axes = np.stack([strip.along, QUARTER_TURN @ strip.along], axis=1)
    share = (centre_m - strip.from_m) @ strip.along / strip.length_m
    turned = (points_m - centre_m) @ QUARTER_TURN.T
    turn_by_ends = np.concatenate([-axes[:, 1], axes[:, 1]]) / strip.length_m
    turn_by_bow = 4 * (1 - 2 * share) / strip.length_m
    ends = turned[:, :, None] * turn_by_ends
    ends[:, :, :2] += (1 - share)[:, None, None] * np.eye(2)
    ends[:, :, 2:] += share[:, None, None] * np.eye(2)
    bow: Array = (4 * share * (1 - share))[:, None] * axes[:, 1] + turn_by_bow[:, None] * turned
    own = np.empty((len(points_m), 2, 3))
    own[:, :, :2] = axes
    own[:, :, 2] = turned
    return ends, bow, own


def knot_shares(strip: Strip) -> Array:
    """Where along a strip the heights of the ground under it are unknowns, from 0 to 1."""
    knots = round(strip.length_m / SETTINGS.knot_m) + 1
    return np.linspace(0.0, 1.0, min(max(knots, 3), SETTINGS.most_knots))


def _by_heights(strip: Strip, points_m: Array) -> Array:
    """Derivatives of heights (n, k) of places (n, 2) on a strip by those at its knots."""
    share = (points_m - strip.from_m) @ strip.along / strip.length_m
    knots = knot_shares(strip)
    away = np.abs(np.clip(share, 0.0, 1.0)[:, None] - knots) * (len(knots) - 1)
    return np.asarray(np.maximum(1.0 - away, 0.0))


def own_sigmas(strip: Strip) -> list[float]:
    """Sigmas of one mark's own deviation: along, across in m and, for a panel, its turn in rad."""
    sigma = [strip.mark_sigma_m] * 2
    arm_m = strip.shape.turn_arm_m
    if arm_m is not None:
        # A panel that is laid to mark_sigma at its outer corners turns by that over their distance.
        sigma.append(strip.mark_sigma_m / arm_m)
    return sigma


class _Columns:
    """The unknowns laid out so far, by their sigmas."""

    def __init__(self) -> None:
        self.sigma: list[float] = []

    def add(self, sigmas: list[float]) -> slice:
        self.sigma += sigmas
        return slice(len(self.sigma) - len(sigmas), len(self.sigma))

    def add_one(self, sigma: float) -> int:
        return int(self.add([sigma]).start)


def _filled_up(columns: _Columns, sigmas: list[float], size: int) -> slice:
    """Lay out a mark's own unknowns, filled up to `size` with some that nothing depends on."""
    start = columns.add(sigmas + [1.0] * (size - len(sigmas))).start
    return slice(start, start + len(sigmas))


def _against_gravity(job: Job) -> bool:
    """Whether any angle was read against gravity: the ground may slope."""
    return any(
        isinstance(each, LevelReading)
        or (isinstance(each, AngleReading) and each.against == "gravity")
        for each in job.readings
    )


TURNED_ABOUT: dict[str, int] = {"left": 0, "ahead": 1}
"""The axis, 0 for x, about which a body turns that rises to its left, or ahead."""


def _stance_axes(job: Job) -> list[int]:
    """Axes about which the body's turn shows: along the other, ground and floor were levelled.

    Where only one of the two was, the body is taken to stand square, as where nothing was read.
    """
    read = {(each.along, each.on) for each in job.readings if isinstance(each, LevelReading)}
    return [
        axis
        for along, axis in TURNED_ABOUT.items()
        if {(along, "ground"), (along, "floor")} <= read
    ]


def build_world(
    job: Job,
    layout: Layout,
    point_ids: Iterable[MarkId],
    cameras: Sequence[str] = (),
    *,
    moving: Collection[str] = (),
) -> World:
    """Lay out the unknowns of every strip and mark that a camera sees or a reading names.

    `cameras` are those that bring pictures; the place of any other that a length was measured to
    is an unknown of the world. `moving` are strips whose ends may have been moved since.
    """
    planned = {mark.id: mark for mark in layout.marks}
    mark_of_point = {point_id: layout.mark_of(point_id).id for point_id in point_ids}
    in_pictures = frozenset(mark_of_point.values())
    lengths = [each for each in job.readings if isinstance(each, LengthReading)]
    read = {name for each in lengths for name in each.between}
    ordered = [mark for mark in layout.marks if mark.id in in_pictures or mark.id in read]
    laid = [s for s in job.strips if s.name in {mark.strip for mark in ordered}]
    columns = _Columns()
    strips = {strip.name: columns.add([strip.position_sigma_m] * 4) for strip in laid}
    bows = {strip.name: columns.add_one(strip.mark_sigma_m) for strip in laid}
    shown = {planned[mark_id].strip for mark_id in in_pictures}
    heights = {
        strip.name: columns.add([SETTINGS.unevenness_m] * len(knot_shares(strip)))
        for strip in laid
        if strip.name in shown
    }
    moves = {s.name: columns.add([SETTINGS.freed.place_m] * 4) for s in laid if s.name in moving}
    each_own = {strip.name: own_sigmas(strip) for strip in laid}
    single = {mark.name: [mark.position_sigma_m] * 3 for mark in job.marks}
    marks = {
        mark.id: columns.add(single[mark.id.name] if mark.strip is None else each_own[mark.strip])
        for mark in ordered
        if mark.strip is None or mark.id in read
    }
    places = {
        camera.name: columns.add([camera.position_sigma_m] * 3)
        for camera in job.cameras
        if camera.name in read and camera.name not in cameras
    }
    scales = {each.tape: each.scale_sigma for each in lengths if each.tape is not None}
    tapes = {tape: columns.add_one(scale) for tape, scale in scales.items()}
    slope = columns.add([SETTINGS.slope_sigma] * 2) if _against_gravity(job) else None
    stance = {axis: columns.add_one(SETTINGS.stance_sigma_rad) for axis in _stance_axes(job)}
    kept = len(columns.sigma)
    own = {m.id: each_own[m.strip] for m in ordered if m.strip and m.id not in marks}
    own_size = max((len(each) for each in own.values()), default=2)
    marks |= {mark_id: _filled_up(columns, each, own_size) for mark_id, each in own.items()}
    return World(
        planned=planned,
        mark_of_point=mark_of_point,
        sigma=np.array(columns.sigma),
        kept=kept,
        own_size=own_size,
        laid={strip.name: strip for strip in laid},
        strips=strips,
        bows=bows,
        heights=heights,
        moves=moves,
        marks=marks,
        cameras=places,
        tapes=tapes,
        slope=slope,
        stance=stance,
        in_pictures=in_pictures,
    )


NO_WORLD = World()
"""Of a network whose points lie where they are taken to lie."""

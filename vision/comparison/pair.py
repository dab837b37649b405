"""From two checks to one network: a pose and a lens for each picture, one ground.

What both checks state alike is stated once. Sharing is what makes a comparison sharp: from one
picture an off-centre lens and a turned camera look almost alike, but the same lens in both pictures
cancels. That it is the same is no more than likely: a camera may have been exchanged for another of
its type. So the lens of a picture is tied to the one before, and the tie is a group like a turn.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.building import joined, laid_statements, mounting, views_of
from vision.adjustment.groups import Group
from vision.adjustment.network import Network, network_of, points_of
from vision.adjustment.settings import SETTINGS as ADJUSTMENT
from vision.adjustment.state import Columns, PointRows, State, View
from vision.adjustment.statements import Held, Statement, of_lens
from vision.camera.geometry import Pose, rotation_angle
from vision.camera.lens_prior import LensPrior
from vision.comparison.change import Epoch
from vision.comparison.epoch_ground import Ground, lay_out
from vision.comparison.settings import SETTINGS
from vision.comparison.ties import Exchange, Shift, Stance, Turn, unit_whitening
from vision.job.job import Camera


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Poses:
    """Which pose is which.

    `before` and `after` map each camera to its view, and so its pose, at the baseline and at the
    later check; `stance` is the pose of the vehicle, the last of all.
    """

    before: dict[str, int]
    after: dict[str, int]

    @property
    def stance(self) -> int:
        return len(self.before) + len(self.after)

    @property
    def both(self) -> tuple[str, ...]:
        """The cameras of both checks, in the baseline's order."""
        return tuple(name for name in self.before if name in self.after)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pair(_Poses):
    """The network of two checks; `ties` are the groups that may have changed."""

    network: Network
    ties: dict[Group, Statement]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Plan(_Poses):
    """What a network of two checks is made of."""

    epochs: tuple[Epoch, Epoch]
    ground: Ground
    columns: Columns

    @property
    def seen(self) -> tuple[CameraObservations, ...]:
        return (*self.ground.before, *self.ground.after)


def build_pair(epochs: tuple[Epoch, Epoch], not_relaid: frozenset[str], untouched: bool) -> Pair:
    """Lay out the network of two checks, whose cameras have pictures of one size in both."""
    ground = lay_out(epochs, not_relaid)
    before = {each.name: index for index, each in enumerate(ground.before)}
    after = {each.name: len(before) + index for index, each in enumerate(ground.after)}
    # A lens for each picture: that of a camera which nobody exchanged is tied to the one before.
    columns = Columns.apart(poses=len(before) + len(after) + 1, lenses=len(before) + len(after))
    plan = _Plan(before=before, after=after, epochs=epochs, ground=ground, columns=columns)
    views = views_of(plan.seen, poses=range(plan.stance), lenses=range(plan.stance))
    standing = Stance(
        group=Group("stance", ""),
        columns=columns.pose[plan.stance],
        pose=plan.stance,
        sigmas=np.array(SETTINGS.untouched_sigma if untouched else SETTINGS.stance_sigma),
    )
    ties = {each.group: each for each in (*_ties(plan), *_moves(plan))}
    uneven = {g for each in epochs for g in each.adjustment.all_freed if g.kind == "ground"}
    placed = (
        replace(each, sigma=each.freed_sigma) if each.group in uneven else each
        for each in laid_statements(epochs[1].job, ground.world, columns.base)
    )
    network = network_of(
        columns,
        views,
        _points(plan, views),
        (*placed, *_lenses(plan), *_mountings(plan), standing, *ties.values()),
        _start(plan),
        ground.world,
    )
    return Pair(before=before, after=after, network=network, ties=ties)


def _points(plan: _Plan, views: tuple[View, ...]) -> PointRows:
    """All points; those of the later check move with their strips' ends as they were moved."""
    world = plan.ground.world
    points = points_of(views, *joined(plan.seen), world)
    by_kept, later = points.by_kept_m.copy(), points.pose >= len(plan.before)
    for name, own in world.moves.items():
        by_kept[later, :, own] = by_kept[later, :, world.strips[name]]
    return replace(points, by_kept_m=by_kept)


def _start(plan: _Plan) -> State:
    """Where the checks' own adjustments ended; a lens as at the baseline; the vehicle unmoved."""
    found = [{c.name: c for c in epoch.adjustment.cameras} for epoch in plan.epochs]
    cameras = [*(found[0][name] for name in plan.before), *(found[1][name] for name in plan.after)]
    lenses = {each.name: each.lens.as_vector() for each in reversed(cameras)}
    here = Pose(R=np.eye(3), t_m=np.zeros(3))
    return plan.columns.state(
        [*(each.pose for each in cameras), here],
        [lenses[each.name] for each in cameras],
        plan.ground.world.size,
    )


def _moves(plan: _Plan) -> Iterator[Statement]:
    """How far the ends of each strip that was not laid anew were moved."""
    for name, own in plan.ground.world.moves.items():
        yield Held(
            group=Group("move", name),
            columns=plan.columns.base + np.arange(own.start, own.stop),
            degrees=4,
            sigma=SETTINGS.strip_give_m,
            stated=np.zeros(4),
        )


def _ties(plan: _Plan) -> Iterator[Statement]:
    """The turn and the shift of every camera in both checks."""
    pose, stance = plan.columns.pose, plan.stance
    for name, first in plan.before.items():
        if name not in plan.after:
            continue
        second = plan.after[name]
        yield Turn(
            group=Group("turn", name),
            columns=np.concatenate([pose[second, 3:], pose[stance, 3:], pose[first, 3:]]),
            sigma=SETTINGS.give_rad,
            freed_sigma=ADJUSTMENT.freed.turn_rad,
            after=second,
            stance=stance,
            before=first,
        )
        yield Shift(
            group=Group("shift", name),
            columns=np.concatenate([pose[second, :3], pose[stance], pose[first, :3]]),
            sigma=_shift_give(plan.epochs, name),
            after=second,
            stance=stance,
            before=first,
            stated=np.zeros(3),
        )
        yield Exchange(
            group=Group("exchange", name),
            columns=np.concatenate([plan.columns.lens[second], plan.columns.lens[first]]),
            sigma=SETTINGS.lens_give,
            freed_sigma=SETTINGS.freed_units,
            whitening=unit_whitening(plan.seen[first].prior),
        )


def _shift_give(epochs: tuple[Epoch, Epoch], name: str) -> float:
    """A camera that was turned, by what both checks say alone, had its lens taken along."""
    before, after = (epoch.adjustment.camera(name).pose.R for epoch in epochs)
    return max(SETTINGS.give_m, SETTINGS.arm_m * rotation_angle(before, after))


def _lenses(plan: _Plan) -> Iterator[Statement]:
    """One prior where both checks state the lens alike: it is one piece of knowledge, not two."""
    known: dict[str, LensPrior] = {}
    for each, at in zip(plan.seen, plan.columns.lens, strict=True):
        first = known.setdefault(each.name, each.prior)
        if first is each.prior:
            yield of_lens(Group("lens", each.name), at, first)
        elif not _alike(first, each.prior):
            yield of_lens(Group("lens", f"{each.name}'"), at, each.prior)


def _alike(one: LensPrior, other: LensPrior) -> bool:
    """Whether two priors say the same of a lens that is neither's guess."""
    vector = 1.001 * one.guess.as_vector()
    a, b = (prior.rows(vector)[0] for prior in (one, other))
    return len(a) == len(b) and np.allclose(a, b, rtol=1e-9)


def _mountings(plan: _Plan) -> Iterator[Statement]:
    """Stated places, once where both checks state the same: it was measured once."""
    freed = {
        g.name for epoch in plan.epochs for g in epoch.adjustment.all_freed if g.kind == "mounting"
    }
    stated: dict[str, Camera] = {}
    for name, view in plan.before.items():
        camera = stated[name] = _known(plan.epochs[0], name, freed)
        yield mounting(camera, plan.columns.pose[view, :3])
    for name, view in plan.after.items():
        camera = _known(plan.epochs[1], name, freed)
        if name in stated and np.array_equal(stated[name].position_m, camera.position_m):
            continue
        yield Shift(
            group=Group("mounting", f"{name}'"),
            columns=np.concatenate([plan.columns.pose[view, :3], plan.columns.pose[plan.stance]]),
            sigma=camera.position_sigma_m,
            after=view,
            stance=plan.stance,
            before=None,
            stated=camera.position_m,
        )


def _known(epoch: Epoch, name: str, freed: set[str]) -> Camera:
    camera = epoch.job.camera(name)
    return replace(camera, position_sigma_m=ADJUSTMENT.freed.place_m) if name in freed else camera

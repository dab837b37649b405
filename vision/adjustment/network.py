"""The rows of a network: whitened residuals and their derivatives, over all pictures at once.

Columns are those of `vision.adjustment.state`. Rows are the points, two each, which touch their
view's pose and lens and the world; the statements, which touch what they are of; and the priors of
single unknowns: what is `Held`, and all of the world, of which the marks' own are eliminated.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment.elimination import Rows, incidence
from vision.adjustment.groups import Group
from vision.adjustment.state import (
    Columns,
    Indices,
    PointRows,
    Seen,
    State,
    View,
    Weights,
)
from vision.adjustment.statements import Held, Statement
from vision.adjustment.world import NO_BLOCK, NO_WORLD, World
from vision.camera.geometry import cross_matrix
from vision.camera.lens import monotone_limits_rad, project_with_derivatives
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, Flags


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Network:
    """Everything that stays the same while the network is solved.

    `prior_sigma` (kept,) is that of the unknowns' own priors as stated, infinite where there is
    none, and `stated` (kept,) where those have their mean. `others` are the statements that are no
    such prior. `touched` are, by view, the columns that its points touch. `excess` is what the
    degrees of freedom are beside two for each point.
    """

    columns: Columns
    views: tuple[View, ...]
    points: PointRows
    world: World
    statements: dict[Group, Statement]
    start: State
    prior_sigma: Array
    stated: Array
    others: tuple[Statement, ...]
    touched: tuple[Indices, ...]
    excess: int

    @property
    def base(self) -> int:
        """Column at which the world's unknowns begin."""
        return self.columns.base

    @property
    def kept(self) -> int:
        """How many unknowns are kept: all but the marks' own deviations."""
        return self.base + self.world.kept

    @property
    def size(self) -> int:
        """How many unknowns there are, cameras and world."""
        return self.base + self.world.size

    @property
    def marks(self) -> tuple[MarkId, ...]:
        """The mark that each point belongs to."""
        return tuple(self.world.mark_of_point[i] for i in self.points.ids)

    def shows(self, mark_id: MarkId) -> Flags:
        """Which points (n,) are of this mark."""
        return np.array([each == mark_id for each in self.marks], dtype=bool)

    def groups(self) -> tuple[Group, ...]:
        """Name every group that can be set free."""
        return tuple(self.statements)

    def group_rows(self, state: State, group: Group) -> tuple[Array, Array]:
        """How far a group lies from what was stated (k,), and its derivative (k, kept)."""
        statement = self.statements[group]
        off, by_touched = statement.rows(state)
        jacobian = np.zeros((len(off), self.kept))
        jacobian[:, statement.columns] = by_touched
        return off, jacobian

    def freeing(self, weights: Weights, groups: Iterable[Group]) -> Weights:
        """Set these groups free and hold all others as stated."""
        freed = {group: self.statements[group].freed_sigma for group in groups}
        return replace(weights, group_sigma=freed)

    def places_m(self, state: State) -> Array:
        """Where every point lies (p, 3), in ground coordinates."""
        points = self.points
        if not self.world.size:
            return points.planned_m
        kept, own = self.world.split(state.world, points.blocks)
        places = points.planned_m + points.by_kept_m @ kept
        return np.asarray(places + (points.by_own_m @ own[..., None])[..., 0])

    def predicted(self, state: State) -> tuple[Array, Array, Array, Array]:
        """Predicted minus measured (p, 2) px; by the point (p, 2, 3), the lens (p, 2, 8); points.

        Last, the points (p, 3) in their camera's coordinates.
        """
        points, lens = self.points, state.lens
        away = self.places_m(state) - state.place_m[points.pose]
        seen = (state.R[points.pose] @ away[..., None])[..., 0]
        limits = monotone_limits_rad(lens[:, 4:])
        pixels, by_point, by_lens = project_with_derivatives(
            seen, lens[points.lens], limits[points.lens]
        )
        return pixels - points.pixels_px, by_point, by_lens, seen

    def seen(self, state: State) -> Seen:
        """How every point is seen from a state, in pixels."""
        off_px, by_point, by_lens, seen = self.predicted(state)
        by_place = by_point @ state.R[self.points.pose]
        # The camera's place moves the point against it; its turn w moves the point by w x point.
        by_camera = np.concatenate([-by_place, by_point @ -cross_matrix(seen), by_lens], axis=-1)
        return Seen(state=state, off_px=off_px, by_camera=by_camera, by_place=by_place)

    def point_rows(self, seen: Seen, whitener: Array) -> tuple[Array, Array, Array, Array]:
        """Whitened rows of the points: r (p, 2), and their derivatives by what each depends on.

        By its camera (p, 2, c), by the world's kept unknowns (p, 2, w), by its mark's own
        (p, 2, o). Zero where the whitener (p, 2, 2) is; NaN where the lens cannot show the point.
        """
        r = (whitener @ seen.off_px[..., None])[..., 0]
        by_camera, by_place = whitener @ seen.by_camera, whitener @ seen.by_place
        left_out = ~whitener.any(axis=(1, 2))
        if left_out.any():
            r[left_out], by_camera[left_out], by_place[left_out] = 0.0, 0.0, 0.0
        by_world, by_own = by_place @ self.points.by_kept_m, by_place @ self.points.by_own_m
        return r, by_camera, by_world, by_own

    def by_kept(self, by_camera: Array, by_world: Array) -> Array:
        """Derivatives (p, 2, kept) by all kept unknowns, from those that each point touches."""
        out = np.zeros((len(by_camera), 2, self.kept))
        for view, touched in zip(self.views, self.touched, strict=True):
            out[view.rows, :, touched] = by_camera[view.rows]
        out[:, :, self.base :] = by_world
        return out

    def rows(self, seen: Seen, weights: Weights) -> Rows:
        """All rows at a state."""
        state, world = seen.state, self.world
        r, by_camera, by_world, by_own = self.point_rows(seen, weights.whiteners)
        others, jacobian = self._other_rows(state, weights)
        sigma = self._prior_sigma(weights)
        shape = (-1, world.own_size) if world.own_size else (0, 0)
        own_sigma = world.sigma[world.kept :].reshape(shape)
        return Rows(
            r=r,
            by_camera=by_camera,
            by_world=by_world,
            by_own=by_own,
            views=tuple(view.rows for view in self.views),
            touched=self.touched,
            blocks=self.points.blocks,
            by_block=self.points.by_block,
            others=others,
            by_kept_others=jacobian,
            prior=(state.x[: self.kept] - self.stated) / sigma,
            weight=1 / sigma,
            prior_own=state.x[self.kept :].reshape(shape) / own_sigma,
            weight_own=1 / own_sigma,
        )

    def _other_rows(self, state: State, weights: Weights) -> tuple[Array, Array]:
        """Whitened rows (m,) of all statements that are no priors of single unknowns."""
        found = []
        for each in self.others:
            sigma = weights.group_sigma.get(each.group, each.sigma)
            found.append((each.columns, *each.whitened(state, sigma)))
        jacobian, first = np.zeros((sum(len(r) for _, r, _ in found), self.kept)), 0
        for columns, r, by_touched in found:
            jacobian[first : first + len(r), columns] = by_touched
            first += len(r)
        return np.concatenate([np.zeros(0), *(r for _, r, _ in found)]), jacobian

    def _prior_sigma(self, weights: Weights) -> Array:
        """Sigmas (kept,) of the unknowns' own priors; infinite where there is none."""
        sigma = self.prior_sigma.copy()
        for group, value in weights.group_sigma.items():
            statement = self.statements[group]
            if isinstance(statement, Held):
                sigma[statement.columns] = value
        return sigma

    def degrees_of_freedom(self, used: Flags) -> int:
        """Rows that weigh something, minus unknowns; `used` (p,) are the points that take part."""
        return 2 * int(used.sum()) + self.excess


def network_of(
    columns: Columns,
    views: tuple[View, ...],
    points: PointRows,
    statements: Iterable[Statement],
    start: State,
    world: World = NO_WORLD,
) -> Network:
    """Sort the statements into priors of single unknowns and all others."""
    statements = tuple(statements)
    sigma, stated = np.full(columns.base + world.kept, np.inf), np.zeros(columns.base + world.kept)
    sigma[columns.base :] = world.sigma[: world.kept]
    # Every unknown of the world has a row of its own. A lens prior holds as many directions as a
    # lens has, whatever its rows.
    excess = -columns.base
    for each in statements:
        if isinstance(each, Held):
            sigma[each.columns], stated[each.columns] = each.sigma, each.stated
        if not isinstance(each, Held) or each.columns[0] < columns.base:
            excess += each.degrees
    return Network(
        columns=columns,
        views=views,
        points=points,
        world=world,
        statements={each.group: each for each in statements},
        start=start,
        prior_sigma=sigma,
        stated=stated,
        others=tuple(each for each in statements if not isinstance(each, Held)),
        touched=tuple(np.r_[columns.pose[v.pose], columns.lens[v.lens]] for v in views),
        excess=excess,
    )


def points_of(
    views: tuple[View, ...],
    ids: tuple[MarkId, ...],
    places_m: Array,
    pixels_px: Array,
    covariance_px2: Array,
    world: World = NO_WORLD,
) -> PointRows:
    """Points (p) of all views; without a world they lie just at `places_m` (p, 3)."""
    count = len(places_m)
    by_kept, by_own = np.zeros((count, 3, 0)), np.zeros((count, 3, 0))
    blocks = np.full(count, NO_BLOCK, dtype=np.intp)
    if world.size:
        by_kept, by_own, blocks = world.d_places([world.mark_of_point[i] for i in ids], places_m)
    of_view = np.repeat(np.arange(len(views)), [v.rows.stop - v.rows.start for v in views])
    return PointRows(
        pose=np.array([view.pose for view in views], dtype=np.intp)[of_view],
        lens=np.array([view.lens for view in views], dtype=np.intp)[of_view],
        ids=ids,
        planned_m=places_m,
        pixels_px=pixels_px,
        covariance_px2=covariance_px2,
        by_kept_m=by_kept,
        by_own_m=by_own,
        by_block=incidence(blocks, int(blocks.max(initial=NO_BLOCK)) + 1),
        blocks=blocks,
    )

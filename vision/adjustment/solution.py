"""From the solved network to cameras, strips and marks with their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.adjustment.adjusted import (
    AdjustedCamera,
    AdjustedMark,
    AdjustedReading,
    AdjustedStrip,
    Adjustment,
    BodyTurn,
    Datum,
    Explanation,
    GroupTest,
)
from vision.adjustment.groups import Group
from vision.adjustment.network import Network
from vision.adjustment.readings import Length
from vision.adjustment.settings import SETTINGS
from vision.adjustment.solving import Solved, spread_of
from vision.adjustment.state import UNKNOWNS, State, View, Weights
from vision.adjustment.statements import Held, OnTurnedBody, Statement
from vision.adjustment.world import QUARTER_TURN
from vision.job.job import Job, SingleMark, Strip
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, Flags
from vision.units.lengths import UNITS

BLUNDERS_M = (float(UNITS["in"]), 0.1, float(UNITS["ft"]), 1.0)
"""What a tape is misread by: a mark, a figure or a whole unit; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Places:
    """Every mark's shift from its plan (n, 3) with covariance (n, 3, 3), in the world's order."""

    row: dict[MarkId, int]
    shift_m: Array
    covariance_m2: Array


def adjustment_of(
    job: Job,
    network: Network,
    solution: Solved,
    used: Flags,
    *,
    tests: dict[Group, GroupTest],
    placed: Solved,
    weights: Weights,
    freed: tuple[Group, ...] = (),
    explanations: tuple[Explanation, ...] = (),
) -> Adjustment:
    """Everything that the solution says, in the order of the job file.

    `freed` are all groups that are free in it, `explanations` say why, and `tests` are its tests.
    `placed` is the solution, with these `weights`, by which things lie where they are said to.
    """
    covariance = placed.covariance.kept
    ties = tuple(each.groups for each in explanations if len(each.groups) > 1)
    world, of_world = placed.state.world, covariance[network.base :, network.base :]
    places = _places(network, placed)
    cameras = _cameras(network, placed, used, covariance)
    return Adjustment(
        cameras=cameras,
        strips=tuple(_strip(network, strip, world, of_world, places) for strip in job.strips),
        marks=tuple(_mark(network, mark, places, used) for mark in job.marks),
        mark_m=_adjusted_places(network, placed.state, places),
        freed=tuple(group for group in freed if not any(group in tie for tie in ties)),
        chi2=solution.chi2,
        degrees_of_freedom=solution.degrees_of_freedom,
        parameter_covariance=covariance,
        camera_slice={v.name: _columns(v) for v in network.views},
        freed_alternatives=ties,
        groups=tests,
        readings=tuple(
            _reading(placed, each, freed)
            for group, each in network.statements.items()
            if group.kind == "reading"
        ),
        explanations=explanations,
        datum=datum_of(network, placed, weights),
        inflated={g: sigma for g, sigma in weights.group_sigma.items() if g not in freed},
    )


def datum_of(network: Network, solution: Solved, weights: Weights) -> Datum:
    """How well what was stated and read holds a common shift and turn of everything."""
    motion = common_motion(network, solution.state)
    information = np.zeros((3, 3))
    for group, each in network.statements.items():
        sigma = weights.group_sigma.get(group, each.sigma)
        rows = each.rows(solution.state)[1] @ motion[each.columns] / sigma
        information += rows.T @ rows
    x, y, turn = np.sqrt(np.diag(np.linalg.inv(information)))
    return Datum(shift_sigma_m=(float(x), float(y)), turn_sigma_rad=float(turn))


def common_motion(network: Network, state: State) -> Array:
    """How the kept unknowns go when everything shifts in x and y, and turns about z, (kept, 3)."""
    motion = np.zeros((network.kept, 3))
    for each in network.statements.values():
        if not isinstance(each, Held | OnTurnedBody) or each.planned_m is None:
            continue
        places = each.columns[: len(each.planned_m)]
        at = each.planned_m + state.x[places]
        for first in range(0, len(at) - 1, 2):
            motion[places[first : first + 2], :2] = np.eye(2)
            motion[places[first : first + 2], 2] = [-at[first + 1], at[first]]
    # The camera turns with the ground: R' = R turn^-1.
    for R, columns in zip(state.R, network.columns.pose, strict=True):
        motion[columns[3:], 2] = -R[:, 2]
    return motion


def _reading(solution: Solved, read: Statement, freed: tuple[Group, ...]) -> AdjustedReading:
    adjusted_minus_read, rows = read.rows(solution.state)
    spread = rows @ solution.covariance.kept[np.ix_(read.columns, read.columns)] @ rows.T
    off, sigma = -adjusted_minus_read, np.sqrt(np.diag(spread))
    blunder_m = None
    if read.group in freed and isinstance(read, Length):
        blunder_m = length_blunder(float(off[0]), float(np.hypot(sigma[0], read.sigma)))
    return AdjustedReading(group=read.group, residual=off, sigma=sigma, blunder_m=blunder_m)


def length_blunder(off_m: float, sigma_m: float) -> float | None:
    """The one blunder that explains a length read wrong by `off_m`, with its sign.

    It must lie within so many sigmas of what was found, which must itself be more than that; None
    for none or several.
    """
    reach_m = SETTINGS.blunder_sigmas * sigma_m
    near = [size_m for size_m in BLUNDERS_M if abs(abs(off_m) - size_m) < reach_m]
    if len(near) != 1 or abs(off_m) <= reach_m:
        return None
    return float(np.copysign(near[0], off_m))


def _columns(view: View) -> slice:
    """Pose and lens of one camera side by side."""
    return slice(UNKNOWNS * view.pose, UNKNOWNS * (view.pose + 1))


def _cameras(
    network: Network, solution: Solved, used: Flags, covariance: Array
) -> tuple[AdjustedCamera, ...]:
    return tuple(
        AdjustedCamera(
            name=view.name,
            pose=solution.state.pose(view.pose),
            lens=view.like.with_vector(solution.state.lens[view.lens]),
            covariance=covariance[_columns(view), _columns(view)],
            used=used[view.rows],
            residual_px=-solution.seen.off_px[view.rows],
            stance=_stance(network, solution, view, covariance),
        )
        for view in network.views
    )


def _stance(network: Network, solution: Solved, view: View, covariance: Array) -> BodyTurn | None:
    """How the body is turned against the ground, as it goes with this camera's own turn."""
    axes, columns = [*network.world.stance], [*network.world.stance.values()]
    if not axes:
        return None
    turn_rad = np.zeros(3)
    turn_rad[axes] = solution.state.world[columns]
    by_turn = np.zeros((len(covariance), 6))
    by_turn[network.columns.pose[view.pose, 3:], [0, 1, 2]] = 1.0
    by_turn[[network.base + column for column in columns], [3 + axis for axis in axes]] = 1.0
    return BodyTurn(
        turn_rad=turn_rad,
        read=(0 in axes, 1 in axes),
        covariance_rad2=by_turn.T @ covariance @ by_turn,
    )


def _strip(
    network: Network, strip: Strip, world: Array, covariance: Array, places: _Places
) -> AdjustedStrip:
    """One strip's ends and what follows; as stated where no camera saw it."""
    planned = np.stack([strip.from_m, strip.to_m])
    if strip.name in network.world.strips:
        own = network.world.strips[strip.name]
        ends, ends_covariance = world[own], covariance[own, own]
    else:
        ends, ends_covariance = np.zeros(4), strip.position_sigma_m**2 * np.eye(4)
    ends_m = planned + ends.reshape(2, 2)
    ground = network.world.heights.get(strip.name, slice(0))
    middle = 0.5 * np.hstack([np.eye(2), np.eye(2)])
    direction = ends_m[1] - ends_m[0]
    length_m = float(np.linalg.norm(direction))
    turn_by = QUARTER_TURN @ direction / length_m**2
    d_turn = np.concatenate([-turn_by, turn_by])
    planned_marks = network.world.planned
    ids = tuple(i for i in network.world.marks if planned_marks[i].strip == strip.name)
    ids = tuple(sorted(ids, key=lambda mark_id: planned_marks[mark_id].index))
    rows = [places.row[mark_id] for mark_id in ids]
    return AdjustedStrip(
        name=strip.name,
        ends_m=ends_m,
        covariance_m2=ends_covariance,
        shift_m=middle @ ends,
        shift_sigma_m=np.sqrt(np.diag(middle @ ends_covariance @ middle.T)),
        turn_rad=float(
            np.arctan2(strip.along @ QUARTER_TURN.T @ direction, strip.along @ direction)
        ),
        turn_sigma_rad=float(np.sqrt(d_turn @ ends_covariance @ d_turn)),
        mark_ids=ids,
        mark_shift_m=places.shift_m[rows, :2],
        mark_shift_covariance_m2=places.covariance_m2[rows, :2, :2],
        seen=any(network.world.planned[i].strip == strip.name for i in network.world.in_pictures),
        heights_m=world[ground],
        height_sigma_m=np.sqrt(np.diag(covariance)[ground]),
    )


def _places(network: Network, solution: Solved) -> _Places:
    """Every mark's adjusted place, a strip's and its own deviation together."""
    ids = list(network.world.marks)
    planned = np.array([network.world.planned[i].centre_m for i in ids]).reshape(-1, 3)
    of_world, by_own, blocks = network.world.d_places(ids, planned)
    by_kept = np.zeros((len(ids), 3, network.kept))
    by_kept[:, :, network.base :] = of_world
    kept, own = network.world.split(solution.state.world, blocks)
    return _Places(
        row={mark_id: row for row, mark_id in enumerate(ids)},
        shift_m=of_world @ kept + (by_own @ own[..., None])[..., 0],
        covariance_m2=spread_of(solution.covariance, by_kept, by_own, blocks),
    )


def _mark(network: Network, mark: SingleMark, places: _Places, used: Flags) -> AdjustedMark:
    mark_id = MarkId(mark.name)
    if mark_id not in network.world.marks:
        stated = mark.position_sigma_m**2 * np.eye(3)
        return AdjustedMark(name=mark.name, shift_m=np.zeros(3), covariance_m2=stated, seen=False)
    row = places.row[mark_id]
    return AdjustedMark(
        name=mark.name,
        shift_m=places.shift_m[row],
        covariance_m2=places.covariance_m2[row],
        seen=mark_id in network.world.in_pictures,
        views=int((used & network.shows(mark_id)).sum()),
    )


def _adjusted_places(network: Network, state: State, places: _Places) -> dict[MarkId, Array]:
    """Give the adjusted place (3,) of every mark and every seen corner of a panel."""
    planned = network.world.planned
    adjusted = {i: planned[i].centre_m + places.shift_m[row] for i, row in places.row.items()}
    points = network.points
    adjusted.update(zip(points.ids, network.places_m(state), strict=True))
    return adjusted

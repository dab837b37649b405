"""From the solved network to cameras, strips and marks with their uncertainty."""

from __future__ import annotations

import numpy as np

from vision.adjustment.group_tests import group_tests
from vision.adjustment.network import OWN, Network, State
from vision.adjustment.screening import Used, degrees_of_freedom
from vision.adjustment.values import (
    AdjustedCamera,
    AdjustedMark,
    AdjustedReading,
    AdjustedStrip,
    Adjustment,
)
from vision.adjustment.world import QUARTER_TURN
from vision.geometry import Array, d_aim_d_rotation_vector
from vision.job import Job, SingleMark, Strip
from vision.plan_fit import Flags
from vision.solver import Solution


def adjustment_of(
    job: Job,
    network: Network,
    solution: Solution[State],
    used: Used,
    *,
    freed: tuple[str, ...] = (),
    ties: tuple[tuple[str, ...], ...] = (),
) -> Adjustment:
    """Everything that the solution says, in the order of the job file.

    `freed` are all groups that are free in it, `ties` those that cannot be told apart.
    """
    cameras = [_camera(network, solution, i, used[i]) for i in range(len(network.views))]
    base = OWN * len(network.views)
    world_covariance = solution.covariance[base:, base:]
    world = solution.state.world
    return Adjustment(
        cameras=tuple(cameras),
        strips=tuple(_strip(network, strip, world, world_covariance) for strip in job.strips),
        marks=tuple(_mark(network, mark, world, world_covariance) for mark in job.marks),
        mark_m=_places(network, world),
        freed=tuple(group for group in freed if not any(group in tie for tie in ties)),
        chi2=solution.chi2,
        degrees_of_freedom=degrees_of_freedom(solution, used),
        parameter_covariance=solution.covariance,
        camera_slice=network.camera_slice,
        freed_alternatives=ties,
        groups=group_tests(network, solution, used, network.groups(), freed=freed),
        readings=tuple(_reading(network, solution, view.group) for view in network.readings),
    )


def _reading(network: Network, solution: Solution[State], group: str) -> AdjustedReading:
    adjusted_minus_read, rows = network.group_rows(solution.state, group)
    spread = rows @ solution.covariance @ rows.T
    return AdjustedReading(
        name=group, residual=-adjusted_minus_read, sigma=np.sqrt(np.diag(spread))
    )


def _camera(network: Network, solution: Solution[State], index: int, used: Flags) -> AdjustedCamera:
    own = slice(OWN * index, OWN * (index + 1))
    covariance = solution.covariance[own, own]
    pose = solution.state.poses[index]
    d_aim = d_aim_d_rotation_vector(pose.R)
    predicted_minus_measured, _ = network.points(solution.state, index)
    return AdjustedCamera(
        name=network.views[index].camera.name,
        pose=pose,
        lens=solution.state.lenses[index],
        covariance=covariance,
        aim_covariance_rad2=d_aim @ covariance[3:6, 3:6] @ d_aim.T,
        position_sigma_m=np.sqrt(np.diag(covariance)[:3]),
        used=used,
        residual_px=-predicted_minus_measured,
    )


def _strip(network: Network, strip: Strip, world: Array, covariance: Array) -> AdjustedStrip:
    """One strip's ends and what follows; as stated where no camera saw it."""
    planned = np.stack([strip.from_m, strip.to_m])
    if strip.name in network.world.strips:
        own = network.world.strips[strip.name]
        ends, ends_covariance = world[own], covariance[own, own]
    else:
        ends, ends_covariance = np.zeros(4), strip.position_sigma_m**2 * np.eye(4)
    ends_m = planned + ends.reshape(2, 2)
    middle = 0.5 * np.hstack([np.eye(2), np.eye(2)])
    direction = ends_m[1] - ends_m[0]
    length_m = float(np.linalg.norm(direction))
    turn_by = QUARTER_TURN @ direction / length_m**2
    d_turn = np.concatenate([-turn_by, turn_by])
    ids, shifts, covariances = _mark_shifts(network, strip.name, world, covariance)
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
        mark_shift_m=shifts,
        mark_shift_covariance_m2=covariances,
        seen=any(network.world.planned[i].strip == strip.name for i in network.world.in_pictures),
    )


def _mark_shifts(
    network: Network, strip_name: str, world: Array, covariance: Array
) -> tuple[tuple[str, ...], Array, Array]:
    """Ids (k), shifts (k, 2) from the plan and covariances (k, 2, 2) of a strip's marks."""
    planned = network.world.planned
    ids = tuple(i for i in network.world.marks if planned[i].strip == strip_name)
    if not ids:
        return ids, np.zeros((0, 2)), np.zeros((0, 2, 2))
    d_place = np.array([network.world.d_place(i, planned[i].centre_m)[:2] for i in ids])
    return ids, d_place @ world, d_place @ covariance @ d_place.transpose(0, 2, 1)


def _mark(network: Network, mark: SingleMark, world: Array, covariance: Array) -> AdjustedMark:
    if mark.name not in network.world.marks:
        stated = mark.position_sigma_m**2 * np.eye(3)
        return AdjustedMark(name=mark.name, shift_m=np.zeros(3), covariance_m2=stated, seen=False)
    own = network.world.marks[mark.name]
    return AdjustedMark(
        name=mark.name,
        shift_m=world[own],
        covariance_m2=covariance[own, own],
        seen=mark.name in network.world.in_pictures,
    )


def _places(network: Network, world: Array) -> dict[str, Array]:
    """Give the adjusted place (3,) of every seen mark and every seen corner of a panel."""
    planned = network.world.planned
    places = {}
    for mark_id in network.world.marks:
        centre = planned[mark_id].centre_m
        places[mark_id] = centre + network.world.d_place(mark_id, centre) @ world
    for view in network.views:
        points = view.observations.points
        adjusted = points.planned_m + view.d_place @ world
        places.update(zip(points.ids, adjusted, strict=True))
    return places

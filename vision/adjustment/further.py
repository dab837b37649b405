"""The one further reading that would best tell apart explanations which tie.

Under each explanation alone the network has a solution, and each solution predicts what a tape or a
gauge would show, with a sigma. The reading whose predictions lie farthest apart, against the wider
of their sigmas and the tool's own, decides best. Only what a job file can hold as a [[reading]]
comes into question: lengths between ends of strips, single marks and cameras, offsets from the
centre line, and what a gauge shows on a camera's housing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from operator import itemgetter

import numpy as np

from vision.adjustment.adjusted import FurtherReading
from vision.adjustment.building import known_to
from vision.adjustment.groups import Group
from vision.adjustment.network import Network
from vision.adjustment.readings import Known, place_of, read_statement
from vision.adjustment.settings import SETTINGS
from vision.adjustment.solving import Solved
from vision.job.job import AngleReading, Job
from vision.job.mark_id import MarkId, PlaceId
from vision.units.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _End:
    """Where a place lies in one solution, (3,), with what that depends on.

    `by_kept` (3, kept), marks' own deviations following the kept unknowns; `own` (3, 3) is the
    covariance that is the place's own.
    """

    at_m: Array
    by_kept: Array
    own: Array


def deciding_reading(
    job: Job, network: Network, solutions: tuple[Solved, ...]
) -> FurtherReading | None:
    """Name the reading that best splits the explanations with these solutions, the likeliest first.

    None where no single one would.
    """
    compared = solutions[: SETTINGS.most_compared]
    names, known = _names(job, network), known_to(job, network)
    places = [_ends(known, network, solved, names) for solved in compared]
    best: tuple[float, str, tuple[PlaceId, ...]] = (SETTINGS.decides, "", ())
    for kind, between in _lengths(job, names, places[0]):
        each = [
            _length(kind, between, at, solved) for at, solved in zip(places, compared, strict=True)
        ]
        found = _apart(each, SETTINGS.tape_sigma_m)
        best = max(best, (found, kind, between), key=itemgetter(0, 1))
    for kind, camera in _angles(job, network):
        angles = [_angle(kind, camera, known, solved) for solved in compared]
        found = _apart(angles, SETTINGS.gauge_sigma_rad)
        best = max(best, (found, kind, (camera,)), key=itemgetter(0, 1))
    statistic, kind, between = best
    return FurtherReading(kind=kind, between=between, statistic=statistic) if kind else None


def _apart(predicted: list[tuple[float, float]], tool_sigma: float) -> float:
    """Least statistic by which two of the predictions (value, variance) differ."""
    return min(
        (a - b) ** 2 / (max(of_a, of_b) + tool_sigma**2)
        for (a, of_a), (b, of_b) in combinations(predicted, 2)
    )


def _names(job: Job, network: Network) -> list[PlaceId]:
    """Places to tape from: ends of strips, single marks, cameras."""
    ends = [MarkId(s.name, i) for s in job.strips for i in (0, len(s.at_m) - 1)]
    cameras = [view.name for view in network.views]
    singles = [MarkId(mark.name) for mark in job.marks]
    known = {*network.world.marks, *cameras, *network.world.cameras}
    every: list[PlaceId] = [*ends, *singles, *cameras, *network.world.cameras]
    return [place for place in dict.fromkeys(every) if place in known]


def _lengths(
    job: Job, names: list[PlaceId], places: dict[PlaceId, _End]
) -> Iterator[tuple[str, tuple[PlaceId, ...]]]:
    """Every length that a person could tape, with its kind."""
    cameras = {camera.name for camera in job.cameras}
    for name in names:
        if abs(places[name].at_m[1]) > 0.5:
            yield "offset", (name,)
    for a, b in combinations(names, 2):
        across = np.linalg.norm(places[a].at_m - places[b].at_m) < SETTINGS.longest_m
        if across and not {a, b} <= cameras and not _body_between(job, places[a], places[b]):
            yield "distance", (a, b)


def _body_between(job: Job, a: _End, b: _End) -> bool:
    """Whether the body stands in the straight line between two places."""
    half = 0.5 * np.array([job.vehicle.length_m, job.vehicle.width_m])
    share = np.linspace(0, 1, 41)[:, None]
    line = (1 - share) * a.at_m + share * b.at_m
    inside = (np.abs(line[:, :2]) < half - 0.05).all(axis=1)
    return bool(inside.any())


def _angles(job: Job, network: Network) -> Iterator[tuple[str, str]]:
    for view in network.views:
        yield "tilt", view.name
        if abs(job.camera(view.name).aim.tilt_rad) < SETTINGS.steep_rad:
            yield "roll", view.name


def _length(
    kind: str, between: tuple[PlaceId, ...], places: dict[PlaceId, _End], solved: Solved
) -> tuple[float, float]:
    """Value and variance of a length in one solution."""
    ends = [places[name] for name in between]
    if kind == "offset":
        row, own, value = ends[0].by_kept[1], ends[0].own[1, 1], abs(float(ends[0].at_m[1]))
    else:
        apart = ends[0].at_m - ends[1].at_m
        value = float(np.linalg.norm(apart))
        unit = apart / max(value, 1e-9)
        row = unit @ (ends[0].by_kept - ends[1].by_kept)
        own = unit @ (ends[0].own + ends[1].own) @ unit
    return value, float(row @ solved.covariance.kept @ row + own)


def _angle(kind: str, camera: str, known: Known, solved: Solved) -> tuple[float, float]:
    """Value and variance of a camera's tilt or roll as a gauge would show it."""
    reading = AngleReading(
        camera=camera,
        tilt_rad=0.0 if kind == "tilt" else None,
        roll_rad=0.0 if kind == "roll" else None,
        against="ground" if known.world.slope is None else "gravity",
        sigma_rad=SETTINGS.gauge_sigma_rad,
    )
    statement = read_statement(Group("reading", "further"), reading, known)
    assert statement is not None, "a camera of the network has an angle"
    (value,), (row,) = statement.rows(solved.state)
    touched = statement.columns
    return float(value), float(row @ solved.covariance.kept[np.ix_(touched, touched)] @ row)


def _ends(
    known: Known, network: Network, solved: Solved, names: list[PlaceId]
) -> dict[PlaceId, _End]:
    """Every place by name."""
    _, deviations = known.world.split(solved.state.world, np.arange(len(solved.covariance.own)))
    out = {}
    for name in names:
        place = place_of(name, known)
        assert place is not None, "only places of the network are named"
        at, own, by_kept = place.at_m(solved.state), np.zeros((3, 3)), np.zeros((3, network.kept))
        by_kept[:, place.columns] = place.slope
        if place.block >= 0 and place.by_own is not None:
            at = at + place.by_own @ deviations[place.block]
            by_kept -= place.by_own @ solved.covariance.follows[place.block]
            own = place.by_own @ solved.covariance.own[place.block] @ place.by_own.T
        out[name] = _End(at_m=at, by_kept=by_kept, own=own)
    return out

"""Bodies that stand turned on their ground, simulated: with readings of a level, and without.

With readings: whether the stated sigmas of aims against the body are true, how often a turn of 1 in
100 is told, and how often one is told of a body that stands square. Without: how often the cameras
are said to look turned alike, by how well each is set. Printed by `tests.accuracy.network --level`.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tests.accuracy.simulation import Setting, Truth, known_lenses, simulate
from vision.adjustment.adjusted import Adjustment
from vision.adjustment.search import adjust
from vision.camera.geometry import aim_from_rotation
from vision.inspection.verdict.common_turn import common_turn, standing
from vision.job.job import Job, LevelReading
from vision.job.layout import planned_layout
from vision.units.arrays import Array

COVER = 1.959964
WIDE_DEG = 1.5
"""Turns are drawn to this much each way where the sigmas are asked for."""
IN_100 = float(np.arctan(0.01))


def with_levels(job: Job, pairs: int, sigma_deg: float, along: tuple[str, ...]) -> Job:
    """The job with so many readings on the ground and as many on the floor; values come later."""
    readings = tuple(
        LevelReading(
            on="ground" if on == "ground" else "floor",
            along="ahead" if way == "ahead" else "left",
            rise=0.0,
            sigma=float(np.radians(sigma_deg)),
        )
        for on in ("ground", "floor")
        for way in along
        for _ in range(pairs)
    )
    return replace(job, readings=readings)


def solved(
    job: Job, count: int, rng: np.random.Generator, turn_rad: Array | None, aim_sigma_deg: float
) -> Iterator[tuple[Truth, Adjustment]]:
    """So many jobs of bodies turned so; each by an amount of its own where `turn_rad` is None."""
    found = 0
    while found < count:
        wide = np.radians(np.r_[rng.uniform(-WIDE_DEG, WIDE_DEG, 2), 0.0])
        turn = wide if turn_rad is None else turn_rad
        setting = Setting(turn_rad=turn, aim_sigma_deg=aim_sigma_deg)
        truth = simulate(job, rng, setting=setting)
        if truth is None:
            continue
        result = adjust(truth.job, planned_layout(job), truth.observations)
        if isinstance(result, Adjustment):
            found += 1
            yield truth, result


def print_levels(job: Job, count: int, seed: int) -> None:
    """Print both tables."""
    print(f"{count} jobs of each kind")
    print("aims against the body: 95 % intervals that hold the truth (wanted: 93 to 97 %)")
    both = ("ahead", "left")
    kinds = ((5, 0.2, "fields of view"), (2, 0.1, "fields of view"), (5, 0.2, "lens files"))
    for index, (pairs, sigma_deg, lenses) in enumerate(kinds):
        rng = np.random.default_rng([seed, 50 + index])
        kind = known_lenses(job) if lenses == "lens files" else job
        _print_aims(
            f"{pairs} x {sigma_deg} degrees, {lenses}",
            solved(with_levels(kind, pairs, sigma_deg, both), count, rng, None, 3.0),
        )
    print("told that the body stands turned, levels across")
    for index, (pairs, sigma_deg) in enumerate(((5, 0.2), (2, 0.1))):
        kind = with_levels(job, pairs, sigma_deg, ("left",))
        shares = []
        for turn in (IN_100, 0.0):
            rng = np.random.default_rng([seed, 60 + index, int(turn > 0)])
            jobs = solved(kind, count, rng, np.array([turn, 0, 0]), 3.0)
            shares.append(np.mean([standing(result) is not None for _, result in jobs]))
        print(
            f"  {pairs} and {pairs} of {sigma_deg} degrees: 1 in 100 {shares[0]:6.1%} (wanted: 95),"
            f" level {shares[1]:5.1%} (wanted: at most 1)"
        )
        sys.stdout.flush()
    _print_common(job, count, seed)


def _print_aims(label: str, jobs: Iterator[tuple[Truth, Adjustment]]) -> None:
    over, turns = [], []
    for truth, result in jobs:
        body = truth.setting.ground_from_body
        for camera in result.cameras:
            aim = aim_from_rotation(truth.poses[camera.name].R @ body)
            over.append(camera.aim_on_body.minus(aim) / camera.aim_on_body_sigma_rad)
        stance = result.cameras[0].stance
        assert stance is not None
        off_rad = stance.turn_rad - truth.setting.turn_rad
        turns.append(off_rad[:2] / stance.sigma_rad[:2])
    words = []
    for name, each in (("aim", over), ("turn", turns)):
        share, rms = np.mean(np.abs(each) < COVER), np.sqrt(np.mean(np.square(each)))
        words.append(f"{name} {share:6.1%}, RMS over sigma {rms:.2f}")
    print(f"  {label}: {'; '.join(words)}")
    sys.stdout.flush()


def _print_common(job: Job, count: int, seed: int) -> None:
    """How often a common turn is said without readings."""
    print("said that the cameras look turned alike, without levels, by how well each is set")
    kinds = (("fields of view", job), ("lens files", known_lenses(job)))
    for index, (label, kind) in enumerate(kinds):
        for aim_sigma_deg in (0.2, 0.4, 3.0):
            shares = []
            for slope in (0.0, 0.01, 0.015):
                rng = np.random.default_rng([seed, 70 + index, int(1000 * slope)])
                turn = np.array([np.arctan(slope), 0, 0])
                jobs = solved(kind, count, rng, turn, aim_sigma_deg)
                said = [common_turn(truth.job, result) is not None for truth, result in jobs]
                shares.append(np.mean(said))
            print(
                f"  {label}, set to {aim_sigma_deg} degrees: level {shares[0]:5.1%},"
                f" 1 in 100 {shares[1]:5.1%}, 1.5 in 100 {shares[2]:5.1%}"
            )
            sys.stdout.flush()

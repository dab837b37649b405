"""Print whether a comparison with tape tells an exchanged camera from a turned one.

    python -m tests.accuracy.exchanged [--pairs 100] [--seed 1] [--out FILE]
    python -m tests.accuracy.exchanged --read FILE [FILE ...]

Pairs of checks as in `tests.accuracy.compare` (no pictures), strips laid anew, the vehicle lower
and leaning in half of them. In half of the pairs nothing else changed; in a quarter one camera was
exchanged for another of its type, in a quarter all were (1 % of focal length, 4 px of centre, one
sigma); a third of the pairs has a camera turned by half a degree besides. An exchange counts where
it moves a mark by over 1 px.
"""

from __future__ import annotations

import argparse
import json
import os
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from tests.accuracy.compare import TURN_RAD, Between, lowered, pair
from tests.accuracy.simulation import Truth
from tests.paths import CLEAR_DAY
from vision.camera.geometry import Pose
from vision.camera.solver import NoFit
from vision.comparison.compared import compare
from vision.job.job import Job
from vision.job.job_file import job_from_text

SIGMAS = 4.0
"""A change that is told and is farther off than this is wrong with confidence."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--read", type=Path, nargs="+")
    asked = parser.parse_args()
    found: list[dict[str, Any]] = []
    if asked.read:
        found = [json.loads(line) for file in asked.read for line in file.read_text().splitlines()]
    else:
        job = job_from_text(CLEAR_DAY.read_bytes(), CLEAR_DAY.name)
        for number in range(asked.pairs):
            told = one(job, asked.seed * 10_000 + number)
            if told is not None:
                found.append(told)
                if asked.out:
                    with asked.out.open("a") as stream:
                        stream.write(json.dumps(told) + "\n")
    report(found)


def drawn(job: Job, rng: np.random.Generator, number: int) -> Between:
    names = tuple(camera.name for camera in job.cameras)
    stance = lowered(rng).stance if number % 2 else Pose(R=np.eye(3), t_m=np.zeros(3))
    exchanged: tuple[str, ...] = ()
    if number % 4 == 1 or number % 8 == 2:
        exchanged = (names[int(rng.integers(4))],)
    elif number % 4 == 3 or number % 8 == 6:
        exchanged = names
    camera = names[int(rng.integers(4))] if number % 3 == 0 else ""
    axis = rng.normal(size=3)
    turn = TURN_RAD * axis / np.linalg.norm(axis) if camera else np.zeros(3)
    return Between(camera=camera, turn=turn, stance=stance, exchanged=exchanged)


def one(job: Job, seed: int) -> dict[str, Any] | None:
    """One pair, and what is said of each of its cameras."""
    rng = np.random.default_rng(seed)
    between = drawn(job, rng, seed)
    made = pair(job, between, rng)
    if made is None:
        return None
    first, second, truth, after = made
    shown = {name: moved_px(truth, after, name) for name in between.exchanged}
    told: dict[str, Any] = {"seed": seed, "exchanged": shown, "turned": between.camera}
    result = compare(first, second)
    if isinstance(result, NoFit):
        return told | {"why": result.code}
    wrong = []
    told_outright = [camera for camera in result.changed if not camera.or_lens]
    for camera in told_outright:
        before, now = truth.poses[camera.name], after.poses[camera.name]
        off = camera.aim_rad - Pose.at(np.zeros(3), now.R @ between.stance.R).aim.minus(before.aim)
        if (np.abs(off) > SIGMAS * camera.aim_sigma_rad).any():
            wrong.append(camera.name)
    height = (result.vehicle.height_m - between.stance.t_m[2]) / result.vehicle.height_sigma_m
    return told | {
        "why": "",
        "named": [each.name for each in result.exchanged],
        "changed": [each.name for each in told_outright],
        "torn": [
            *(name for name, why in result.not_compared if why.code == "turn-or-lens"),
            *(each.name for each in result.changed if each.or_lens),
        ],
        "wrong": wrong,
        "height_sigmas": height,
        "stands": result.vehicle.significant,
        "or_lenses": result.vehicle.or_lenses,
    }


def moved_px(truth: Truth, after: Truth, name: str) -> float:
    """How far the other lens moves the mark that it moves most."""
    seen = next(each for each in after.observations if each.name == name)
    rays = truth.lenses[name].unproject(seen.points.pixels_px)
    off = after.lenses[name].project(rays) - seen.points.pixels_px
    return float(np.nanmax(np.linalg.norm(off, axis=1)))


def report(every: list[dict[str, Any]]) -> None:
    """Print the counts."""
    judged = [each for each in every if not each["why"]]
    print(f"{len(every)} pairs, {len(judged)} compared")
    for each in every:
        if each["why"]:
            print(f"  not compared: {each['why']} (seed {each['seed']})")
    due = [(p, n) for p in judged for n, px in p["exchanged"].items() if px > 1]
    named = sum(name in pair["named"] for pair, name in due)
    torn = sum(name in pair["torn"] for pair, name in due)
    print(
        f"exchanged cameras whose marks moved by over 1 px: {len(due)}, named {named}, torn {torn}"
    )
    clean = [pair for pair in judged if not pair["exchanged"]]
    false = sum(len(pair["named"]) for pair in clean)
    print(f"pairs without an exchange: {len(clean)}; exchanges named {false}", end="; ")
    untouched = [pair for pair in clean if not pair["turned"]]
    alarms = sum(bool(pair["changed"]) for pair in untouched)
    turned = [pair for pair in clean if pair["turned"]]
    seen = [sum(p["turned"] in p[how] for p in turned) for how in ("changed", "torn")]
    print(f"a turn named in {alarms} of {len(untouched)} unturned, in {seen[0]} of {len(turned)}")
    print(f"turned outright, and in {seen[1]} as that or another lens")
    rest = [pair for pair in judged if pair["exchanged"]]
    for label, pairs in (("without", clean), ("with", rest)):
        wrong = sum(len(pair["wrong"]) for pair in pairs)
        others = sum(
            name != pair["turned"] for pair in pairs for name in pair["changed"]
        )  # fmt: skip
        height = np.array([pair["height_sigmas"] for pair in pairs])
        print(
            f"{label} an exchange: turns told of cameras that did not turn {others}, turns told "
            f"and over {SIGMAS:g} sigmas off {wrong}; height error/sigma RMS "
            f"{np.sqrt(np.mean(height**2)):.2f}"
        )


if __name__ == "__main__":
    main()

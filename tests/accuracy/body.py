"""Print how well a camera's turn against the body is told, on drawn pairs without any tape.

    python -m tests.accuracy.body [--unmoved 40] [--moved 40] [--knocked 40] [--changes 24]
    python -m tests.accuracy.body --read FILE [FILE ...]

Pairs of `tests.accuracy.body_scenes`, one camera each, on the four sides in turn. `unmoved`:
nothing happened. `moved`: a turn of the figure that the unmoved pair of the same seed states, about
one axis.
`knocked`: turns of 0 to 2 degrees about each axis and shifts of 0 to 10 mm along each. `changes`:
what changes though nobody knocked the camera, and night. Every fifth later picture has half the
size, every fifth drops. `--out FILE` adds each pair as a line of JSON; `--read` sums such files up.
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from tests.accuracy.body_scenes import CHANGES, NAMES, Day, Happened, day, later
from vision.comparison.body.judging import turn_of
from vision.comparison.body.keeping import edges_of
from vision.comparison.body.values import BodyEdges, Unkept
from vision.units.reason import Reason

ORDER = ("tilt", "pan", "roll")
ROWS = (1, 0, 2)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    for kind, count in (("unmoved", 40), ("moved", 40), ("knocked", 40), ("changes", 24)):
        parser.add_argument(f"--{kind}", type=int, default=count)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--read", type=Path, nargs="+")
    asked = parser.parse_args()
    if asked.read:
        found = [json.loads(line) for file in asked.read for line in file.read_text().splitlines()]
    else:
        found = []
        for pair in pairs(asked):
            found.append(pair)
            if asked.out:
                with asked.out.open("a") as stream:
                    stream.write(json.dumps(pair) + "\n")
    report(found)


def pairs(asked: argparse.Namespace) -> Iterator[dict[str, Any]]:
    """Every pair that is asked for; those of one seed share their first day."""
    counts = {k: getattr(asked, k) for k in ("unmoved", "moved", "knocked", "changes")}
    for number in range(max(counts.values())):
        seed = asked.seed * 10_000 + number
        rng = np.random.default_rng([seed, 7])
        first = day(seed, NAMES[number % 4])
        edges = edges_of(first.job, first.camera, first.adjusted, first.picture)
        extra = {"half_size": number % 5 == 1, "drop": number % 5 == 3}
        stated = np.radians([0.06, 0.25, 0.4])
        if number < counts["unmoved"]:
            found = told(first, edges, seed, Happened(**extra), "unmoved")
            yield found
            if found["seen_deg"]:
                stated = np.radians([found["seen_deg"][i] for i in (1, 0, 2)])
        if number < counts["moved"]:
            axis = int(rng.integers(3))
            turn = np.zeros(3)
            turn[ROWS[axis]] = np.degrees(stated[axis]) * rng.choice([-1, 1])
            yield told(first, edges, seed + 1, Happened(turn_deg=tuple(turn), **extra), "moved")
        if number < counts["knocked"]:
            turn = rng.uniform(0, 2, 3) * rng.choice([-1, 1], 3)
            shift = rng.uniform(0, 0.01, 3) * rng.choice([-1, 1], 3)
            knock = Happened(turn_deg=tuple(turn), shift_m=shift, **extra)
            yield told(first, edges, seed + 2, knock, "knocked")
        if number < counts["changes"]:
            change = CHANGES[(number // 4 + number) % len(CHANGES)]
            turn = np.zeros(3)
            yield told(first, edges, seed + 3, Happened(change=change), "changes")


def told(
    first: Day, edges: BodyEdges | Unkept, seed: int, happened: Happened, kind: str
) -> dict[str, Any]:
    """What is said of one pair, in degrees as pan, tilt, roll."""
    pair: dict[str, Any] = {
        "kind": kind, "seed": seed, "camera": first.camera.name, "change": happened.change,
        "half": happened.half_size, "drop": happened.drop,
        "turn_deg": list(map(float, happened.turn_deg)),
        "shift_mm": (1000 * happened.shift_m).tolist(),
        "why": "", "off_deg": None, "sigma_deg": None, "seen_deg": None,
    }  # fmt: skip
    found = (
        edges.reason if isinstance(edges, Unkept) else turn_of(edges, later(first, seed, happened))
    )
    if isinstance(found, Reason):
        return pair | {"why": found.code}
    degrees = {
        "off_deg": found.aim_rad, "sigma_deg": found.aim_sigma_rad, "seen_deg": found.detectable_rad
    }  # fmt: skip
    return (
        pair
        | {key: np.degrees(value).tolist() for key, value in degrees.items()}
        | {"significant": list(found.significant), "agreeing": found.agreeing, "kept": found.kept}
    )


def report(every: list[dict[str, Any]]) -> None:
    """The table."""
    for kind in ("unmoved", "moved", "knocked", "changes"):
        own = [pair for pair in every if pair["kind"] == kind]
        judged = [pair for pair in own if not pair["why"]]
        if not own:
            continue
        print(f"{kind}: {len(own)} pairs, {len(judged)} judged", end="")
        if judged:
            _judged(kind, judged)
        whys = [pair["why"] for pair in own if pair["why"]]
        print("".join(f"; {whys.count(why)} {why}" for why in sorted(set(whys))))
    _spread([pair for pair in every if not pair["why"]])


def _judged(kind: str, judged: list[dict[str, Any]]) -> None:
    turned = [any(pair["significant"]) for pair in judged]
    print(f", {sum(turned)} called turned", end="")
    if kind == "moved":
        right = 0
        for pair in judged:
            axis = int(np.abs(pair["turn_deg"]).argmax())
            same = pair["turn_deg"][axis] * pair["off_deg"][axis] > 0
            right += bool(pair["significant"][axis]) and same
        print(f", {right} about the right axis", end="")
    if kind == "knocked":
        missed = [
            any(abs(t) > s for t, s in zip(pair["turn_deg"], pair["seen_deg"], strict=True))
            for pair, yes in zip(judged, turned, strict=True)
            if not yes
        ]
        print(f", {sum(missed)} of {len(missed)} called unmoved turned more than stated", end="")
        wrong = sum(
            any(sig and abs(o - t) > max(3.5 * s, 0.1) for sig, o, t, s in zip(
                pair["significant"], pair["off_deg"], pair["turn_deg"], pair["sigma_deg"],
                strict=True)) for pair in judged)  # fmt: skip
        print(f", {wrong} a figure wrong by over 3.5 sigmas", end="")
    if kind == "changes":
        bad = [pair["change"] for pair, yes in zip(judged, turned, strict=True) if yes]
        print(f" ({', '.join(bad)})" if bad else "", end="")


def _spread(judged: list[dict[str, Any]]) -> None:
    for kind, half in (
        ("unmoved", False),
        ("unmoved", True),
        ("knocked", False),
        ("knocked", True),
    ):
        own = [pair for pair in judged if pair["kind"] == kind and pair["half"] == half]
        if not own:
            continue
        off = np.array([np.subtract(p["off_deg"], p["turn_deg"]) for p in own])
        sigma = np.array([p["sigma_deg"] for p in own])
        seen = np.median([p["seen_deg"] for p in own], axis=0)
        rms, ratio = np.median(np.abs(off), axis=0), np.sqrt(np.mean((off / sigma) ** 2, axis=0))
        worst = np.abs(off / sigma).max(axis=0)
        print(f"{kind}{', half size' if half else ''} ({len(own)}): ", end="")
        print("; ".join(
            f"{name} error {rms[i]:.3f} (median), figure {seen[i]:.2f}, error/sigma {ratio[i]:.2f}"
            f" (worst {worst[i]:.1f})"
            for name, i in zip(ORDER, ROWS, strict=True)
        ))  # fmt: skip


if __name__ == "__main__":
    main()

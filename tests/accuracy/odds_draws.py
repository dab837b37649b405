"""Hold stated odds against the truth, on pictures covered and mixed up until namings are wrong.

    python -m tests.accuracy.odds_draws FOLDER ... --draws 500 [--first 0] [--scenes 4] --out FILE
    python -m tests.accuracy.odds_draws --told FILE ...

Each draw takes a picture of the sets FOLDER, or of drawn scenes, covers up to 85 % of its marks,
states its aim up to 9 degrees more wrong in each angle and its mounting by 3 cm; three in ten get
another lot's picture instead, for which every naming is wrong; but where all of its marks lie where
the job has some, and the other way round, nothing in it can tell, and it does not count. What the
best naming's marks add up to goes to FILE, a line a draw, so that draws can be made in parts.
--told reads such files, chooses the worths of `OddsSettings` by the likelihood of one half of the
lots, and prints for the other half, by decade of the odds as they are set and as they would be
chosen, how many namings were right and wrong.
"""

from __future__ import annotations

import argparse
import dataclasses
import itertools
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.stats import beta

from tests.accuracy.conditions import View, views
from tests.accuracy.odds import SAME_PX, given_of, right_share, square_views
from tests.accuracy.pasted_covers import covered
from vision.camera.geometry import Aim
from vision.identification import odds
from vision.identification.poses import carried_poses
from vision.identification.refining import CarriedPose

FOREIGN, ALONE, MOST_COVERED = 0.3, 0.1, 0.85
"""Share of draws with another lot's picture, share not covered, and most marks that are covered."""
OFF_DEG, OFF_M = 9.0, 0.03
RIGHT, MISSED = 0.75, 0.1
"""Share of the marks of a right naming that lie in their true places; and share of marks up to
which a naming of another lot's picture leaves none over."""
Draw = dict[str, Any]


def lots(folders: list[Path], scenes: int) -> list[tuple[str, View]]:
    """Every picture that may be drawn, with its lot."""
    found = [(folder.name, view) for folder in folders for view in square_views([folder])]
    for seed in range(200, 200 + scenes):
        for condition in ("things 25 %", "plain"):
            found += [(f"{condition} {seed}", view) for view in views(condition, seed)]
    return found


def drawn(pool: list[tuple[str, View]], seed: int) -> Draw:
    """One draw: what its best naming adds up to, and whether it is right."""
    rng = np.random.default_rng([77, seed])
    lot, view = pool[int(rng.integers(len(pool)))]
    shown = view
    share = 0.0 if rng.uniform() < ALONE else float(rng.uniform(0.25, MOST_COVERED))
    foreign = bool(rng.uniform() < FOREIGN)
    if foreign:
        others = [v for name, v in pool if name != lot and v.grey.shape == view.grey.shape]
        shown = others[int(rng.integers(len(others)))]
        share *= float(rng.uniform() < 0.5)
    grey = (covered(shown, share, rng) if share else shown).grey
    pan, tilt, roll = view.camera.aim.as_array() + np.radians(rng.uniform(-OFF_DEG, OFF_DEG, 3))
    camera = dataclasses.replace(
        view.camera,
        aim=Aim(pan_rad=float(pan), tilt_rad=float(tilt), roll_rad=float(roll)),
        position_m=view.camera.position_m + rng.normal(0, OFF_M, 3),
    )
    told: Draw = {"lot": lot, "seed": seed, "foreign": foreign, "covered": round(share, 2)}
    given = given_of(dataclasses.replace(view, camera=camera), grey)
    poses = [] if given is None else carried_poses(given)
    if given is None or not poses:
        return told
    best = poses[0]
    right = not foreign and right_share(given, shown, best) >= RIGHT
    return told | {
        "nats": best.nats,
        "row_nats": best.row_nats,
        "rivals": [pose.nats for pose in poses[1:]],
        "against": best.contradicted > best.confirmed,
        "right": right,
        "counts": not (foreign and _explains_all(shown, best)),
    }


def _explains_all(shown: View, best: CarriedPose) -> bool:
    """Whether a naming of another lot's picture leaves none of its marks over, and misses none."""
    due = np.array([shown.true_px[each] for each in shown.due]).reshape(-1, 2)
    found = best.found_px[best.correlation > 0]
    off_px = np.linalg.norm(due[:, None] - found[None], axis=-1)
    if not off_px.size or best.contradicted > MISSED * best.expected:
        return False
    return bool((off_px.min(axis=1) < SAME_PX).mean() > 1 - MISSED)


def _log10_odds(draw: Draw) -> float:
    return odds.log10_odds(draw["nats"], draw["rivals"], draw["row_nats"])


def _table(draws: list[Draw], name: str) -> None:
    """Right and wrong namings by decade of odds, and the least that the wrong share can be."""
    print(f"{name}: {len(draws)} draws with a pose")
    decades = np.array([np.clip(np.floor(_log10_odds(draw)), -2, 8) for draw in draws])
    right = np.array([draw["right"] for draw in draws])
    for decade in range(-2, 9):
        here = decades == decade
        wrong, count = int((here & ~right).sum()), int(here.sum())
        least = beta.ppf(0.05, wrong, count - wrong + 1) if wrong else 0.0
        stated = 1 / (1 + 10.0**decade)
        print(
            f"  1e{decade:+d}: right {count - wrong:4d} wrong {wrong:3d}"
            f"  share at least {least:.4f}, stated at most {stated:.4f}"
        )


def _told(files: list[Path]) -> None:
    lines = [line for file in files for line in file.read_text("utf-8").splitlines()]
    draws = [json.loads(line) for line in lines]
    print(f"{len(draws)} draws, {sum('nats' not in draw for draw in draws)} without any pose")
    draws = [draw for draw in draws if draw.get("counts") and not draw["against"]]
    names = sorted({draw["lot"] for draw in draws})
    half = [draw for draw in draws if names.index(draw["lot"]) % 2]
    other = [draw for draw in draws if not names.index(draw["lot"]) % 2]
    _table(draws, "all, as it is set")
    best: tuple[float, odds.OddsSettings] | None = None
    as_set = odds.TUNED
    for lead, whole, none in itertools.product(
        (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 1.0), (0.2, 0.3, 0.4, 0.6, 0.8, 1.0), (0, 2, 4, 8, 12)
    ):
        odds.TUNED = dataclasses.replace(
            as_set, lead_worth=lead, sum_worth=whole, sum_of_none=float(none)
        )
        told = np.array([_log10_odds(draw) for draw in half]) * np.log(10)
        right = np.array([draw["right"] for draw in half])
        lost = float(np.logaddexp(0.0, np.where(right, -told, told)).sum())
        if best is None or lost < best[0]:
            best = lost, odds.TUNED
    assert best is not None
    odds.TUNED = best[1]
    print(
        f"chosen on one half: lead_worth {best[1].lead_worth}, sum_worth {best[1].sum_worth}, "
        f"sum_of_none {best[1].sum_of_none}"
    )
    _table(other, "the other half, as chosen")
    odds.TUNED = as_set
    _table(other, "the other half, as it is set")


def main() -> None:
    """Draw, or tell of what was drawn."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--draws", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--scenes", type=int, default=2)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--told", nargs="+", type=Path)
    given = parser.parse_args()
    cv2.setNumThreads(1)
    if given.told:
        _told(given.told)
        return
    pool = lots(given.folders, given.scenes)
    with given.out.open("a", encoding="utf-8") as out:
        for seed in range(given.first, given.first + given.draws):
            out.write(json.dumps(drawn(pool, seed)) + "\n")
            out.flush()


if __name__ == "__main__":
    main()

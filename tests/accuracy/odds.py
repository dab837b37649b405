"""Count what marks show at right poses and at wrong ones.

    python -m tests.accuracy.odds --count FOLDER ... [--covers 2] [--scenes 4]

The counts of `vision/identification/odds_table.py` are made anew: every picture of the
sets FOLDER, as it is and with things pasted over a quarter to 70 % of its marks, and of scenes
drawn with people and things in them, or empty. A right pose is fitted to the true pixels; wrong
ones are at random, within what is searched, and right ones slid along a strip by part of a spacing.
"""

from __future__ import annotations

import argparse
import dataclasses
import textwrap
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from tests.accuracy.conditions import View, stored_views, views
from tests.accuracy.pasted_covers import covered
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import lens_prior
from vision.camera.solver import NoFit
from vision.identification.inputs import IdentificationInput, prepared
from vision.identification.odds import cells, tape_cells
from vision.identification.refining import CarriedPose, expected_weight, fit_points
from vision.identification.refusals import sizes_px
from vision.identification.settings import SETTINGS
from vision.identification.tape import tape_steps
from vision.job.layout import planned_layout, points_of
from vision.job.visibility import d_pixel_d_mark
from vision.marks.measure.matching import Matches, match
from vision.units.reason import Reason

Camera = tuple[Pose, Lens]
SURE, SAME_PX = 1.5, 4.0
"""A mark of a right pose that is seen within this of its prediction shows what ground looks like;
and a naming is right where three quarters of its marks lie within this of their true pixels."""
SLID = (0.2, 0.8)
EACH = 6
"""Random and slid poses per picture."""


PARTS = tuple(each.name for each in dataclasses.fields(Matches))


def _part(matches: Matches, keep: np.ndarray) -> Matches:
    return Matches(**{name: getattr(matches, name)[keep] for name in PARTS})


def given_of(view: View, grey: np.ndarray) -> IdentificationInput | None:
    height, width = grey.shape
    prior = lens_prior(view.job.lens_of(view.camera), width, height)
    picture = np.asarray(grey, np.float32)
    given = prepared(view.job, planned_layout(view.job), view.camera, prior, picture)
    return None if isinstance(given, Reason) else given


def _right_camera(given: IdentificationInput, view: View) -> Camera | None:
    """The pose and lens that put the planned marks onto their true pixels."""
    points = [point for mark in given.marks for point in points_of(mark)]
    points = [point for point in points if str(point.id) in view.true_px]
    if len(points) < SETTINGS.least_marks:
        return None
    pixels = np.array([view.true_px[str(point.id)] for point in points])
    covariance = np.tile(0.25 * np.eye(2), (len(points), 1, 1))
    start = Pose.at(view.camera.position_m, view.camera.aim.rotation()), given.prior.guess
    fit = fit_points(given, points, pixels, covariance, start)
    return None if isinstance(fit, NoFit) else (fit.pose, fit.lens)


def _wrong_cameras(
    given: IdentificationInput, right: Camera, rng: np.random.Generator
) -> Iterator[tuple[Camera, bool]]:
    """Poses at random, and right ones slid along a strip; with whether they are at random."""
    pose, lens = right
    for _ in range(EACH):
        reach = SETTINGS.aim_reach_rad
        pan, tilt, roll = given.camera.aim.as_array() + rng.uniform(-reach, reach, 3)
        aim = Aim(pan_rad=float(pan), tilt_rad=float(tilt), roll_rad=float(roll))
        place = given.camera.position_m + rng.normal(0, 0.05, 3)
        yield (Pose.at(place, aim.rotation()), lens), True
    pairs = [
        (a, b)
        for a, b in zip(given.marks[:-1], given.marks[1:], strict=True)
        if a.strip is not None and a.strip == b.strip
    ]
    for _ in range(EACH if pairs else 0):
        a, b = pairs[int(rng.integers(len(pairs)))]
        slid = rng.uniform(*SLID) * (b.centre_m - a.centre_m)
        yield (Pose.at(pose.camera_in_ground_m + slid, pose.R), lens), False


class Counts:
    """How often marks, and tape between them, showed each of what they may."""

    def __init__(self) -> None:
        cells_in_all = (len(SETTINGS.odds.sizes_px) + 1, 44)
        self.right, self.wrong = np.zeros(cells_in_all, int), np.zeros(cells_in_all, int)
        steps = len(SETTINGS.odds.tape_steps) + 1
        self.tape_right, self.tape_wrong = np.zeros(steps, int), np.zeros(steps, int)

    def count(self, view: View, rng: np.random.Generator) -> None:
        """Count one picture."""
        given = given_of(view, view.grey)
        right = None if given is None else _right_camera(given, view)
        if given is None or right is None:
            return
        ground = self._ground(given, right)
        self._marks(given, right, ground, self.right)
        self._tape(given, right, self.tape_right)
        for camera, at_random in _wrong_cameras(given, right, rng):
            self._marks(given, camera, ground, self.wrong)
            if at_random:
                self._tape(given, camera, self.tape_wrong)

    @staticmethod
    def _ground(given: IdentificationInput, right: Camera) -> Matches:
        """The marks that are seen where they should be: what is beside them is ground."""
        matches = match(given.picture.edges, *right, given.marks, SETTINGS.looks[-1][0])
        off_px = matches.found_px - d_pixel_d_mark(*right, given.marks)[0]
        seen = np.nan_to_num(matches.correlation) > 0.5
        return _part(matches, seen & (np.linalg.norm(off_px, axis=1) < SURE))

    @staticmethod
    def _marks(
        given: IdentificationInput, camera: Camera, ground: Matches, into: np.ndarray
    ) -> None:
        """Count what the marks show at a pose, beside the ground as it is."""
        matches = match(given.picture.edges, *camera, given.marks, SETTINGS.looks[-1][0])
        off_px = matches.found_px - d_pixel_d_mark(*camera, given.marks)[0]
        count, more = len(given.marks), len(ground.correlation)
        told = {
            name: np.concatenate([getattr(matches, name), getattr(ground, name)]) for name in PARTS
        }
        size, cell = cells(
            Matches(**told),
            np.append(np.linalg.norm(off_px, axis=1), np.zeros(more)),
            np.append(sizes_px(camera, given.marks), np.zeros(more)),
            np.array([mark.ink == "light" for mark in given.marks] + [False] * more),
            np.arange(count + more) >= count,
        )
        ok = np.isfinite(matches.correlation) & given.clear
        ok &= expected_weight(given, *camera) > 0
        np.add.at(into, (size[:count][ok], cell[:count][ok]), 1)

    @staticmethod
    def _tape(given: IdentificationInput, camera: Camera, into: np.ndarray) -> None:
        steps, weight = tape_steps(given, *camera)
        np.add.at(into, tape_cells(steps[weight > 0.3]), 1)

    def text(self) -> str:
        """The counts as they stand in the table."""
        named = {"_RIGHT": self.right, "_WRONG": self.wrong}
        lines = []
        for name, counts in named.items():
            rows = [textwrap.fill(f"{row.tolist()},", 92) for row in counts]
            lines.append(f"{name} = np.array([\n" + "\n".join(rows) + "\n])")
        lines.append(f"_TAPE_RIGHT = np.array({self.tape_right.tolist()})")
        lines.append(f"_TAPE_WRONG = np.array({self.tape_wrong.tolist()})")
        return "\n".join(lines)


def right_share(given: IdentificationInput, view: View, pose: CarriedPose) -> float:
    """Share of the marks that a naming uses that lie where they truly are."""
    right = []
    for index in np.flatnonzero(pose.correlation > 0):
        ids = [str(point.id) for point in points_of(given.marks[index])]
        true = [view.true_px[each] for each in ids if each in view.true_px]
        off = np.inf
        if true:
            off = float(np.linalg.norm(pose.found_px[index] - np.mean(true, axis=0)))
        right.append(off < SAME_PX)
    return float(np.mean(right)) if right else 0.0


def square_views(folders: list[Path]) -> list[View]:
    """The sets' pictures but those whose pixels are not square: their shape comes first."""
    found = [view for folder in folders for view in stored_views(folder, "as stored", 1)]
    return [view for view in found if view.grey.shape[1] * 9 == view.grey.shape[0] * 16]


def _counted(folders: list[Path], covers: int, scenes: int) -> None:
    counts, rng = Counts(), np.random.default_rng(9)
    for view in square_views(folders):
        counts.count(view, rng)
        for _ in range(covers):
            counts.count(covered(view, float(rng.choice([0.25, 0.5, 0.7])), rng), rng)
    for seed in range(100, 100 + scenes):
        for condition in ("things 25 %", "things 50 %", "plain"):
            for view in views(condition, seed):
                counts.count(view, rng)
    print(counts.text())


def main() -> None:
    """Count, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--count", action="store_true", required=True)
    parser.add_argument("--covers", type=int, default=2)
    parser.add_argument("--scenes", type=int, default=4)
    given = parser.parse_args()
    cv2.setNumThreads(1)
    _counted(given.folders, given.covers, given.scenes)


if __name__ == "__main__":
    main()

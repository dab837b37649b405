"""Print how well marks are found and named under the light and the ground that a yard really has.

    python -m tests.accuracy.conditions [--only dusk wet] [--scenes 2] [--seed 1]
    python -m tests.accuracy.conditions --sets sample_frames/clear_day sample_frames/long_shadow
    python -m tests.accuracy.conditions --rough 500 --sets sample_frames/clear_day ...

For each condition some scenes with layouts of mixed kinds are drawn (`vision.practice`, which
shares the checker's lens model and nothing of its drawing), and every camera is identified from an
intended aim up to 15 degrees wrong in each angle and a mounting up to 10 cm wrong. With --sets the
stored pictures of an independent renderer are degraded instead; with --rough as well they stay as
they are and are identified from aims 9 to 15 degrees wrong in each angle, so many draws over all of
them. A line per condition: cameras named, the share refused, recall of the marks due (at least 95 %
clear and 6 px across), wrong names, which must be none, points astray, the centres' median error,
and why marks that were due are missing. Astray are used points, due or half hidden,
that lie much further off than their covariance says. A mark's width is the narrowest of the ellipse
within it; a board's corner counts 1.7 of its squares. Of combed pictures the even rows count.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.accuracy.mixed_yard import mixed_job
from tests.accuracy.sets import true_points
from tests.accuracy.yard_conditions import CONDITIONS
from vision.camera.geometry import Aim
from vision.camera.lens_prior import lens_prior
from vision.documents.check_words.words import say_check
from vision.files.disk import read_inspection_input
from vision.identification.decision import identify
from vision.identification.even_rows import identified
from vision.identification.identified import Identified, NotIdentified
from vision.identification.shapes import choose_shapes
from vision.job.job import Camera, Job
from vision.job.layout import planned_layout
from vision.marks.measure.mark_fit import Measured
from vision.marks.picture import Picture
from vision.marks.rows import steadied
from vision.practice.deviations import Light
from vision.practice.scene import draw_scene

DUE_PX, DUE_CLEAR = 6.0, 0.95
WRONG_PX = 3.0
"""A used mark farther than this from its true pixel has a wrong name; half as much at half size."""
ASTRAY_PX, ASTRAY_SIGMAS = 0.2, 4.0
"""A used point off by more than both is astray: its covariance is a lie that matters."""
Outcome = Identified | NotIdentified
FARTHEST_AIM_DEG, FARTHEST_PLACE_M = 15.0, 0.1
ROUGH_AIM_DEG = (9.0, 15.0)


@dataclasses.dataclass(frozen=True, kw_only=True)
class View:
    """One picture to identify: turned back, grey, with the true pixels and what is due.

    `odd_px` are those of odd rows where these show another moment: measured there, a mark lies
    elsewhere and its name is right.
    """

    name: str
    job: Job
    camera: Camera
    grey: np.ndarray
    true_px: dict[str, np.ndarray]
    due: frozenset[str]
    odd_px: dict[str, np.ndarray] = dataclasses.field(default_factory=dict)


def views(condition: str, seed: int) -> list[View]:
    """Draw one scene of a condition: a view per camera, the same for the same seed."""
    rng = np.random.default_rng([seed, *condition.encode()])
    job = mixed_job(rng)
    asked = dataclasses.replace(CONDITIONS[condition](job, rng), small_errors=1.0)
    scene = draw_scene(job, asked, seed)
    found = []
    for camera, eye, told in zip(
        job.cameras, scene.world.eyes, scene.truth["cameras"], strict=True
    ):
        grey = jpeg(cv2.cvtColor(scene.pictures[camera.name], cv2.COLOR_BGR2GRAY), asked.light)
        inside = [mark for mark in told["marks"] if mark["pixel"] is not None]
        found.append(
            View(
                name=f"{condition} {seed} {camera.name}",
                job=job,
                camera=_mistaken(camera, eye.pose.aim, eye.pose.camera_in_ground_m, rng),
                grey=grey,
                true_px={mark["id"]: np.array(mark["pixel"]) for mark in inside},
                odd_px={
                    mark["id"]: np.array(mark["pixel_odd_rows"])
                    for mark in inside
                    if "pixel_odd_rows" in mark
                },
                due=frozenset(
                    mark["id"]
                    for mark in inside
                    if mark["status"] == "visible"
                    and mark["clear"] >= DUE_CLEAR
                    and mark["extent_px"] >= DUE_PX
                ),
            )
        )
    return found


def jpeg(grey: np.ndarray, light: Light) -> np.ndarray:
    """The picture after its compression."""
    _, data = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, light.jpeg_quality])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_GRAYSCALE))


def _mistaken(camera: Camera, aim: Aim, place_m: np.ndarray, rng: np.random.Generator) -> Camera:
    """The camera as a job might have it: aim and place as wrong as is allowed."""
    off = np.radians(rng.uniform(-FARTHEST_AIM_DEG, FARTHEST_AIM_DEG, 3))
    pan, tilt, roll = aim.as_array() + off
    return dataclasses.replace(
        camera,
        aim=Aim(pan_rad=float(pan), tilt_rad=float(tilt), roll_rad=float(roll)),
        position_m=place_m + rng.uniform(-FARTHEST_PLACE_M, FARTHEST_PLACE_M, 3),
    )


# ------------------------------------------------------------------------- stored sets, degraded


def _noisy(grey: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    return np.clip(grey + rng.normal(0, 10, grey.shape), 0, 255).astype(np.uint8)


DEGRADED: dict[str, Callable[[np.ndarray, np.random.Generator], np.ndarray]] = {
    "as stored": lambda grey, rng: grey,
    "noise 10": _noisy,
    "blur 2": lambda grey, rng: np.asarray(cv2.GaussianBlur(grey, (0, 0), 2.0)),
    "JPEG 50": lambda grey, rng: jpeg(grey, Light(jpeg_quality=50)),
    "width 720": lambda grey, rng: np.asarray(
        cv2.resize(grey, (720, 405), interpolation=cv2.INTER_AREA)
    ),
    "light 0.4, noise 10": lambda grey, rng: _noisy(0.4 * grey, rng),
    "light 1.8": lambda grey, rng: np.minimum(1.8 * grey, 255).astype(np.uint8),
    "veil": lambda grey, rng: (0.25 * grey + 82.5).astype(np.uint8),
}


def stored_views(folder: Path, degraded: str, seed: int) -> Iterator[View]:
    """Every picture of a stored set with something done to it, aims as the job intends them."""
    truth = json.loads((folder / "truth.json").read_text())
    job, pictures = read_inspection_input(folder / "job.toml")
    rng = np.random.default_rng([seed, *degraded.encode()])
    for camera, picture in zip(job.cameras, pictures, strict=True):
        grey = DEGRADED[degraded](np.asarray(picture.grey), rng)
        share = grey.shape[1] / picture.width
        true_px, due = {}, set()
        for mark in truth["cameras"][camera.name]["marks"]:
            for point_id, px in true_points(mark, truth).items():
                if px is None or px[0] is None:
                    continue
                true_px[point_id] = _resized_px(picture, np.array(px), share)
                if mark["clear_fraction"] > DUE_CLEAR and share * _smallest(mark, truth) >= DUE_PX:
                    due.add(point_id)
        yield View(
            name=f"{folder.name} {camera.name} {degraded}",
            job=job,
            camera=camera,
            grey=grey,
            true_px=true_px,
            due=frozenset(due),
        )


def _smallest(mark: dict[str, Any], truth: dict[str, Any]) -> float:
    """Narrowest width in px of a mark, or of the squares round a board's corner; 0 if cut off."""
    ends = mark["extent_px"]
    if any(end is None for end in ends):
        return 0.0
    a, b, c, d = np.array(ends)
    across = np.array([a - b, c - d])
    if corners := mark.get("corners_px"):
        first, along, left = (corners[i] for i in (0, 1, truth["mark"]["cols"] - 1))
        if any(px is None or px[0] is None for px in (first, along, left)):
            return 0.0
        # As in a scene's truth: 0.85 of a square each way.
        across = 1.7 * np.array([np.subtract(along, first), np.subtract(left, first)])
    return float(np.linalg.svd(across, compute_uv=False)[-1])


def rough_views(folders: list[Path], draws: int, seed: int) -> Iterator[View]:
    """Stored pictures in turn, each from an aim that is far off in all three angles."""
    views = [view for folder in folders for view in stored_views(folder, "as stored", seed)]
    rng = np.random.default_rng([seed, draws])
    for index in range(draws):
        view = views[index % len(views)]
        sign = rng.choice([-1, 1], 3)
        off = np.radians(sign * rng.uniform(*ROUGH_AIM_DEG, 3))
        pan, tilt, roll = view.camera.aim.as_array() + off
        aim = Aim(pan_rad=float(pan), tilt_rad=float(tilt), roll_rad=float(roll))
        name = f"{view.name} off by {np.round(np.degrees(off), 1).tolist()}"
        yield dataclasses.replace(view, name=name, camera=dataclasses.replace(view.camera, aim=aim))


def _resized_px(picture: Picture, px: np.ndarray, share: float) -> np.ndarray:
    back = np.array([picture.width - 1 - px[0], px[1]]) if picture.mirrored else px
    return np.asarray((back + 0.5) * share - 0.5)


# ------------------------------------------------------------------------------------ judgement


def looked_at(views: list[View]) -> list[Outcome]:
    """Identify every picture of a scene as an inspection does: rows and shape of pixels first."""
    job = dataclasses.replace(views[0].job, cameras=tuple(view.camera for view in views))
    layout = planned_layout(job)
    pictures = {view.camera.name: steadied(_picture(view)) for view in views}
    choices = choose_shapes(job, layout, pictures)
    for choice in choices:
        job = choice.in_job(job)
    outcomes: dict[str, Outcome] = {}
    for camera in job.cameras:
        picture = pictures[camera.name]
        prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
        outcomes[camera.name] = identified(job, layout, camera, prior, picture.grey, picture.rows)
    for choice in choices:
        outcomes = choice.in_outcomes(job, outcomes)
    return [outcomes[view.camera.name] for view in views]


def _picture(view: View) -> Picture:
    bgr = cv2.cvtColor(view.grey, cv2.COLOR_GRAY2BGR)
    return Picture(name=view.camera.name, file="", sha256="", mirrored=False, bgr=bgr)


@dataclasses.dataclass(kw_only=True)
class Tally:
    """What came out under one condition."""

    cameras: int = 0
    named: int = 0
    due: int = 0
    used: int = 0
    points: int = 0
    astray: int = 0
    wrong: list[str] = dataclasses.field(default_factory=list)
    errors_px: list[float] = dataclasses.field(default_factory=list)
    missing: Counter[str] = dataclasses.field(default_factory=Counter)
    unnamed: list[str] = dataclasses.field(default_factory=list)

    def judge(self, view: View) -> Outcome:
        """Identify one view by itself and count what came of it."""
        prior = lens_prior(view.job.lens_of(view.camera), view.grey.shape[1], view.grey.shape[0])
        outcome = identify(view.job, planned_layout(view.job), view.camera, prior, view.grey)
        return self.count(view, outcome)

    def count(self, view: View, outcome: Outcome) -> Outcome:
        """Count what came of one view."""
        self.cameras += 1
        self.due += len(view.due)
        if isinstance(outcome, NotIdentified):
            self.unnamed.append(f"{view.name}: {outcome.code}")
            self.missing["the camera is not identified"] += len(view.due)
            return outcome
        self.named += 1
        for sighting in outcome.sightings:
            true = view.true_px.get(str(sighting.id))
            if sighting.status != "used" or sighting.measured is None:
                if str(sighting.id) in view.due:
                    why = say_check()(sighting.reason) if sighting.reason else ""
                    self.missing[f"{sighting.status}: {why}"] += 1
                continue
            off_px = np.full(2, np.inf) if true is None else sighting.measured.pixel_px - true
            off = np.hypot(*off_px)
            self.points += 1
            self.astray += off > ASTRAY_PX and _sigmas(off_px, sighting.measured) > ASTRAY_SIGMAS
            odd = view.odd_px.get(str(sighting.id), np.full(2, np.inf))
            if min(off, np.hypot(*(sighting.measured.pixel_px - odd))) > WRONG_PX:
                self.wrong.append(f"{view.name} {sighting.id} {off:.1f} px")
            if str(sighting.id) in view.due:
                self.used += 1
                self.errors_px.append(float(off))
        return outcome

    def line(self, name: str) -> str:
        """A line of the table."""
        recall = self.used / max(self.due, 1)
        median = np.median(self.errors_px) if self.errors_px else np.nan
        refused = 1 - self.named / max(self.cameras, 1)
        return (
            f"{name:24s} named {self.named:2d}/{self.cameras:2d}  refused {refused:6.1%}  "
            f"due {self.due:4d}  "
            f"recall {recall:6.1%}  wrong {len(self.wrong):2d}  "
            f"astray {self.astray:2d}/{self.points:4d}  median {median:.3f} px"
        )


def _sigmas(off_px: np.ndarray, measured: Measured) -> float:
    """How many of its own sigmas a point (2,) is off."""
    if not np.isfinite(off_px).all():
        return np.inf
    return float(np.sqrt(off_px @ np.linalg.solve(measured.covariance_px2, off_px)))


def report(name: str, tally: Tally, most: int = 6) -> None:
    """Print a condition's line, who is not named, wrong names and why marks are missing."""
    print(tally.line(name), flush=True)
    for each in (*tally.unnamed, *(f"WRONG {each}" for each in tally.wrong[:most])):
        print(f"    {each}")
    for reason, count in tally.missing.most_common(most):
        print(f"    {count:3d} {reason}")


def main() -> None:
    """Draw, identify and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", nargs="*", default=list(CONDITIONS), choices=list(CONDITIONS))
    parser.add_argument("--scenes", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sets", nargs="*", type=Path, default=[])
    parser.add_argument("--rough", type=int, default=0, help="draws over the pictures of --sets")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    if given.rough:
        tally = Tally()
        for view in rough_views(given.sets, given.rough, given.seed):
            tally.judge(view)
        report("rough aims", tally, most=given.rough)
        return
    if given.sets:
        for degraded in DEGRADED:
            for folder in given.sets:
                tally = Tally()
                for view in stored_views(folder, degraded, given.seed):
                    tally.judge(view)
                report(f"{folder.name}, {degraded}", tally)
        return
    for condition in given.only:
        tally = Tally()
        for index in range(given.scenes):
            seen = views(condition, given.seed + index)
            for view, outcome in zip(seen, looked_at(seen), strict=True):
                tally.count(view, outcome)
        report(condition, tally)


if __name__ == "__main__":
    main()

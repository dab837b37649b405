"""Print what several pictures of a camera give, and whether a camera that moved is told.

    python -m tests.accuracy.shots [--scenes 6] [--moved 10]

Scenes of `vision.practice`, drawn without noise; to each picture a texture of 2 levels is added
that all of its shots share, as the ground's own, and to each shot noise of its own and JPEG 88. Per
number of shots: the error of the used centres against the drawn truth, median of its length, and
its root mean square over sigma and per coordinate (1 is right), of all and of those that are not
astray; and what share of the variance the
shots were found not to have in common. Then one camera turned by 0.2 degrees between two shots, and
none: how often one is said to have moved, how often the right one, and the turn found.
"""

from __future__ import annotations

import argparse

import cv2
import numpy as np

from tests.accuracy.mixed_yard import mixed_job
from vision.camera.lens_prior import lens_prior
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.identification.shots import Combined, with_shots
from vision.inspection.verdict.movement import movements
from vision.job.job import Job
from vision.job.layout import planned_layout
from vision.marks.picture import Picture
from vision.practice.deviations import Deviations, Light, Moved
from vision.practice.scene import Scene, draw_scene

TEXTURE, QUALITY = 2.0, 88
ASTRAY = 27.6
"""Chi-square of two degrees of freedom that one mark in a million exceeds; -2 ln 1e-6."""
TURN_RAD = float(np.radians(0.2))


def scene_of(seed: int, moved: dict[str, Moved] | None = None) -> tuple[Job, Scene]:
    """A job and what its cameras see, without noise; the same for the same seed."""
    job = mixed_job(np.random.default_rng([seed, 17]))
    asked = Deviations(small_errors=1.0, light=Light(noise=0.0), cameras=moved or {})
    return job, draw_scene(job, asked, seed)


def shot(pixels: np.ndarray, noise: float, rng: np.random.Generator) -> np.ndarray:
    """What a camera delivers of what it sees: noise of its own, compressed."""
    seen = pixels + rng.normal(0, noise, pixels.shape)
    _, data = cv2.imencode(
        ".jpg",
        np.clip(np.round(seen), 0, 255).astype(np.uint8),
        [cv2.IMWRITE_JPEG_QUALITY, QUALITY],
    )
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))


def textured(pixels: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The same with a texture that every shot of it shows alike."""
    return np.asarray(pixels + rng.normal(0, TEXTURE, pixels.shape[:2])[..., None])


def picture_of(name: str, shots: list[np.ndarray], *, mirrored: bool) -> Picture:
    """The picture of a camera with its further ones."""
    first, *more = (
        Picture.from_delivered(
            name=name, file=f"{name}{i}.jpg", sha256=str(i), mirrored=mirrored, bgr=each
        )
        for i, each in enumerate(shots)
    )
    return first.with_further(more)


def combined(job: Job, picture: Picture, outcome: Identified | None = None) -> Combined | None:
    """What all shots of a camera give; None where its first is not identified."""
    camera = job.camera(picture.name)
    layout = planned_layout(job)
    prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
    first = outcome or identify(job, layout, camera, prior, picture.grey)
    return (
        with_shots(job, layout, camera, first, picture) if isinstance(first, Identified) else None
    )


def errors_of(found: Identified, picture: Picture, truth: dict) -> tuple[np.ndarray, np.ndarray]:
    """Errors (n, 2) of the used centres in px, and their Mahalanobis squares (n,)."""
    true = {m["id"]: m["pixel"] for m in truth["marks"] if m["pixel"] is not None}
    off, squares = [], []
    for each in found.sightings:
        if each.status == "used" and each.measured is not None and str(each.id) in true:
            at = picture.as_delivered(np.array(true[str(each.id)]))
            error = each.measured.pixel_px - at
            off.append(error)
            squares.append(error @ np.linalg.solve(each.measured.covariance_px2, error))
    return np.array(off).reshape(-1, 2), np.array(squares)


def report_centres(scenes: int, noise: float) -> None:
    """The first table."""
    rows: dict[int, list] = {1: [], 2: [], 8: []}
    for seed in range(scenes):
        job, scene = scene_of(seed)
        rng = np.random.default_rng([seed, 5])
        for camera, truth in zip(job.cameras, scene.truth["cameras"], strict=True):
            still = textured(scene.pictures[camera.name], rng)
            shots = [shot(still, noise, rng) for _ in range(8)]
            outcome = None
            for count in rows:
                picture = picture_of(camera.name, shots[:count], mirrored=camera.mirrored)
                found = combined(job, picture, outcome)
                if found is None:
                    break
                outcome = outcome or found.outcome
                rows[count].append((*errors_of(found.outcome, picture, truth), found.own_share))
    for count, those in rows.items():
        off = np.concatenate([each[0] for each in those])
        squares = np.concatenate([each[1] for each in those])
        share = np.median([each[2] for each in those])
        print(
            f"| {noise:.0f} | {count} | {len(off)} | {np.median(np.linalg.norm(off, axis=1)):.4f} |"
            f" {np.sqrt(squares.mean() / 2):.2f} | {int((squares > ASTRAY).sum())} |"
            f" {np.sqrt(squares[squares <= ASTRAY].mean() / 2):.2f} | {share:.2f} |"
        )


def report_movement(jobs: int, noise: float = 2.0) -> None:
    """Whether a camera that was turned between two shots is named, and none without."""
    told = named = vehicle = false = looked = 0
    turns = []
    for seed in range(jobs):
        rng = np.random.default_rng([seed, 6])
        job, scene = scene_of(seed + 100)
        which = str(rng.choice([each.name for each in job.cameras]))
        axis = rng.normal(size=3)
        turn = TURN_RAD * axis / np.linalg.norm(axis)
        _, after = scene_of(seed + 100, {which: Moved(turn_rad=turn)})
        still: dict[str, Combined] = {}
        moved: dict[str, Combined] = {}
        for camera in job.cameras:
            texture = np.random.default_rng([seed, 7])
            before = textured(scene.pictures[camera.name], texture)
            later = textured(after.pictures[camera.name], texture)
            first = shot(before, noise, rng)
            for those, second in ((still, before), (moved, later)):
                picture = picture_of(
                    camera.name, [first, shot(second, noise, rng)], mirrored=camera.mirrored
                )
                found = combined(job, picture)
                if found is not None:
                    those[camera.name] = found
        for those, out in ((still, 0), (moved, 1)):
            notes = movements(those)
            if out == 0:
                looked += 1
                false += bool(notes)
                continue
            cameras = [n.arguments["camera"] for n in notes if n.code == "camera-moved"]
            told += bool(notes)
            named += cameras == [which]
            vehicle += any(n.code == "vehicle-moved" for n in notes)
            turns += [n.arguments["turn_rad"] for n in notes if n.code == "camera-moved"]
    print(
        f"turned by 0.2 degrees: told {told} of {jobs}, the right camera alone {named}, vehicle "
        f"{vehicle}; turn found {np.degrees(np.mean(turns)):.3f} +- {np.degrees(np.std(turns)):.3f}"
    )
    print(f"not turned: told {false} of {looked}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=6)
    parser.add_argument("--moved", type=int, default=10)
    given = parser.parse_args()
    if given.scenes:
        print("| noise | shots | marks | error px | over sigma | astray | the others | own share |")
        print("| --- | --- | --- | --- | --- | --- | --- | --- |")
        for noise in (1.0, 3.0):
            report_centres(given.scenes, noise)
    if given.moved:
        report_movement(given.moved)


if __name__ == "__main__":
    main()

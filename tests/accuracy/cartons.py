"""Print how cartons' corners are found in sets with exact truth, and how often without a carton.

    python -m tests.accuracy.cartons sample_frames/clear_day sample_frames/long_shadow --places 200

Every corner that a job names and a picture shows is looked for as stated, and once more as if
neither size nor turn were known. Then corners are looked for at random places where no carton
stands and the body is not in the way, on tape, paint, cracks, shadows, cars and walls alike: each
that is found is a false one.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

from tests.accuracy.sets import carton_points
from vision.camera.lens_prior import lens_prior
from vision.documents.check_words.words import say_check
from vision.files.disk import read_inspection_input
from vision.identification.corners import predicted_pixel
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.job.body import body_hides
from vision.job.job import Camera, Job, Vehicle
from vision.job.kinds.box_corner import BoxCorner
from vision.job.layout import planned_layout
from vision.marks.box_corner.corner_fit import FoundCorner
from vision.marks.box_corner.edge_search import planes_of
from vision.marks.box_corner.find import find_box_corner
from vision.marks.picture import Picture

CLEAR_OF_CARTON_PX = 120.0
HEIGHTS_M = (0.25, 0.5, 0.75)


def report_found(job: Job, camera: Camera, picture: Picture, seen: Identified, true: dict) -> int:
    """Look for every corner that is in the picture and not behind the body; how many are found."""
    planes, count = planes_of(picture.bgr), 0
    for mark in job.marks:
        px = carton_points(true).get(mark.name)
        corner = next(
            (c for c in true["carton_corners"] if f"{c['stack']}_carton" == mark.name), None
        )
        if px is None or corner is None or not isinstance(mark.shape, BoxCorner):
            continue
        if any(c["occluded"] for c in true["carton_corners"] if c["px"] == px):
            continue
        beside = min(job.cameras, key=lambda c: float(np.hypot(*(c.position_m - mark.at_m)[:2])))
        covariance = predicted_pixel(seen.fit, mark)[1]
        for shape, told in ((mark.shape, "as stated"), (BoxCorner(), "size and turn unknown")):
            found = find_box_corner(
                planes, seen.fit.pose, seen.fit.lens, covariance, mark.at_m, shape,
                beside.position_m[:2],
            )  # fmt: skip
            if not isinstance(found, FoundCorner):
                print(f"  {camera.name} {mark.name}, {told}: not found, {say_check()(found)}")
                continue
            count += told == "as stated"
            off = found.pixel_px - picture.as_delivered(np.array(px))
            sigmas = np.sqrt(off @ np.linalg.solve(found.covariance_px2, off))
            size = np.hypot(*off)
            print(f"  {camera.name} {mark.name}, {told}: {size:.2f} px off, {sigmas:.1f} sigma")
    return count


def false_finds(
    vehicle: Vehicle,
    camera: Camera,
    picture: Picture,
    seen: Identified,
    true: dict,
    places: int,
    rng: np.random.Generator,
) -> int:
    """Look at random places without a carton; how many corners are found."""
    planes, found, left = planes_of(picture.bgr), 0, places
    cartons = [picture.as_delivered(np.array(c["px"])) for c in true["carton_corners"] if c["px"]]
    while left:
        way, away = rng.uniform(0, 2 * np.pi), rng.uniform(0.8, 4.0)
        beside = camera.position_m[:2]
        where = beside + away * np.array([np.cos(way), np.sin(way)])
        corner = np.array([*where, rng.choice(HEIGHTS_M)])
        pixel = seen.fit.lens.project(seen.fit.pose.transform(corner))
        hidden = bool(body_hides(vehicle, camera.position_m, corner[None])[0])
        if hidden or not bool(seen.fit.lens.contains(pixel)):
            continue
        if any(np.hypot(*(pixel - carton)) < CLEAR_OF_CARTON_PX for carton in cartons):
            continue
        left -= 1
        shape = BoxCorner(size_m=(0.46, 0.34), turn_rad=float(rng.uniform(-3, 3)))
        covariance = rng.uniform(1.0, 4.0) ** 2 * np.eye(2)
        corner_found = find_box_corner(
            planes, seen.fit.pose, seen.fit.lens, covariance, corner,
            shape if left % 2 else BoxCorner(), beside,
        )  # fmt: skip
        if isinstance(corner_found, FoundCorner):
            found += 1
            print(f"  FALSE: {camera.name} at {np.round(corner_found.pixel_px)}")
    return found


def main() -> None:
    """Read the folders and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--places", type=int, default=0, help="places a picture without a carton")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    found = false = tried = 0
    for folder in given.folders:
        print(folder.name)
        truth = json.loads((folder / "truth.json").read_text())
        job, pictures = read_inspection_input(folder / "job.toml")
        layout = planned_layout(job)
        for camera, picture in zip(job.cameras, pictures, strict=True):
            prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
            seen = identify(job, layout, camera, prior, picture.grey)
            if not isinstance(seen, Identified):
                continue
            true = truth["cameras"][camera.name]
            found += report_found(job, camera, picture, seen, true)
            false += false_finds(job.vehicle, camera, picture, seen, true, given.places, rng)
            tried += given.places
    print(f"found as stated: {found}; places without a carton: {tried}, found there: {false}")


if __name__ == "__main__":
    main()

"""Print how well sets of pictures with exact truth are found, measured and adjusted.

    python -m tests.accuracy.sets sample_frames/clear_day sample_frames/long_shadow [--draws 26]

Per picture: marks used and their centre errors against the true pixels, aim and place of the joint
adjustment against the true pose, and the errors over their sigmas. With --draws, each picture is
identified again from intended aims up to 15 degrees wrong in each of pan, tilt and roll and
mountings up to 10 cm wrong in each coordinate. The truth comes from the renderer, not from here.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import time
from pathlib import Path

import cv2
import numpy as np

from vision.camera.geometry import Aim, rotation_angle
from vision.camera.lens_prior import lens_prior
from vision.documents.check_words.words import say_check
from vision.files.disk import read_inspection_input
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.inspection.inspect import inspect
from vision.inspection.inspected import Inspection
from vision.job.layout import planned_layout

FIGURES = ("due", "used", "px", "wrong", "z", "z2", "aim_deg", "place_m", "as_expected")
LARGE_PX, CLEAR = 12.0, 0.9
WRONG_PX = 3.0
"""A used mark farther than this from its true pixel has a wrong identity."""


def extent_px(mark: dict) -> float:
    """Shorter extent of a mark in the picture; 0 where it is cut off."""
    ends = mark["extent_px"]
    if any(end is None for end in ends):
        return 0.0
    a, b, c, d = np.array(ends)
    return float(min(np.linalg.norm(a - b), np.linalg.norm(c - d)))


def true_points(mark: dict, truth: dict) -> dict[str, list[float]]:
    """True pixels of a mark by id, or of a board's corners, column fastest."""
    corners = mark.get("corners_px")
    if not corners:
        return {mark["id"]: mark["px"]}
    columns = truth["mark"]["cols"] - 1
    return {f"{mark['id']}/{i // columns}/{i % columns}": px for i, px in enumerate(corners)}


def carton_points(camera: dict) -> dict[str, list[float]]:
    """True pixels of the cartons' corners that a job names, by the marks' names."""
    return {
        f"{corner['stack']}_carton": corner["px"]
        for corner in camera.get("carton_corners", [])
        if corner["reference"]
    }


def report_set(folder: Path) -> dict[str, list[float]]:
    """Inspect one set, print a line per picture, and return the figures."""
    truth = json.loads((folder / "truth.json").read_text())
    job, pictures = read_inspection_input(folder / "job.toml")
    inspection = inspect(job, pictures)
    figures: dict[str, list[float]] = {k: [] for k in FIGURES}
    print(f"\n{folder.name}: {inspection.verdict}")
    for camera in inspection.cameras:
        _report_camera(camera, truth, figures)
    _report_strips(inspection, truth, figures)
    expected = truth["expected"]
    right = all(c.verdict == expected["cameras"][c.camera.name] for c in inspection.cameras)
    at_fault = sorted(s.name for s in inspection.strips if s.verdict != "keep")
    right &= at_fault == sorted(expected["strips_at_fault"])
    figures["as_expected"].append(float(right))
    print("  verdicts of cameras and strips", "as expected" if right else f"WRONG {at_fault}")
    return figures


def _report_camera(camera, truth: dict, figures: dict[str, list[float]]) -> None:
    true = truth["cameras"][camera.camera.name]
    by_id = {str(mark.id): mark for mark in camera.marks}
    errors = []
    for mark in true["marks"]:
        due = mark["clear_fraction"] > CLEAR and extent_px(mark) >= LARGE_PX
        for point_id, px in true_points(mark, truth).items():
            found = by_id[point_id]
            if due:
                figures["due"].append(1.0)
                figures["used"].append(float(found.status == "used"))
            if found.status != "used":
                continue
            off = found.pixel_px - np.array(px)
            errors.append(float(np.hypot(*off)))
            if due:
                figures["px"].append(errors[-1])
                figures["z2"].append(float(off @ np.linalg.solve(found.covariance_px2, off)))
    cartons = carton_points(true)
    for name, px in cartons.items():
        found = by_id.get(name)
        if found is not None and found.status == "used":
            off = found.pixel_px - np.array(px)
            errors.append(float(np.hypot(*off)))
            sigmas = np.sqrt(off @ np.linalg.solve(found.covariance_px2, off))
            print(f"    {name}: off by {np.hypot(*off):.2f} px, {sigmas:.1f} sigma")
    truly = {point_id for mark in true["marks"] for point_id in true_points(mark, truth)}
    truly |= set(cartons)
    strangers = sum(m.status == "used" and str(m.id) not in truly for m in camera.marks)
    figures["wrong"].append(float(strangers + sum(e > WRONG_PX for e in errors)))
    name = camera.camera.name
    if camera.adjusted is None:
        print(f"  {name:6s} {camera.verdict}: {[say_check()(r) for r in camera.reasons]}")
        return
    R, place = np.array(true["true"]["R"]), np.array(true["true"]["position"])
    turn = np.degrees(rotation_angle(camera.adjusted.pose.R, R))
    off_m = camera.adjusted.pose.camera_in_ground_m - place
    yaw, pitch, roll = true["true"]["yaw_pitch_roll_deg"]
    off_aim = camera.adjusted.aim.minus(Aim.from_degrees(yaw, pitch, roll))
    z_aim = off_aim / camera.adjusted.aim_sigma_rad
    z_place = off_m / camera.adjusted.position_sigma_m
    figures["z"] += [*z_aim, *z_place]
    figures["aim_deg"].append(float(turn))
    figures["place_m"].append(float(np.linalg.norm(off_m)))
    print(
        f"  {name:6s} {camera.verdict:7s} used {len(errors):2d}"
        f"  centre median {np.median(errors):.3f} worst {max(errors):.2f} px"
        f"  aim {turn:.2f} deg  place {100 * np.linalg.norm(off_m):.1f} cm"
        f"  over sigma {np.round(z_aim, 1)} {np.round(z_place, 1)}"
    )


def _report_strips(inspection: Inspection, truth: dict, figures: dict[str, list[float]]) -> None:
    deviations = {strip["name"]: strip["deviation"] for strip in truth["strips"]}
    for strip in inspection.strips:
        if strip.adjusted is None:
            continue
        true = np.array([deviations[strip.name]["dx"], deviations[strip.name]["dy"]])
        off = strip.adjusted.shift_m - true
        print(
            f"  strip {strip.name:6s} {strip.verdict:10s} shift {np.round(1e3 * true)} mm, found "
            f"{np.round(1e3 * strip.adjusted.shift_m)} +- "
            f"{np.round(1e3 * strip.adjusted.shift_sigma_m)}, over sigma "
            f"{np.round(off / strip.adjusted.shift_sigma_m, 1)}"
        )


def report_draws(folder: Path, draws: int, rng: np.random.Generator) -> dict[str, int]:
    """Identify each picture of a set from wrong intended poses; count what comes out."""
    truth = json.loads((folder / "truth.json").read_text())
    job, pictures = read_inspection_input(folder / "job.toml")
    layout = planned_layout(job)
    counts = {"right": 0, "wrong": 0, "not-judged": 0}
    seconds = []
    for camera, picture in zip(job.cameras, pictures, strict=True):
        true = truth["cameras"][camera.name]
        points = [true_points(mark, truth) for mark in true["marks"]]
        pixels = {key: np.array(px) for each in points for key, px in each.items()}
        aim = np.radians(true["true"]["yaw_pitch_roll_deg"])
        prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
        for _ in range(draws):
            pan, tilt, roll = aim + np.radians(rng.uniform(-15, 15, 3))
            wrong_m = rng.uniform(-0.1, 0.1, 3)
            thought = dataclasses.replace(
                camera,
                aim=Aim(pan_rad=pan, tilt_rad=tilt, roll_rad=roll),
                position_m=np.array(true["true"]["position"]) + wrong_m,
            )
            start = time.perf_counter()
            outcome = identify(job, layout, thought, prior, picture.grey)
            seconds.append(time.perf_counter() - start)
            counts[_judge_draw(outcome, picture, pixels)] += 1
    print(f"{folder.name}: {counts}, median {np.median(seconds):.3f} s a picture")
    return counts


def _judge_draw(outcome: object, picture, pixels: dict) -> str:
    if not isinstance(outcome, Identified):
        return "not-judged"
    for sighting in outcome.sightings:
        if sighting.status == "used" and sighting.measured is not None:
            found = picture.as_delivered(sighting.measured.pixel_px)
            true = pixels.get(str(sighting.id))
            if true is None or np.hypot(*(found - true)) > WRONG_PX:
                return "wrong"
    return "right"


def main() -> None:
    """Read the folders and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--draws", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    cv2.setNumThreads(1)
    total: dict[str, list[float]] = {}
    for folder in given.folders:
        for key, values in report_set(folder).items():
            total.setdefault(key, []).extend(values)
    print(
        f"\nmarks due {len(total['due'])}, used {np.mean(total['used']):.1%}, median centre error "
        f"{np.median(total['px']):.3f} px, worst {max(total['px']):.2f}, identities wrong "
        f"{sum(total['wrong']):.0f}; poses' errors over sigma RMS "
        f"{np.sqrt(np.mean(np.square(total['z']))):.2f}; centres' normalised squared error mean "
        f"{np.mean(total['z2']):.2f} (2 is right)"
    )
    rng = np.random.default_rng(given.seed)
    if given.draws:
        counts = [report_draws(folder, given.draws, rng) for folder in given.folders]
        print({key: sum(count[key] for count in counts) for key in counts[0]})


if __name__ == "__main__":
    main()

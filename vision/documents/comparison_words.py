"""A comparison in sentences: what changed, what would have been seen, which seams that breaks."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np

from vision.camera.geometry import ANGLES
from vision.comparison.change import CameraChange, Comparison, SeamChange
from vision.documents.check_words.saying import WAYS
from vision.documents.check_words.saying import degrees as rounded
from vision.documents.check_words.words import say_check
from vision.inspection.verdict.rule import COVERAGE
from vision.units.length_words import LengthWords

FINE_RAD = float(np.radians(0.05))
"""A sigma below this would read 0.0."""

PLACES = (("backward", "forward"), ("to the right", "to the left"), ("down", "up"))


def sentences(result: Comparison, since: date, seam_gap_m: float) -> list[str]:
    """What to know, the changes first; `seam_gap_m` is what the job allows."""
    when = f"since {since.day} {since:%B %Y}"
    lines = [_changed(camera, when, result.lengths) for camera in result.changed]
    lines += [
        f"the {name} strip does not lie where it lay {when}: it was laid anew or moved"
        for name in result.strips_moved
    ]
    lines += _vehicle(result, when)
    lines += [_broken(seam, result, seam_gap_m) for seam in result.seams if seam.breaks]
    still = [camera for camera in result.cameras if not camera.changed]
    lines += [
        f"{camera.name}: no change {when}; a turn of {seen_from(camera)} degrees or a move of "
        f"{result.lengths.cm(camera.detectable_m)} would have been seen"
        for camera in still
    ]
    lines += [
        f"{name}: the two jobs plan it differently, so it is taken as laid anew"
        for name in result.planned_otherwise
    ]
    say = say_check(result.lengths)
    lines += [f"{name}: not compared, {say(why)}" for name, why in result.not_compared]
    rounding = result.lengths.note()
    return [*lines, *([rounding] if rounding else [])]


def state_sentences(then: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """How the vehicle stood otherwise, by the `vehicle_state` of the two results."""
    before, after = then.get("vehicle_state") or {}, now.get("vehicle_state") or {}
    return [
        f"{name.replace('_', ' ')}: {before[name]!r} then, {after[name]!r} now; a vehicle that"
        " stands otherwise moves every camera at once"
        for name in before
        if name != "missing"
        and before[name] is not None
        and after.get(name) is not None
        and before[name] != after[name]
    ]


def degrees(angle_rad: float, sigma_rad: float) -> str:
    """An angle for a sentence, finer than in a verdict where it is known to be: `0.80 (+-0.03)`."""
    if sigma_rad >= FINE_RAD:
        return rounded(angle_rad, sigma_rad)
    return f"{np.degrees(angle_rad):.2f} degrees (+-{np.degrees(sigma_rad):.2f})"


def seen_from(camera: CameraChange) -> str:
    """The least turn that would have been seen, in degrees, rounded up: never too good."""
    return f"{np.ceil(10 * np.degrees(camera.detectable_rad) - 1e-9) / 10:.1f}"


def _changed(camera: CameraChange, when: str, lengths: LengthWords) -> str:
    parts = []
    if camera.turned:
        words = {"pan": "panned", "tilt": "tilted", "roll": "rolled"}
        found = list(zip(ANGLES, camera.aim_rad, camera.aim_sigma_rad, strict=True))
        real = [each for each in found if abs(each[1]) > COVERAGE * each[2]]
        # The turn as a whole is significant even where no single angle is: then say the largest.
        said = sorted(real or found, key=lambda each: -abs(each[1]))[: len(real) or 1]
        parts += [
            f"{words[name]} {WAYS[name][int(d > 0)]} by {degrees(abs(d), s)}" for name, d, s in said
        ]
    if camera.moved:
        found_m = list(zip(PLACES, camera.place_m, camera.place_sigma_m, strict=True))
        real_m = [each for each in found_m if abs(each[1]) > COVERAGE * each[2]]
        said_m = sorted(real_m or found_m, key=lambda each: -abs(each[1]))[: len(real_m) or 1]
        parts += [f"moved {way[int(d > 0)]} by {lengths.cm(abs(d), s)}" for way, d, s in said_m]
    return f"{camera.name} {', '.join(parts)} {when}"


def _vehicle(result: Comparison, when: str) -> list[str]:
    vehicle = result.vehicle
    if not vehicle.significant:
        return []
    figures = (
        (vehicle.height_m, vehicle.height_sigma_m, ("lower", "higher"), result.lengths.cm),
        (vehicle.lean_rad, vehicle.lean_sigma_rad, ("to its left", "to its right"), degrees),
        (vehicle.nose_down_rad, vehicle.nose_down_sigma_rad, ("nose up", "nose down"), degrees),
    )
    parts = [
        f"{words(abs(value), sigma)} {way[int(value > 0)]}"
        for value, sigma, way, words in figures
        if abs(value) > COVERAGE * sigma
    ]
    what = f" ({', '.join(parts)})" if parts else ""
    return [
        f"the vehicle stands differently {when}{what}: load, tyres or suspension; no camera is "
        "blamed for it"
    ]


def _broken(seam: SeamChange, result: Comparison, seam_gap_m: float) -> str:
    blamed = [camera.name for camera in result.changed if camera.name in seam.between]
    why = f", by the {' and '.join(blamed)} camera{'s' if len(blamed) > 1 else ''}"
    return (
        f"this breaks the seam {' - '.join(seam.between)}{why if blamed else ''}: with the display "
        f"as it was set, its two views moved apart by "
        f"{result.lengths.cm(seam.moved.length_m, seam.moved.sigma_m)};"
        f" {result.lengths.cm(seam_gap_m)} allowed in all"
    )

"""A comparison in sentences: what changed, what would have been seen, which seams that breaks."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import partial
from itertools import count
from typing import Any

import numpy as np

from vision.camera.geometry import ANGLES
from vision.comparison.change import CameraChange, Comparison, Exchanged
from vision.documents.check_words.saying import degrees as rounded
from vision.documents.check_words.saying import way
from vision.documents.check_words.words import say_check
from vision.documents.templates import written_text
from vision.inspection.verdict.rule import COVERAGE
from vision.units.arrays import Array
from vision.units.length_words import LengthWords

FINE_RAD = float(np.radians(0.05))
"""A sigma below this would read 0.0."""

TURNED = ("panned", "tilted", "rolled")
BACK = ("", "", "rolled ")
PLACES = (("backward", "forward"), ("to the right", "to the left"), ("down", "up"))


def sentences(result: Comparison, since: str, seam_gap_m: float) -> list[str]:
    """What to know, the changes first; `seam_gap_m` is what the job allows.

    `since` says since when, as `since_words` does.
    """
    return written_text(
        "comparison.txt.j2",
        result=result,
        when=since,
        seam_gap_m=seam_gap_m,
        changes=partial(_changes, lengths=result.lengths),
        stands=_stands(result),
        odds=_odds,
        norm=lambda vector: float(np.linalg.norm(vector)),
        seen_from=seen_from,
        say=say_check(result.lengths),
        write=result.lengths,
    ).splitlines()


def steps_back(result: Comparison) -> list[str]:
    """What to do about what changed: put it back, or set the display again; nothing for nothing."""
    return written_text(
        "comparison_steps.txt.j2",
        result=result,
        broken=[seam for seam in result.seams if seam.breaks],
        turns=_turns_back,
        moves=partial(_moves_back, lengths=result.lengths),
    ).splitlines()


def _turns_back(camera: CameraChange) -> list[str]:
    aims = _told(camera.aim_rad, camera.aim_sigma_rad) if camera.turned else []
    return [f"{BACK[i]}{way(ANGLES[i], -d)} by {degrees(abs(d), s)}" for i, d, s in aims]


def _moves_back(camera: CameraChange, lengths: LengthWords) -> list[str]:
    places = _told(camera.place_m, camera.place_sigma_m) if camera.moved else []
    return [f"{PLACES[i][int(d < 0)]} by {lengths.cm(abs(d), s)}" for i, d, s in places]


def since_words(then: datetime, now: datetime) -> str:
    """Since when, to the day, or to the minute of a check of the same day."""
    day = f"since {then.day} {then:%B %Y}"
    return f"{day}, {then:%H:%M}" if then.date() == now.date() else day


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


def _told(changes: Array, sigmas: Array) -> list[tuple[int, float, float]]:
    """The significant changes with their row, the largest first; else only the largest.

    The change as a whole is significant even where no single one is.
    """
    rows = zip(count(), changes.tolist(), sigmas.tolist(), strict=False)
    found = sorted(rows, key=lambda row: -abs(row[1]))
    return [row for row in found if abs(row[1]) > COVERAGE * row[2]] or found[:1]


def _changes(camera: CameraChange, lengths: LengthWords) -> list[str]:
    """How a camera turned, and how it moved."""
    aims = _told(camera.aim_rad, camera.aim_sigma_rad) if camera.turned else []
    places = _told(camera.place_m, camera.place_sigma_m) if camera.moved else []
    return [
        *(f"{TURNED[i]} {way(ANGLES[i], d)} by {degrees(abs(d), s)}" for i, d, s in aims),
        *(f"moved {PLACES[i][int(d > 0)]} by {lengths.cm(abs(d), s)}" for i, d, s in places),
    ]


def _odds(camera: Exchanged) -> str:
    """Odds in round words: beyond a million nobody cares."""
    return "over 1,000,000" if camera.log10_odds > 6 else f"{10**camera.log10_odds:,.0f}"


def _stands(result: Comparison) -> list[str]:
    """How the vehicle stands differently."""
    vehicle = result.vehicle
    figures = (
        (vehicle.height_m, vehicle.height_sigma_m, ("lower", "higher"), result.lengths.cm),
        (vehicle.lean_rad, vehicle.lean_sigma_rad, ("to its left", "to its right"), degrees),
        (vehicle.nose_down_rad, vehicle.nose_down_sigma_rad, ("nose up", "nose down"), degrees),
    )
    return [
        f"{words(abs(value), sigma)} {ways[int(value > 0)]}"
        for value, sigma, ways, words in figures
        if abs(value) > COVERAGE * sigma
    ]

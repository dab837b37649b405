"""What a turn would do, in one sentence beside the advice to make it."""

from __future__ import annotations

import math

from vision.verdict.rule import centimetres
from vision.whatif.values import CameraForecast, Forecast, SeamForecast

WORDS = {
    "within": "within tolerance",
    "beyond": "still beyond tolerance",
    "not-judged": "not certain to be within tolerance",
}


def outcome(forecast: Forecast, name: str) -> str:
    """What follows for the camera called `name` and its seams; empty where nothing is predicted.

    Gaps are those of a display that is set anew after the turn: set as it is, it would no longer
    fit, which is said where it matters.
    """
    camera = next((each for each in forecast.cameras if each.name == name), None)
    if camera is None:
        return ""
    seams = [each for each in forecast.seams if name in each.between]
    parts = [_aim(camera), _seen(camera), *(_seam(each, name) for each in seams)]
    text = "predicted: " + "; ".join(parts)
    if any(each.as_set.verdict == "beyond" for each in seams):
        text += "; set the display anew after the turn, or its seams break"
    return text


def _aim(camera: CameraForecast) -> str:
    return f"aim {WORDS[camera.aim]}"


def _seen(camera: CameraForecast) -> str:
    near = camera.nearest_then.value_m
    ground = f"ground seen from {near:.2f} m out" if math.isfinite(near) else "no ground seen"
    return f"{camera.marks_then} marks in view ({camera.marks_now} now), {ground}"


def _seam(seam: SeamForecast, name: str) -> str:
    other = seam.between[1 - seam.between.index(name)]
    if not math.isfinite(seam.set_anew.value_m):
        return f"no gap to {other} can be predicted"
    gap = centimetres(seam.set_anew.value_m, seam.set_anew.sigma_m)
    return f"gap to {other} {gap}, {WORDS[seam.set_anew.verdict]}"

"""What a turn would do, in one sentence beside the advice to make it."""

from __future__ import annotations

import math

from vision.inspection.whatif.change import CameraForecast, Change, Forecast, SeamForecast
from vision.units.length_words import LengthWords

WORDS = {
    "within": "within tolerance",
    "beyond": "still beyond tolerance",
    "not-judged": "too uncertain to pass or fail",
}
"""The verdicts on what is predicted: what a check would say of such figures, and no less."""


def outcome(forecast: Forecast, name: str, lengths: LengthWords, *, aim: bool = True) -> str:
    """What follows for the camera called `name` and its seams; empty where nothing is predicted.

    Its `aim` is left out where the step itself says it. Gaps are those of a display that is set
    again after the turn: set as it is, it would no longer fit, which is said where it matters.
    """
    camera = next((each for each in forecast.cameras if each.name == name), None)
    if camera is None:
        return ""
    seams = [each for each in forecast.seams if name in each.between]
    gaps = [_seam(each, name, lengths) for each in seams]
    parts = [f"aim {WORDS[camera.aim]}"] if aim else []
    parts.append(_seen(camera, lengths))
    if gaps:
        again = any(each.as_set.verdict == "beyond" for each in seams)
        once = "once the display is set again, as it then must be, " if again else ""
        parts.append(f"{once}the gap is {', '.join(gaps)}")
    return "predicted: " + "; ".join(parts)


def _seen(camera: CameraForecast, lengths: LengthWords) -> str:
    near = camera.nearest_then
    text = f"{camera.marks_then} marks in view ({camera.marks_now} now)"
    if not math.isfinite(near.value_m):
        return f"{text}, no ground seen"
    if near.verdict == "within":
        return text
    return f"{text}, ground seen from {lengths.roughly.m(near.value_m)} out, {WORDS[near.verdict]}"


def _seam(seam: SeamForecast, name: str, lengths: LengthWords) -> str:
    other = seam.between[1 - seam.between.index(name)]
    if not math.isfinite(seam.set_anew.value_m):
        return f"not to be predicted to {other}"
    gap = lengths.cm(seam.set_anew.value_m, seam.set_anew.sigma_m)
    return f"{gap} to {other}, {WORDS[seam.set_anew.verdict]}"


def change_words(change: Change, lengths: LengthWords) -> str:
    """A small change in words: `5 cm lower`, `front tilted 0.5 degree down`."""
    said = [f"{lengths.cm(change.lower_m, spec='.3g')} lower"] if change.lower_m else []
    if change.lean_rad:
        said.append(f"leans {_degrees(change.lean_rad)} to its right")
    if change.nose_down_rad:
        said.append(f"nose {_degrees(change.nose_down_rad)} down")
    said += [
        f"{name} tilted {_degrees(tilt)} down" for name, (_, tilt, _) in change.turns_rad.items()
    ]
    return ", ".join(said)


def _degrees(angle_rad: float) -> str:
    return f"{math.degrees(angle_rad):.3g} degree"

"""Verdicts on cameras: aim, overlap, nearest ground and blur against what the person accepts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera
from vision.camera.geometry import ANGLES
from vision.inspection.verdict.pictures import PictureVerdict
from vision.inspection.verdict.rule import (
    COVERAGE,
    SIGNIFICANT,
    Action,
    Judgement,
    Reason,
    degrees,
    judge,
    judge_minimum,
    reasons_for,
)
from vision.job.job import Camera, Tolerances
from vision.units.arrays import Array
from vision.units.length_words import METRIC, LengthWords
from vision.views.seams.coverage import NearestGround

CameraWord = Literal["re-shoot", "re-aim", "not-judged", "keep"]

USELESS_PICTURE = frozenset({"dark", "soft", "too-few-marks", "no-marks", "blank"})
"""Codes of pictures that decode but carry nothing to judge: only another picture helps."""
FAULT_EXPLAINS = frozenset({"no-marks", "ambiguous", "implausible", "no-joint-fit"})
"""Codes that a soft, moved or dark picture may well be the cause of."""
CHECK_STATED = (
    "where marks can be seen in it, check instead what the job states of this camera: picture,"
    " lens, position and intended aim"
)
WAYS = {
    "pan": ("to its right", "to its left"),
    "tilt": ("up", "down"),
    "roll": ("anticlockwise as seen from behind it", "clockwise as seen from behind it"),
}
"""Words for a negative and a positive change of each angle."""
STEEP_RAD = np.radians(80)
ONE_ANGLE = "cannot be judged: where a camera looks straight down, pan and roll are one angle"
NARROW_AIM = (
    "marks farther apart across the picture, or a board shown to this camera to fix its lens,"
    " would narrow it"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraVerdict:
    """One camera's verdict; `name` is the camera's."""

    name: str
    verdict: CameraWord
    reasons: tuple[Reason, ...] = ()
    actions: tuple[Action, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlap:
    """Overlap of a camera with one neighbour, in m, with its sigma.

    `neighbour_is_off`: the neighbour's own aim is beyond tolerance. A camera that looks where it
    should is not to be turned for that.
    """

    neighbour: str
    width_m: float
    sigma_m: float
    neighbour_is_off: bool = False


def unidentified_camera(
    name: str, reason: Reason, picture: PictureVerdict | None = None
) -> CameraVerdict:
    """The verdict on a camera without a fit: re-shoot a useless picture, else not judged.

    Where the picture itself is at fault that is the reason, and not that no marks were found.
    """
    if picture is not None and picture.faults and reason.code in FAULT_EXPLAINS:
        return CameraVerdict(
            name=name,
            verdict="re-shoot",
            reasons=(*picture.reasons, reason),
            actions=picture.actions,
        )
    if reason.code not in USELESS_PICTURE:
        return CameraVerdict(name=name, verdict="not-judged", reasons=(reason,))
    stated = f"; {CHECK_STATED}" if reason.code == "no-marks" else ""
    action = Action(text=f"take the {name} camera's picture again: {reason.text}{stated}")
    return CameraVerdict(name=name, verdict="re-shoot", reasons=(reason,), actions=(action,))


def aim_judgements(
    camera: Camera, adjusted: AdjustedCamera, tolerances: Tolerances
) -> tuple[Array, Array, tuple[Judgement, ...]]:
    """Deviation (3,) of pan, tilt, roll from the intended aim, sigmas (3,) and judgements.

    The sigmas of pan and roll are NaN for a camera that looks straight down: the two are one angle
    there, and neither is judged.
    """
    off = adjusted.aim.minus(camera.aim)
    sigma = np.sqrt(np.diag(adjusted.aim_covariance_rad2))
    if max(abs(camera.aim.tilt_rad), abs(adjusted.aim.tilt_rad)) > STEEP_RAD:
        sigma[[0, 2]] = np.nan
    allowed = (tolerances.aim_rad, tolerances.aim_rad, tolerances.roll_rad)
    words = tuple(judge(float(d), float(s), t) for d, s, t in zip(off, sigma, allowed, strict=True))
    return off, sigma, words


def aim_is_beyond(camera: Camera, adjusted: AdjustedCamera, tolerances: Tolerances) -> bool:
    """Whether any angle of a camera is beyond its tolerance."""
    return "beyond" in aim_judgements(camera, adjusted, tolerances)[2]


def camera_verdict(
    camera: Camera,
    adjusted: AdjustedCamera,
    tolerances: Tolerances,
    *,
    overlaps: tuple[Overlap, ...] = (),
    nearest: NearestGround | None = None,
    picture: PictureVerdict | None = None,
    lengths: LengthWords = METRIC,
) -> CameraVerdict:
    """Judge one camera as adjusted; a picture at fault comes before everything else."""
    if picture is not None and picture.word == "re-shoot":
        return CameraVerdict(
            name=camera.name,
            verdict="re-shoot",
            reasons=picture.reasons,
            actions=picture.actions,
        )
    off, sigma, words = aim_judgements(camera, adjusted, tolerances)
    reasons = _aim_reasons(off, sigma, words, tolerances)
    actions: list[Action] = []
    # What has no sigma may be off by anything.
    sigma = np.nan_to_num(sigma, nan=np.pi)
    found: list[Judgement] = list(words)
    if "beyond" in words:
        actions.append(_turn(camera.name, off, sigma, words, tolerances))
    for overlap in overlaps:
        word, reason, action = _judge_overlap(
            camera.name, overlap, tolerances, "beyond" in words, lengths
        )
        found.append(word)
        reasons += [reason] if reason else []
        actions += [action] if action else []
    if nearest is not None:
        word = judge(nearest.distance_m, nearest.sigma_m, tolerances.nearest_ground_m)
        found.append(word)
        reasons += _nearest_reasons(word, nearest, tolerances, lengths)
        if word == "beyond" and "beyond" not in words:
            actions.append(_tilt_down(camera.name, adjusted, nearest, sigma, tolerances, lengths))
    if picture is not None:
        reasons += picture.reasons
        found += ["not-judged"] if picture.word == "not-judged" else []
    verdict: CameraWord = "keep"
    if "beyond" in found:
        verdict = "re-aim"
    elif "not-judged" in found:
        verdict = "not-judged"
    return CameraVerdict(
        name=camera.name, verdict=verdict, reasons=tuple(reasons), actions=tuple(actions)
    )


def _aim_reasons(
    off: Array, sigma: Array, words: tuple[Judgement, ...], tolerances: Tolerances
) -> list[Reason]:
    """One reason for each angle that is beyond, not judged, or off by a real amount."""
    allowed = (tolerances.aim_rad, tolerances.aim_rad, tolerances.roll_rad)
    reasons = []
    for name, d, s, word, limit in zip(ANGLES, off, sigma, words, allowed, strict=True):
        figure = f"{name} is {degrees(abs(d), s)} {WAYS[name][int(d > 0)]} of the intended"
        if name == "tilt":
            figure = f"tilt is {degrees(abs(d), s)} too far {WAYS[name][int(d > 0)]}"
        if name == "roll":
            figure = f"rolled {degrees(abs(d), s)} {WAYS[name][int(d > 0)]}"
        if np.isnan(s):
            reasons.append(Reason(code=f"{name}-not-judged", text=f"{name} {ONE_ANGLE}"))
            continue
        reasons += reasons_for(
            word,
            name,
            figure,
            limit=degrees(limit),
            span=f"{np.degrees(abs(d)):.1f} +- {np.degrees(COVERAGE * s):.1f}",
            narrow=NARROW_AIM,
            real=bool(abs(d) > SIGNIFICANT * s),
        )
    return reasons


def _turn(
    name: str, off: Array, sigma: Array, words: tuple[Judgement, ...], tolerances: Tolerances
) -> Action:
    """Turn back every angle that is beyond, by what it is off; the others stay as they are."""
    change = np.where([word == "beyond" for word in words], -off, 0.0)
    allowed = (tolerances.aim_rad, tolerances.aim_rad, tolerances.roll_rad)
    parts, after = [], []
    for angle, turn, s, limit in zip(ANGLES, change, sigma, allowed, strict=True):
        if turn == 0:
            continue
        verb = "roll" if angle == "roll" else "turn"
        amount = degrees(abs(turn), s)
        way = WAYS[angle][int(turn > 0)]
        parts.append(f"{verb} the {name} camera {_by(angle, way, amount)}")
        left = judge(0.0, float(s), limit)
        sure = "within tolerance" if left == "within" else "still not certain to be within"
        after.append(f"{angle} {sure} (0.0 +- {np.degrees(s):.1f} degrees)")
    text = (
        f"{', then '.join(parts)}, from what a gauge on its housing reads now;"
        f" then {', '.join(after)}"
    )
    return Action(text=text, turn_rad=_three(change), sigma_rad=_three(sigma))


def _by(angle: str, way: str, amount: str) -> str:
    return f"{way} {amount}" if angle == "tilt" else f"{way} by {amount}"


def _three(values: Array) -> tuple[float, float, float]:
    pan, tilt, roll = (float(value) + 0.0 for value in values)
    return pan, tilt, roll


def _judge_overlap(
    name: str,
    overlap: Overlap,
    tolerances: Tolerances,
    own_aim_is_off: bool,
    lengths: LengthWords,
) -> tuple[Judgement, Reason | None, Action | None]:
    """Judgement that counts for this camera, with a reason and an action where there is any."""
    word = judge_minimum(overlap.width_m, overlap.sigma_m, tolerances.overlap_m)
    least = lengths.m(tolerances.overlap_m)
    figure = lengths.roughly.m(overlap.width_m, overlap.sigma_m)
    text = f"the views of {name} and {overlap.neighbour} overlap by {figure}"
    if word == "within":
        return word, None, None
    if word == "not-judged":
        narrow = "marks near the edges of both views would narrow it"
        straddles = f"{text}, which straddles the {least} wanted; {narrow}"
        return word, Reason(code="overlap-not-judged", text=straddles), None
    reason = Reason(code="overlap-below", text=f"{text}, below the {least} wanted")
    if own_aim_is_off:
        return word, reason, None
    if overlap.neighbour_is_off:
        blamed = f"{reason.text}; the {overlap.neighbour} camera is the one to turn"
        return "within", Reason(code=reason.code, text=blamed), None
    missing = tolerances.overlap_m - overlap.width_m
    advice = (
        f"turn the {name} and {overlap.neighbour} cameras towards each other, or up, until they"
        f" share {lengths.roughly.m(missing)} more ground; both look as intended, so the intended"
        " aim leaves too little"
    )
    return word, reason, Action(text=advice)


def _nearest_reasons(
    word: Judgement, nearest: NearestGround, tolerances: Tolerances, lengths: LengthWords
) -> list[Reason]:
    """Why the first visible ground is too far off, or not known well enough."""
    limit = lengths.m(tolerances.nearest_ground_m)
    if word == "within":
        return []
    if not np.isfinite(nearest.distance_m):
        text = f"no ground is seen straight out from its side; {limit} allowed"
        return [Reason(code="nearest-ground-beyond", text=text)]
    first = lengths.roughly.m(nearest.distance_m, nearest.sigma_m)
    figure = f"the first ground seen is {first} out"
    if word == "beyond":
        return [Reason(code="nearest-ground-beyond", text=f"{figure}; {limit} allowed")]
    text = (
        f"{figure}, which straddles the {limit} allowed; a mark close to the body would narrow it"
    )
    return [Reason(code="nearest-ground-not-judged", text=text)]


def _tilt_down(
    name: str,
    adjusted: AdjustedCamera,
    nearest: NearestGround,
    sigma: Array,
    tolerances: Tolerances,
    lengths: LengthWords,
) -> Action:
    """How far down the edge of the view has to come; the mounting stands at the body's side."""
    if not np.isfinite(nearest.distance_m):
        return Action(text=f"turn the {name} camera down until it sees the ground beside the body")
    height = float(adjusted.pose.camera_in_ground_m[2])
    down = float(
        np.arctan2(nearest.distance_m, height) - np.arctan2(tolerances.nearest_ground_m, height)
    )
    text = (
        f"turn the {name} camera down {degrees(down, float(sigma[1]))} to see ground from"
        f" {lengths.cm(tolerances.nearest_ground_m)} out; it looks as intended, so the intended"
        " tilt is too high for that"
    )
    return Action(text=text, turn_rad=(0.0, down, 0.0), sigma_rad=_three(sigma))

"""Verdicts on cameras: aim, overlap, nearest ground and blur against what the person accepts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera, Adjustment
from vision.camera.geometry import ANGLES
from vision.inspection.settings import SETTINGS
from vision.inspection.verdict.common_turn import CommonTurn
from vision.inspection.verdict.pictures import PictureVerdict
from vision.inspection.verdict.rule import (
    Action,
    Judgement,
    judge,
    judge_minimum,
    reasons_for,
)
from vision.inspection.whatif.change import Change
from vision.job.job import Camera, Job, Tolerances
from vision.units.arrays import Array
from vision.units.reason import Reason
from vision.views.seams.coverage import NearestGround
from vision.views.seams.gaps import SeamGap

CameraWord = Literal["re-shoot", "re-aim", "not-judged", "keep"]

USELESS_PICTURE = frozenset({"dark", "soft", "too-few-marks", "no-marks", "blank", "straightened"})
"""Codes of pictures that decode but carry nothing to judge: only another picture helps."""
AIM_MAY_EXPLAIN = frozenset({"ambiguous", "implausible"})
"""Codes that go away where a camera is turned roughly to its intended aim."""
FAULT_EXPLAINS = frozenset({"no-marks", "ambiguous", "implausible", "no-joint-fit"})
"""Codes that a soft, moved or dark picture may well be the cause of."""
UNEXPLAINED = frozenset({"no-marks", "ambiguous", "implausible", "too-few-marks", "no-joint-fit"})
"""Codes that say no more than that the picture and the job do not go together."""


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """How many marks a camera's adjustment used, of how many that were due in its picture."""

    used: int
    due: int

    @property
    def mostly_missing(self) -> bool:
        """Whether its variances would about halve, and more, if all were seen."""
        return 2 * self.used < self.due


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
    action = Action(what=Reason("take-again", camera=name, why=reason))
    return CameraVerdict(name=name, verdict="re-shoot", reasons=(reason,), actions=(action,))


def without_identity(verdict: CameraVerdict) -> CameraVerdict:
    """The verdict on a camera where none is identified: not its picture but the job is suspect."""
    return CameraVerdict(name=verdict.name, verdict="not-judged", reasons=verdict.reasons)


def aim_judgements(
    camera: Camera,
    adjusted: AdjustedCamera,
    tolerances: Tolerances,
    common: CommonTurn | None = None,
) -> tuple[Array, Array, tuple[Judgement, ...]]:
    """Deviation (3,) of pan, tilt, roll from the intended aim, sigmas (3,) and judgements.

    Against the body, as far as is known how it stands. What is beyond is not judged where it would
    not be without the turn that the cameras have in `common`. The sigmas of pan and roll are NaN
    for a camera that looks straight down: the two are one angle there, and neither is judged.
    """
    aim, sigma = adjusted.aim_on_body, adjusted.aim_on_body_sigma_rad
    if max(abs(camera.aim.tilt_rad), abs(aim.tilt_rad)) > SETTINGS.steep_rad:
        sigma[[0, 2]] = np.nan
    off = aim.minus(camera.aim)
    words = _judged(off, sigma, tolerances)
    if common is not None and "beyond" in words:
        pairs = zip(words, _judged_without(common, camera, adjusted, tolerances), strict=True)
        words = tuple("not-judged" if a == "beyond" != b else a for a, b in pairs)
    return off, sigma, words


def _judged_without(
    common: CommonTurn, camera: Camera, adjusted: AdjustedCamera, tolerances: Tolerances
) -> tuple[Judgement, ...]:
    """How pan, tilt and roll would be judged if the body stood turned as the cameras look to be."""
    off = common.aim_without(adjusted).minus(camera.aim)
    return _judged(off, adjusted.aim_on_body_sigma_rad, tolerances)


def _judged(off: Array, sigma: Array, tolerances: Tolerances) -> tuple[Judgement, ...]:
    allowed = (tolerances.aim_rad, tolerances.aim_rad, tolerances.roll_rad)
    return tuple(judge(float(d), float(s), t) for d, s, t in zip(off, sigma, allowed, strict=True))


def aim_is_beyond(
    camera: Camera,
    adjusted: AdjustedCamera,
    tolerances: Tolerances,
    common: CommonTurn | None = None,
) -> bool:
    """Whether any angle of a camera is beyond its tolerance."""
    return "beyond" in aim_judgements(camera, adjusted, tolerances, common)[2]


def overlaps_of(
    job: Job,
    camera: Camera,
    gaps: Mapping[tuple[str, str], SeamGap],
    joint: Adjustment,
    common: CommonTurn | None = None,
) -> tuple[Overlap, ...]:
    """What a camera shares with each neighbour; nothing where the seam has no point to tell."""
    overlaps = []
    for between, gap in gaps.items():
        if camera.name not in between or gap.overlap_m is None:
            continue
        other = job.camera(between[1 - between.index(camera.name)])
        adjusted = joint.camera(other.name)
        overlaps.append(
            Overlap(
                neighbour=other.name,
                width_m=gap.overlap_m,
                sigma_m=gap.overlap_sigma_m or 0.0,
                neighbour_is_off=aim_is_beyond(other, adjusted, job.tolerances, common),
            )
        )
    return tuple(overlaps)


def camera_verdict(
    camera: Camera,
    adjusted: AdjustedCamera,
    tolerances: Tolerances,
    *,
    common: CommonTurn | None = None,
    overlaps: tuple[Overlap, ...] = (),
    nearest: NearestGround | None = None,
    picture: PictureVerdict | None = None,
    marks: Marks | None = None,
) -> CameraVerdict:
    """Judge one camera as adjusted; a picture at fault comes before everything else."""
    if picture is not None and picture.word == "re-shoot":
        return CameraVerdict(
            name=camera.name,
            verdict="re-shoot",
            reasons=picture.reasons,
            actions=picture.actions,
        )
    off, sigma, words = aim_judgements(camera, adjusted, tolerances, common)
    reasons = _aim_reasons(off, sigma, words, tolerances)
    actions: list[Action] = []
    if common is not None and "not-judged" in words:
        without = _judged_without(common, camera, adjusted, tolerances)
        if any(a == "not-judged" and b == "within" for a, b in zip(words, without, strict=True)):
            actions.append(Action(what=Reason("take-levels")))
    found: list[Judgement] = list(words)
    if "beyond" in words:
        actions.append(_turn(camera, adjusted, (off, sigma, words), tolerances, common))
    elif marks is not None and marks.mostly_missing and "not-judged" in words:
        again = Reason("take-clear-again", camera=camera.name, used=marks.used, due=marks.due)
        actions.append(Action(what=again))
    for overlap in overlaps:
        word, reason, action = _judge_overlap(camera.name, overlap, tolerances, "beyond" in words)
        found.append(word)
        reasons += [reason] if reason else []
        actions += [action] if action else []
    if nearest is not None:
        word = judge(nearest.distance_m, nearest.sigma_m, tolerances.nearest_ground_m)
        found.append(word)
        reasons += _nearest_reasons(word, nearest, tolerances)
        if word == "beyond" and "beyond" not in words:
            actions.append(_tilt_down(camera.name, adjusted, nearest, sigma, tolerances))
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
        if np.isnan(s):
            reasons.append(Reason(f"{name}-not-judged", straight_down=True))
            continue
        reasons += reasons_for(
            word,
            name,
            real=bool(abs(d) > SETTINGS.significant_sigmas * s),
            off_rad=float(d),
            sigma_rad=float(s),
            limit_rad=limit,
        )
    return reasons


def _turn(
    camera: Camera,
    adjusted: AdjustedCamera,
    aim: tuple[Array, Array, tuple[Judgement, ...]],
    tolerances: Tolerances,
    common: CommonTurn | None,
) -> Action:
    """Turn back every angle that is beyond, by what it is off; the others stay as they are.

    What then is said of the aim is judged as the aim is now, so that step and prediction are one.
    """
    off, sigma, words = aim
    change = np.where([word == "beyond" for word in words], -off, 0.0)
    turn_rad, sigma_rad = _three(change), _three(np.nan_to_num(sigma, nan=np.pi))
    then = Change(turns_rad={camera.name: turn_rad}).camera(adjusted)
    what = Reason(
        "turn",
        camera=camera.name,
        turn_rad=turn_rad,
        sigma_rad=sigma_rad,
        then=_angles_then(camera, then, tolerances, common),
    )
    return Action(what=what, turn_rad=turn_rad, sigma_rad=sigma_rad)


def _angles_then(
    camera: Camera, then: AdjustedCamera, tolerances: Tolerances, common: CommonTurn | None
) -> tuple[tuple[str, float, float, float, Judgement], ...]:
    """Of each angle its name, how far it is then off, the sigma, what is allowed and the word."""
    off, sigma, words = aim_judgements(camera, then, tolerances, common)
    allowed = (tolerances.aim_rad, tolerances.aim_rad, tolerances.roll_rad)
    rows = zip(ANGLES, map(float, off), map(float, sigma), allowed, words, strict=True)
    return tuple(rows)


def _three(values: Array) -> tuple[float, float, float]:
    pan, tilt, roll = (float(value) + 0.0 for value in values)
    return pan, tilt, roll


def _judge_overlap(
    name: str, overlap: Overlap, tolerances: Tolerances, own_aim_is_off: bool
) -> tuple[Judgement, Reason | None, Action | None]:
    """Judgement that counts for this camera, with a reason and an action where there is any."""
    word = judge_minimum(overlap.width_m, overlap.sigma_m, tolerances.overlap_m)
    figures = {
        "between": (name, overlap.neighbour),
        "width_m": overlap.width_m,
        "sigma_m": overlap.sigma_m,
        "least_m": tolerances.overlap_m,
    }
    if word == "within":
        return word, None, None
    if word == "not-judged":
        return word, Reason("overlap-not-judged", **figures), None
    if own_aim_is_off:
        return word, Reason("overlap-below", **figures), None
    if overlap.neighbour_is_off:
        return "within", Reason("overlap-below", to_turn=overlap.neighbour, **figures), None
    advice = Reason(
        "turn-towards",
        between=(name, overlap.neighbour),
        missing_m=tolerances.overlap_m - overlap.width_m,
    )
    return word, Reason("overlap-below", **figures), Action(what=advice)


def _nearest_reasons(
    word: Judgement, nearest: NearestGround, tolerances: Tolerances
) -> list[Reason]:
    """Why the first visible ground is too far off, or not known well enough."""
    return reasons_for(
        word,
        "nearest-ground",
        real=False,
        distance_m=nearest.distance_m,
        sigma_m=nearest.sigma_m,
        limit_m=tolerances.nearest_ground_m,
    )


def _tilt_down(
    name: str,
    adjusted: AdjustedCamera,
    nearest: NearestGround,
    sigma: Array,
    tolerances: Tolerances,
) -> Action:
    """How far down the edge of the view has to come; the mounting stands at the body's side."""
    if not np.isfinite(nearest.distance_m):
        return Action(what=Reason("tilt-down-to-ground", camera=name))
    height = float(adjusted.pose.camera_in_ground_m[2])
    down = float(
        np.arctan2(nearest.distance_m, height) - np.arctan2(tolerances.nearest_ground_m, height)
    )
    # What has no sigma may be off by anything.
    sigma = np.nan_to_num(sigma, nan=np.pi)
    what = Reason(
        "tilt-down",
        camera=name,
        down_rad=down,
        sigma_rad=float(sigma[1]),
        limit_m=tolerances.nearest_ground_m,
    )
    return Action(what=what, turn_rad=(0.0, down, 0.0), sigma_rad=_three(sigma))

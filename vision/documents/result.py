"""An inspection as plain data: the result file `inspection.json`, and its JSON schema.

Other people's scripts rely on these names. SI units but for angles, which are in degrees; a figure
that cannot be had is null and `missing` beside it says why. Digits are kept to about a hundredth of
what the best camera can tell, so that two runs of the same pictures compare equal by eye.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from typing import Any

import numpy as np

from vision import __version__
from vision.adjustment.adjusted import AdjustedCamera
from vision.adjustment.plan_fit import Lengths, PlanFit
from vision.camera.geometry import ANGLES, Aim
from vision.camera.lens import Lens
from vision.documents.check_words.saying import Say
from vision.documents.check_words.words import say_check, say_texture, warning_texts
from vision.documents.forecast_words import change_words, outcome
from vision.inspection.inspected import (
    InspectedCamera,
    InspectedMark,
    InspectedRaisedMark,
    InspectedSeam,
    InspectedStrip,
    Inspection,
)
from vision.inspection.verdict.reliability import Reliability
from vision.inspection.verdict.rule import Action
from vision.inspection.whatif.change import Forecast
from vision.job.job import Tolerances, Vehicle, VehicleState
from vision.units.arrays import Array
from vision.units.plain import (
    number,
    numbers,
    shipped_schema,
    significant,
    validate_under,
    with_missing,
)
from vision.units.reason import Reason
from vision.views.sharpness.blur import Blur
from vision.views.texture.shift import NoTexture, TextureShift, texture_agreement

SCHEMA_NAME = "seamtrue.inspection/1"
METRE_DIGITS, DEGREE_DIGITS, PIXEL_DIGITS = 5, 4, 3

TEXTURE_FIGURES = ("texture_shift_m", "texture_sigma_m", "texture_at_m", "texture_marks_gap_m")

NO_FIT = "the camera has no plan fit; its reasons say why"
NO_JOINT = "the camera took no part in the joint adjustment; its reasons say why"
FEW_EDGES = "the picture has too few edges to tell"
FEW_CLEAR = "drops are looked for at the marks, and too few of them are clear to tell"
NO_RESIDUAL_M = "the ray through the mark does not reach its height plane"


def schema() -> dict[str, Any]:
    """Return the JSON schema (draft 2020-12) that every result is valid under."""
    return shipped_schema("inspection.schema.json")


def validate(result: object) -> None:
    """Raise jsonschema.ValidationError where `result` is not a valid result."""
    validate_under(schema(), result)


def result_of(inspection: Inspection) -> dict[str, Any]:
    """Put an inspection into plain dicts, lists, numbers and strings, ready for `json.dumps`."""
    say = say_check(inspection.job.lengths)
    result: dict[str, Any] = {
        "schema": SCHEMA_NAME,
        "program": f"seamtrue {__version__}",
        "job": inspection.job.name,
        "verdict": inspection.verdict,
        "actions": _actions(inspection.actions, say),
        "vehicle": _vehicle(inspection.job.vehicle),
        "vehicle_state": _vehicle_state(inspection.job.vehicle.state),
        "tolerances": _tolerances(inspection.job.tolerances),
        "variance_factor": number(inspection.variance_factor, 4),
        "cameras": [_camera(camera, say) for camera in inspection.cameras],
        "strips": [_strip(strip, say) for strip in inspection.strips],
        "raised_marks": [_raised_mark(mark, say) for mark in inspection.raised_marks],
        "seams": [_seam(seam, say) for seam in inspection.seams],
        "stated": [_stated(each, say) for each in inspection.stated],
        "what_if": _what_if(inspection),
        "warnings": list(warning_texts(inspection)),
    }
    no_factor = "there was no joint adjustment, or it had no observation to spare"
    return with_missing(result, {"variance_factor": no_factor})


def _what_if(inspection: Inspection) -> dict[str, Any]:
    """What each recommended turn would do, and how the seams follow load, lean and knocks."""
    what_if, lengths = inspection.what_if, inspection.job.lengths
    turns = [
        {"camera": name, "predicted": outcome(forecast, name, lengths)}
        for name, (_, forecast) in what_if.turns.items()
        if isinstance(forecast, Forecast)
    ]
    moves = [
        {
            "change": change_words(each.change, lengths),
            "seams": [
                {"between": list(between), "moved_m": number(moved, METRE_DIGITS)}
                for between, moved in each.moved_m.items()
            ],
        }
        for each in what_if.moves
    ]
    return {"turns": turns, "moves": moves}


def _stated(standing: Reliability, say: Say) -> dict[str, Any]:
    faults = [
        {
            "kind": size.kind,
            "unit": "deg" if size.kind == "turn" else "m" if size.kind == "shift" else "share",
            **{
                name: significant(np.array(np.degrees(value) if size.kind == "turn" else value), 3)
                for name, value in (
                    ("possible", size.possible),
                    ("surely_named", size.sure),
                    ("usual_slip", size.slip),
                )
            },
        }
        for size in standing.sizes
    ]
    why = dict.fromkeys(("possible", "surely_named"), "nothing measured shows it")
    return {
        "what": str(standing.group),
        "text": say(standing.what),
        "standing": standing.word,
        "p_value": float(f"{standing.p_value:.3g}"),
        "faults": [with_missing(each, why) for each in faults],
    }


def _reasons(reasons: Iterable[Reason], say: Say) -> list[dict[str, str]]:
    return [{"code": reason.code, "text": say(reason)} for reason in reasons]


def _actions(actions: Iterable[Action], say: Say) -> list[dict[str, Any]]:
    return [
        {
            "text": say(action.what),
            "turn_deg": _degrees(action.turn_rad),
            "sigma_deg": _degrees(action.sigma_rad),
        }
        for action in actions
    ]


def _degrees(angles_rad: Iterable[float] | None) -> dict[str, float | None] | None:
    if angles_rad is None:
        return None
    return _angles({n: float(np.degrees(each)) for n, each in zip(ANGLES, angles_rad, strict=True)})


def _angles(angles_deg: dict[str, float] | None) -> dict[str, float | None] | None:
    if angles_deg is None:
        return None
    return {name: number(angles_deg[name], DEGREE_DIGITS) for name in ANGLES}


def _aim(aim: Aim) -> dict[str, float | None]:
    return _angles(dict(zip(ANGLES, aim.as_degrees(), strict=True))) or {}


def _vehicle_state(state: VehicleState) -> dict[str, Any]:
    stated = {each.name: getattr(state, each.name) for each in fields(state)}
    return with_missing(stated, dict.fromkeys(stated, "the job does not say it"))


def _vehicle(vehicle: Vehicle) -> dict[str, Any]:
    entry = {
        "length_m": number(vehicle.length_m, METRE_DIGITS),
        "width_m": number(vehicle.width_m, METRE_DIGITS),
        "height_m": number(vehicle.height_m, METRE_DIGITS),
    }
    return with_missing(entry, {"height_m": "the job states none"})


def _tolerances(tolerances: Tolerances) -> dict[str, float | None]:
    return {
        "seam_gap_m": number(tolerances.seam_gap_m, 6),
        "strip_m": number(tolerances.strip_m, 6),
        "aim_deg": number(np.degrees(tolerances.aim_rad), 6),
        "roll_deg": number(np.degrees(tolerances.roll_rad), 6),
        "overlap_m": number(tolerances.overlap_m, 6),
        "nearest_ground_m": number(tolerances.nearest_ground_m, 6),
        "blur_px": number(tolerances.blur_px, 6),
    }


def _camera(found: InspectedCamera, say: Say) -> dict[str, Any]:
    picture = found.picture
    shown = {
        "file": picture.file,
        "sha256": picture.sha256,
        "width": picture.width,
        "height": picture.height,
        "mirrored": picture.mirrored,
        "blur_px": number(found.blur_px, PIXEL_DIGITS),
    }
    entry = {
        "name": found.camera.name,
        "verdict": found.verdict,
        "reasons": _reasons(found.reasons, say),
        "actions": _actions(found.actions, say),
        "intended_aim_deg": _aim(found.camera.aim),
        "picture": with_missing(shown, {"blur_px": "no mark was fitted, so no blur is known"}),
        **_sharpness(found),
        "marks_expected": found.marks_expected,
        "marks_used": found.marks_used,
        "plan_fit": _plan_fit(found.plan_fit, found.ray_from_ground),
        "joint": _joint(found.adjusted),
        "marks": [_mark(mark, say) for mark in found.marks],
    }
    return with_missing(entry, {"plan_fit": NO_FIT, "joint": NO_JOINT})


def _sharpness(found: InspectedCamera) -> dict[str, Any]:
    """What is known of the picture itself; nothing where it was not looked at."""
    sharp, judged = found.sharpness, found.picture_verdict
    if sharp is None or judged is None:
        return {}
    motion, light, patches = sharp.motion, sharp.light, sharp.patches
    entry = {
        "edges": sharp.edges,
        "answers": dict(judged.answers),
        "blur": _blur(sharp.blur),
        "least_direction": _blur(sharp.least),
        "worst_direction": _blur(sharp.most),
        "sides": {n: _blur(b) for n, b in sharp.sides.items()} if sharp.sides else None,
        "motion": {
            "length_px": number(motion.length_px, 2),
            "sigma_px": number(motion.sigma_px, 2),
            "direction_deg": number(np.degrees(motion.direction_rad), 1),
            "direction_sigma_deg": number(np.degrees(motion.direction_sigma_rad), 1),
        }
        if motion
        else None,
        "light": {
            "level": number(light.level, 1),
            "span": number(light.span, 1),
            "noise": number(light.noise, 2),
            "signal_to_noise": number(light.signal_to_noise, 1),
            "sigma": number(light.signal_to_noise_sigma, 1),
        },
        "soft_patches": [
            {
                "pixel": numbers(patch.pixel_px, 1),
                "radius_px": number(patch.radius_px, 1),
                "blur_px": number(patch.blur_px, 2),
                "sigma_px": number(patch.sigma_px, 2),
                "marks": [str(mark_id) for mark_id in patch.marks],
            }
            for patch in patches
        ]
        if patches is not None
        else None,
    }
    why = dict.fromkeys(
        ("blur", "least_direction", "worst_direction", "sides", "motion"), FEW_EDGES
    )
    return {"sharpness": with_missing(entry, {**why, "soft_patches": FEW_CLEAR})}


def _blur(blur: Blur | None) -> dict[str, float | None] | None:
    if blur is None:
        return None
    return {"px": number(blur.blur_px, 2), "sigma_px": number(blur.sigma_px, 2)}


def _lens(lens: Lens) -> dict[str, Any]:
    centre = {name: number(getattr(lens, name), 4) for name in ("fx", "fy", "cx", "cy")}
    return {"model": "kannala-brandt", **centre, "k": numbers(lens.k, 8)}


def _rms_and_max(lengths: Lengths, digits: int) -> dict[str, float | None]:
    return {"rms": number(lengths.rms, digits), "max": number(lengths.most, digits)}


def _plan_fit(fit: PlanFit | None, ray_from_ground: Array | None) -> dict[str, Any] | None:
    if fit is None:
        return None
    pixels = _rms_and_max(fit.reprojection_px, PIXEL_DIGITS)
    metres = _rms_and_max(fit.off_ground_m, METRE_DIGITS)
    entry = {
        "aim_deg": _aim(fit.pose.aim),
        "position_m": numbers(fit.pose.camera_in_ground_m, METRE_DIGITS),
        "lens": _lens(fit.lens),
        "ray_from_ground": significant(ray_from_ground, 10),
        "reprojection_px": pixels,
        "ground_residual_m": metres,
    }
    return with_missing(entry, {"ray_from_ground": "the ground map could not be made"})


def _joint(adjusted: AdjustedCamera | None) -> dict[str, Any] | None:
    if adjusted is None:
        return None
    sigma_deg = np.degrees(np.sqrt(np.diag(adjusted.aim_covariance_rad2)))
    return {
        "aim_deg": _aim(adjusted.aim),
        "aim_sigma_deg": _angles(dict(zip(ANGLES, sigma_deg, strict=True))),
        "position_m": numbers(adjusted.pose.camera_in_ground_m, METRE_DIGITS),
        "position_sigma_m": numbers(adjusted.position_sigma_m, METRE_DIGITS),
        "lens": _lens(adjusted.lens),
    }


def _mark(mark: InspectedMark, say: Say) -> dict[str, Any]:
    entry = {
        "id": str(mark.id),
        "status": mark.status,
        "pixel": numbers(mark.pixel_px, PIXEL_DIGITS),
        "covariance_px2": significant(mark.covariance_px2, 5),
        "planned_m": numbers(mark.planned_m, METRE_DIGITS),
        "residual_px": numbers(mark.residual_px, PIXEL_DIGITS),
        "residual_m": numbers(mark.residual_m, METRE_DIGITS),
    }
    unmeasured = f"the mark is {mark.status}"
    if mark.reason:
        unmeasured = say(mark.reason)
        entry |= {"reason": unmeasured, "reason_code": mark.reason.code}
    unfitted = NO_RESIDUAL_M if mark.residual_px is not None else "there is no plan fit"
    why = dict.fromkeys(("pixel", "covariance_px2", "residual_px", "residual_m"), unmeasured)
    if mark.pixel_px is not None:
        why |= {"residual_px": unfitted, "residual_m": unfitted}
    return with_missing(entry, why)


def _strip(strip: InspectedStrip, say: Say) -> dict[str, Any]:
    # Unseen, the adjustment only hands the plan back: that is no figure of the strip.
    fit = strip.adjusted if strip.adjusted and strip.adjusted.seen else None
    entry = {
        "name": strip.name,
        "verdict": strip.verdict,
        "reasons": _reasons(strip.reasons, say),
        "actions": _actions(strip.actions, say),
        "shift_m": numbers(fit.shift_m, METRE_DIGITS) if fit else None,
        "turn_deg": number(np.degrees(fit.turn_rad), DEGREE_DIGITS) if fit else None,
        "shift_sigma_m": numbers(fit.shift_sigma_m, METRE_DIGITS) if fit else None,
        "turn_sigma_deg": number(np.degrees(fit.turn_sigma_rad), DEGREE_DIGITS) if fit else None,
    }
    figures = ("shift_m", "turn_deg", "shift_sigma_m", "turn_sigma_deg")
    return with_missing(entry, dict.fromkeys(figures, "no fitted camera shows the strip"))


def _raised_mark(mark: InspectedRaisedMark, say: Say) -> dict[str, Any]:
    fit = mark.adjusted if mark.adjusted and mark.adjusted.seen else None
    sigma_m = np.sqrt(np.diag(fit.covariance_m2)) if fit else None
    entry = {
        "name": mark.name,
        "verdict": mark.verdict,
        "reasons": _reasons(mark.reasons, say),
        "actions": _actions(mark.actions, say),
        "shift_m": numbers(fit.shift_m, METRE_DIGITS) if fit else None,
        "shift_sigma_m": numbers(sigma_m, METRE_DIGITS),
    }
    figures = ("shift_m", "shift_sigma_m")
    return with_missing(entry, dict.fromkeys(figures, "no fitted camera shows the mark"))


def _seam(seam: InspectedSeam, say: Say) -> dict[str, Any]:
    gap = seam.gap
    entry = {
        "between": list(seam.between),
        "verdict": seam.verdict,
        "shared_marks": gap.shared_marks if gap else 0,
        "worst_gap_m": numbers(gap.worst_gap_m, METRE_DIGITS) if gap else None,
        "worst_gap_sigma_m": numbers(gap.worst_gap_sigma_m, METRE_DIGITS) if gap else None,
        "rms_gap_m": number(gap.rms_gap_m, METRE_DIGITS) if gap else None,
        "uncovered_m": number(gap.uncovered_m, METRE_DIGITS) if gap else None,
        "overlap_m": number(gap.overlap_m, METRE_DIGITS) if gap else None,
        **_texture(seam),
        "tape_edges": [
            {
                "strip": edge.strip,
                "side": edge.side,
                "at_m": numbers(edge.at_m, METRE_DIGITS),
                "break_m": number(edge.break_m, METRE_DIGITS),
                "break_sigma_m": number(edge.break_sigma_m, METRE_DIGITS),
                "kink_deg": number(float(np.degrees(edge.kink_rad)), 3),
                "kink_sigma_deg": number(float(np.degrees(edge.kink_sigma_rad)), 3),
            }
            for edge in seam.edges
        ],
        "reasons": _reasons(seam.reasons, say),
    }
    no_gap = "both cameras need a plan fit and a place in the joint adjustment"
    if gap:
        no_gap = "no point of the seam lies in both pictures"
    figures = ("worst_gap_m", "worst_gap_sigma_m", "rms_gap_m", "uncovered_m", "overlap_m")
    why = dict.fromkeys(figures, no_gap)
    if gap:
        why["overlap_m"] = "no point of the seam is far enough from the body"
    no_texture = "there are not two fitted views to compare"
    if isinstance(seam.texture, NoTexture):
        no_texture = say_texture(say.lengths)(seam.texture.reason)
    no_shift = dict.fromkeys(TEXTURE_FIGURES, no_texture)
    return with_missing(entry, {**why, **no_shift})


def _texture(seam: InspectedSeam) -> dict[str, Any]:
    """The texture's shift at the seam's middle, beside the gap that the marks say there."""
    shift = seam.texture if isinstance(seam.texture, TextureShift) else None
    agreement = texture_agreement(shift, seam.gap) if shift and seam.gap else None
    return {
        "texture_verdict": agreement.verdict if agreement else "cannot-tell",
        "texture_shift_m": numbers(shift.shift_m, METRE_DIGITS) if shift else None,
        "texture_sigma_m": numbers(shift.sigma_m, METRE_DIGITS) if shift else None,
        "texture_at_m": numbers(shift.at_m, METRE_DIGITS) if shift else None,
        "texture_marks_gap_m": numbers(agreement.marks_m, METRE_DIGITS) if agreement else None,
    }

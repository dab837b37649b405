"""An assessment as plain data for `plan.json`, schema `seamtrue.plan/1`.

SI units but for angles, which are in degrees; what cannot be had is null.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from vision import __version__
from vision.camera.geometry import ANGLES
from vision.planning.plan import (
    Advice,
    AimChoice,
    Assessment,
    Limit,
    PlannedView,
    Prediction,
    TriedAim,
)
from vision.units.plain import shipped_schema, validate_under

SCHEMA_NAME = "seamtrue.plan/1"


def schema() -> dict[str, Any]:
    """Return the JSON schema (draft 2020-12) that every plan is valid under."""
    return shipped_schema("plan.schema.json")


def validate(plan: object) -> None:
    """Raise jsonschema.ValidationError where `plan` is not a valid plan."""
    validate_under(schema(), plan)


def plan_of(assessment: Assessment) -> dict[str, Any]:
    """Plain dicts, lists, numbers and strings, ready for `json.dumps`."""
    prediction = assessment.prediction
    light = prediction.light
    return {
        "schema": SCHEMA_NAME,
        "program": f"seamtrue {__version__}",
        "job": prediction.job.name,
        "verdict": prediction.word,
        "problems": [
            {"code": each.code, "verdict": each.word, "text": each.text}
            for each in prediction.problems
        ],
        "assumed": {
            "width": prediction.size_px[0],
            "height": prediction.size_px[1],
            "ground_level": light.ground_level,
            "tape_level": light.tape_level,
            "ink_level": light.ink_level,
            "noise": light.noise,
            "blur_px": light.blur_px,
            "texture_px": light.texture_px,
        },
        **_figures(prediction),
        "limits": [_limit(limit) for limit in prediction.limits],
        "aims": [_aim(choice) for choice in assessment.aims],
        "advice": [_advice(advice) for advice in assessment.advice],
    }


def _figures(prediction: Prediction) -> dict[str, Any]:
    return {
        "cameras": [
            {
                "name": camera.name,
                "marks": camera.marks,
                "strips": camera.strips,
                "aim_sigma_deg": dict(
                    zip(ANGLES, _list(np.degrees(camera.aim_sigma_rad), 4), strict=True)
                ),
                "position_sigma_m": _list(camera.position_sigma_m, 5),
                "nearest_ground_m": _one(camera.nearest_ground_m, 3),
                "found_mounting_m": _one(camera.found_mounting_m, 4, most=1.0),
                "views": [_view(v) for v in prediction.views if v.camera == camera.name],
            }
            for camera in prediction.cameras
        ],
        "strips_and_marks": [
            {
                "name": each.name,
                "sigma_m": _one(each.sigma_m, 5),
                "worst_mark": each.mark or None,
                "found_m": _one(each.found_m, 4, most=1.0),
            }
            for each in prediction.layings
        ],
        "seams": [
            {
                "between": list(seam.between),
                "shared_marks": seam.shared_marks,
                "sigma_m": _one(seam.sigma_m, 5),
                "worst_at_m": None if seam.worst_at_m is None else _list(seam.worst_at_m, 3),
                "usual_gap_m": _one(seam.usual_gap_m, 4),
                "overlap_m": _one(seam.overlap_m, 3),
                "uncovered_m": _one(seam.uncovered_m, 3),
            }
            for seam in prediction.seams
        ],
    }


def _view(view: PlannedView) -> dict[str, Any]:
    return {
        "mark": view.mark,
        "status": view.status,
        "hidden_by": view.hidden_by,
        "pixel": None if view.pixel_px is None else _list(view.pixel_px, 2),
        "extent_px": _one(view.extent_px, 2),
        "sigma_px": _one(view.sigma_px, 4),
    }


def _limit(limit: Limit) -> dict[str, Any]:
    in_degrees = limit.unit == "rad"
    unit = "deg" if in_degrees else "m"
    sigma, tolerance = limit.sigma, limit.tolerance
    if in_degrees:
        sigma, tolerance = float(np.degrees(sigma)), float(np.degrees(tolerance))
    return {
        "what": limit.what,
        f"sigma_{unit}": _one(sigma, 5),
        f"tolerance_{unit}": round(tolerance, 5),
        "two_sigma_over_tolerance": _one(limit.ratio, 4),
    }


def _aim(choice: AimChoice) -> dict[str, Any]:
    return {
        "camera": choice.camera,
        "adjustable": list(choice.adjustable),
        "best": _tried(choice.best),
        "intended": _tried(choice.intended),
        "at_45": _tried(choice.at_45),
    }


def _tried(aim: TriedAim) -> dict[str, Any]:
    return {
        "pan_deg": round(float(np.degrees(aim.pan_rad)), 3),
        "tilt_deg": round(float(np.degrees(aim.tilt_rad)), 3),
        "worst": _one(aim.worst, 4),
        "limit": None if aim.limit is None else _limit(aim.limit),
        "problems": [problem.text for problem in aim.problems],
    }


def _advice(advice: Advice) -> dict[str, Any]:
    return {
        "kind": advice.kind,
        "text": advice.text,
        "limit": _limit(advice.limit),
        "worst_before": _one(advice.worst_before, 4),
        "worst_after": _one(advice.worst_after, 4),
    }


def _one(value: float | None, digits: int, most: float = np.inf) -> float | None:
    """A number for JSON; null where there is none, or where it says only 'not at all'."""
    if value is None or not np.isfinite(value) or value > most:
        return None
    return round(float(value), digits)


def _list(values: Any, digits: int) -> list[float | None]:
    return [_one(value, digits) for value in values]

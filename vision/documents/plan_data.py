"""An assessment as plain data for `plan.json`, schema `seamtrue.plan/1`.

SI units but for angles, which are in degrees; what cannot be had is null. What is written of each
value, and how, stands at its fields in `vision.planning.assessment`.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from vision import __version__
from vision.documents.plan_words import say_plan
from vision.planning.assessment import Assessment
from vision.units.plain import plain, shipped_schema, validate_under

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
    width, height = prediction.size_px

    say = say_plan(prediction.job.lengths)
    return {
        "schema": SCHEMA_NAME,
        "program": f"seamtrue {__version__}",
        "job": prediction.job.name,
        "assumed": {"width": width, "height": height, **asdict(prediction.light)},
        **plain(prediction, say),
        **plain(assessment, say),
    }

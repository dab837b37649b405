"""An inspection as plain data: the result file `inspection.json`, and its JSON schema.

Other people's scripts rely on these names. SI units but for angles, which are in degrees; a figure
that cannot be had is null and `missing` beside it says why. What is written of each value, and how,
stands at its fields, from `vision.inspection.inspected` on. Digits are kept to about a hundredth of
what the best camera can tell, so that two runs of the same pictures compare equal by eye.
"""

from __future__ import annotations

from typing import Any

from vision import __version__
from vision.documents.check_words.words import say_check, warning_texts
from vision.documents.forecast_words import change_words, outcome
from vision.inspection.inspected import Inspection
from vision.inspection.whatif.change import Forecast
from vision.units.plain import plain, rounded, shipped_schema, validate_under

SCHEMA_NAME = "seamtrue.inspection/1"


def schema() -> dict[str, Any]:
    """Return the JSON schema (draft 2020-12) that every result is valid under."""
    return shipped_schema("inspection.schema.json")


def validate(result: object) -> None:
    """Raise jsonschema.ValidationError where `result` is not a valid result."""
    validate_under(schema(), result)


def result_of(inspection: Inspection) -> dict[str, Any]:
    """Put an inspection into plain dicts, lists, numbers and strings, ready for `json.dumps`."""
    return {
        "schema": SCHEMA_NAME,
        "program": f"seamtrue {__version__}",
        **plain(inspection, say_check(inspection.job.lengths)),
        "what_if": _what_if(inspection),
        "warnings": list(warning_texts(inspection)),
    }


def aim_judged(joint: dict[str, Any] | None) -> tuple[dict[str, Any], dict[str, Any]]:
    """Of a camera's `joint` as written, the aim and its sigmas that its verdict rests on.

    Against the body where it was read how that stands; nothing without a joint adjustment.
    """
    if joint is None:
        return {}, {}
    body = "body_" if "aim_body_deg" in joint else ""
    return joint[f"aim_{body}deg"], joint[f"aim_{body}sigma_deg"]


def _what_if(inspection: Inspection) -> dict[str, Any]:
    """What recommended turns would do, what tears a seam, and how seams follow small changes."""
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
                {"between": list(between), "moved_m": rounded(moved, 5)}
                for between, moved in each.moved_m.items()
            ],
        }
        for each in what_if.moves
    ]
    causes = [
        {
            "between": list(each.between),
            "parts": list(each.parts),
            "gap_m": rounded(each.gap_then.value_m, 5),
            "gap_sigma_m": rounded(each.gap_then.sigma_m, 5),
            "verdict": each.gap_then.verdict if each.parts else None,
        }
        for each in what_if.causes
    ]
    return {"turns": turns, "causes": causes, "moves": moves}

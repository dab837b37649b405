"""Proves that a result is valid under the shipped schema and carries the inspection's figures.

Does not prove that the figures are right: the inspection is made by hand.
"""

from __future__ import annotations

import copy
import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from vision import __version__
from vision.documents.result import result_of, schema, validate
from vision.job.job import VehicleState


def nulls(value, path=""):
    """Paths of every null, with the object that holds it and its key."""
    if isinstance(value, dict):
        for key, each in value.items():
            if each is None:
                yield f"{path}/{key}", value, key
            yield from nulls(each, f"{path}/{key}")
    elif isinstance(value, list):
        for index, each in enumerate(value):
            yield from nulls(each, f"{path}/{index}")


def test_the_schema_is_a_schema_and_the_result_is_valid_under_it(inspection):
    jsonschema.Draft202012Validator.check_schema(schema())
    result = json.loads(json.dumps(result_of(inspection), allow_nan=False))
    validate(result)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("verdict",), "fine"),
        (("cameras", 0, "plan_fit", "aim_deg", "pan"), "0.1"),
        (("cameras", 0, "marks", 0, "pixel"), [1.0]),
        (("cameras", 0, "marks_used"), 1.5),
        (("cameras", 0, "picture", "mirrored"), 0),
        (("seams", 0, "between"), ["front"]),
        (("tolerances", "seam_gap_m"), None),
        (("unknown",), 1),
    ],
)
def test_the_schema_refuses_what_is_wrong(inspection, path, value):
    result = copy.deepcopy(result_of(inspection))
    inner = result
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        validate(result)


def test_every_promised_name_is_required():
    """Names that other people's scripts rely on: leaving one out is refused."""
    required = schema()["$defs"]
    assert set(required["camera"]["required"]) >= {
        "name", "verdict", "reasons", "actions", "picture", "marks_expected", "marks_used",
        "plan_fit", "joint", "marks",
    }  # fmt: skip
    assert set(required["seam"]["required"]) == {
        "between", "verdict", "shared_marks", "worst_gap_m", "worst_gap_sigma_m", "rms_gap_m",
        "uncovered_m", "overlap_m", "texture_shift_m", "reasons",
    }  # fmt: skip
    assert set(required["mark"]["required"]) == {
        "id", "status", "pixel", "covariance_px2", "planned_m", "residual_px", "residual_m",
    }  # fmt: skip


def test_figures_are_those_of_the_inspection(inspection):
    result = result_of(inspection)
    assert result["program"] == f"seamtrue {__version__}"
    assert result["tolerances"]["aim_deg"] == 3
    assert result["tolerances"]["roll_deg"] == 2
    for found, entry in zip(inspection.cameras, result["cameras"], strict=True):
        if found.plan_fit is None:
            assert entry["plan_fit"] is None
            assert entry["joint"] is None
            continue
        assert (entry["marks_expected"], entry["marks_used"]) == (3, 1)
        assert found.adjusted is not None
        aim = [entry["joint"]["aim_deg"][name] for name in ("pan", "tilt", "roll")]
        assert np.allclose(aim, found.adjusted.aim.as_degrees(), atol=1e-4)
        assert entry["joint"]["position_sigma_m"] == [0.011, 0.012, 0.013]
        assert np.allclose(entry["plan_fit"]["ray_from_ground"], found.ray_from_ground, rtol=1e-9)
        assert entry["marks"][0]["pixel"] == [200.123, 100.568]
        assert entry["marks"][0]["residual_px"] == [0.051, -0.023]
    strip = result["strips"][0]
    assert strip["shift_m"] == [0.0412, -0.0013]
    assert strip["turn_deg"] == pytest.approx(np.degrees(0.0123), abs=1e-4)
    turn = result["cameras"][1]["actions"][0]
    assert turn["turn_deg"] == {"pan": 0.0, "tilt": -3.9, "roll": 0.0}
    assert turn["sigma_deg"]["tilt"] == pytest.approx(np.degrees(0.002), abs=1e-4)


def test_the_state_of_the_vehicle_is_recorded(inspection):
    state = VehicleState(load="as driven", doors="shut")
    job = replace(inspection.job, vehicle=replace(inspection.job.vehicle, state=state))
    result = result_of(replace(inspection, job=job))
    validate(result)
    assert result["vehicle_state"]["load"] == "as driven"
    assert result["vehicle_state"]["mirrors"] is None
    assert set(result["vehicle_state"]["missing"]) == {
        "suspension_height",
        "tyre_pressure",
        "mirrors",
    }
    # A result of before this key was written stays valid.
    validate({key: value for key, value in result.items() if key != "vehicle_state"})


def test_every_null_has_a_reason_beside_it(inspection):
    found = list(nulls(result_of(inspection)))
    assert len(found) > 10
    for path, holder, key in found:
        if key in ("turn_deg", "sigma_deg"):
            # A strip's turn is a figure; an action that turns nothing has none to give.
            assert "text" in holder or holder["missing"][key], path
        else:
            assert holder["missing"][key], path


def test_a_residual_that_does_not_reach_the_ground_is_null(inspection):
    rejected = result_of(inspection)["cameras"][0]["marks"][1]
    assert rejected["residual_px"] == [3.5, 0.25]
    assert rejected["residual_m"] is None
    assert rejected["reason"] == "it does not fit the other marks of this picture"


def test_sharpness_is_told_for_every_camera(inspection):
    known, bare = (result_of(inspection)["cameras"][i]["sharpness"] for i in (0, 3))
    assert known["blur"] == {"px": 0.71, "sigma_px": 0.04}
    assert known["motion"]["direction_deg"] == pytest.approx(np.degrees(0.5), abs=0.05)
    assert known["soft_patches"][0]["marks"] == ["front/0"]
    assert known["answers"]["motion"] == "yes"
    assert bare["motion"] is None
    assert bare["answers"]["soft"] == "cannot-tell"
    assert bare["missing"]["motion"]

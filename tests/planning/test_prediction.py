"""Proves what a layout is predicted to reach, and that the check itself would decide the same.

The predicted covariance is the one that the adjustment itself states; usual gaps and all sigmas in
kind by a few simulated jobs (200 of them: `python -m tests.accuracy.plan`); a layout that cannot
decide is refused with the reason; plan files keep to their schema.

Does not prove: anything about real light, paint or lenses.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from tests.accuracy.plan_jobs import ratios, run_jobs, usual_ratios
from tests.planning.jobs import aimed
from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.plan_fit import Points
from vision.adjustment.search import adjust
from vision.camera.geometry import Pose
from vision.camera.lens_prior import lens_prior
from vision.documents.cautions import CAUTION
from vision.documents.plan_data import plan_of, schema, validate
from vision.documents.plan_text import VERDICTS, marks_table, summary
from vision.job.job import Job
from vision.job.layout import planned_layout
from vision.planning.assessment import Assessment
from vision.planning.limits import TIED_DIGITS
from vision.planning.prediction import predict


def test_the_covariance_is_the_adjustments_own(job, prediction):
    layout = planned_layout(job)
    observations = []
    for camera in job.cameras:
        seen = [v for v in prediction.views if v.camera == camera.name and v.status == "seen"]
        prior = lens_prior(job.lens_of(camera), 1280, 720)
        points = Points(
            ids=tuple(v.mark for v in seen),
            planned_m=np.array([layout.mark(v.mark).centre_m for v in seen]),
            mark_sigma_m=np.full(len(seen), 0.0104),
            pixels_px=np.array([v.pixel_px for v in seen]) + 0.01,
            covariance_px2=np.array([v.covariance_px2 for v in seen]),
        )
        pose = Pose.at(camera.position_m, camera.aim.rotation())
        observations.append(
            CameraObservations(
                name=camera.name, prior=prior, points=points, start=(pose, prior.guess)
            )
        )
    result = adjust(job, layout, tuple(observations))
    for camera in prediction.cameras:
        stated = result.camera(camera.name).aim_sigma_rad
        np.testing.assert_allclose(camera.aim_sigma_rad, stated, rtol=0.02)
        place = result.camera(camera.name).position_sigma_m
        np.testing.assert_allclose(camera.position_sigma_m, place, rtol=0.02)


def test_the_sample_layout_decides(prediction):
    assert prediction.word == "decides"
    assert prediction.worst < 1
    # The layout is the same from left and right: roundings do not say which comes first.
    worst = [round(limit.ratio, TIED_DIGITS) for limit in prediction.limits]
    assert worst == sorted(worst, reverse=True)


def test_predicted_sigmas_and_usual_gaps_in_a_few_simulated_jobs(small):
    prediction = predict(small)
    spread = run_jobs(prediction, 8, np.random.default_rng(5))
    found = np.array(list(ratios(prediction, spread).values()))
    # One figure over 8 jobs is known to 25 %; the median of all to a few.
    assert 0.85 < np.median(found) < 1.15
    assert all(0.6 < ratio < 1.5 for ratio in usual_ratios(prediction, spread))


def test_what_laying_as_stated_costs_is_told(job):
    # Ends laid to 1 cm, marks to 3 mm, known to 0.5 to 0.7 cm, 3 cm allowed: with 1.6 cm left,
    # exp(-1.6^2 / (2 1.04^2)) is one in 3 to 4; laid to 3 mm nothing is worth saying.
    def told(each: Job) -> list[int]:
        said = summary(Assessment(prediction=predict(each), advice=(), aims=()))
        return [int(one_in) for one_in in re.findall(r"one in (\d+)", said)]

    assert told(job) == [3]
    close = tuple(replace(strip, position_sigma_m=0.003) for strip in job.strips)
    assert told(replace(job, strips=close)) == []


def test_a_layout_that_cannot_decide_is_refused(job):
    few = replace(job, strips=job.strips[:2], marks=())
    found = predict(few)
    assert found.word == "cannot-decide"
    lost = [each.reason for each in found.problems if each.code == "too-few-marks"]
    assert "front" in [each.arguments["camera"] for each in lost]
    strict = predict(replace(job, tolerances=replace(job.tolerances, strip_m=0.005)))
    assert strict.word == "cannot-decide"
    vague = [p.reason.arguments for p in strict.problems if p.code == "sigma-beyond-tolerance"]
    places = [each for each in vague if each["of"].code == "place"]
    assert places
    for each in places:
        assert each["tolerance_m"] == 0.005
        assert each["tolerance_m"] < 2 * each["sigma_m"] < np.inf


def test_ground_that_is_never_seen_is_beyond_not_undecided(job):
    found = predict(aimed(job, tilt_rad=np.radians(10)))
    assert found.word == "beyond"
    assert {"nearest-ground"} <= {p.code for p in found.problems if p.word == "beyond"}


@pytest.mark.parametrize(
    "change",
    [
        lambda job: replace(job, cameras=job.cameras[:1]),
        lambda job: aimed(job, tilt_rad=-0.5),
        lambda job: aimed(job, tilt_rad=np.pi / 2),
        lambda job: replace(job, strips=()),
        lambda job: replace(job, vehicle=replace(job.vehicle, height_m=None)),
    ],
)
def test_odd_jobs_have_a_word_and_plain_data(job, change):
    found = Assessment(prediction=predict(change(job)), advice=(), aims=())
    validate(json.loads(json.dumps(plan_of(found), allow_nan=False)))
    said = summary(found)
    assert VERDICTS[found.prediction.word] in said
    assert CAUTION in said
    near = [v for v in found.prediction.views if not v.status.startswith("outside")]
    assert len(marks_table(found.prediction).splitlines()) == 1 + len(near)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("verdict",), "fine"),
        (("schema",), "seamtrue.plan/2"),
        (("program",), None),
        (("assumed", "width"), 0),
        (("cameras", 0, "aim_sigma_deg", "pan"), "0.1"),
        (("cameras", 0, "position_sigma_m"), [0.1, 0.1]),
        (("cameras", 0, "views", 0, "status"), "lost"),
        (("cameras", 0, "views", 0, "pixel"), [1.0]),
        (("strips_and_marks", 0, "sigma_m"), -1),
        (("seams", 0, "between"), ["front"]),
        (("limits", 0, "tolerance_m"), None),
        (("unknown",), 1),
    ],
)
def test_the_schema_of_plans_refuses_what_is_wrong(prediction, path, value):
    plan = plan_of(Assessment(prediction=prediction, advice=(), aims=()))
    validate(plan)
    inner = plan
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        validate(plan)


def test_the_schema_of_plans_is_one_that_leaves_nothing_out(prediction):
    jsonschema.Draft202012Validator.check_schema(schema())
    plan = plan_of(Assessment(prediction=prediction, advice=(), aims=()))
    assert plan["schema"] == schema()["title"]
    assert set(schema()["required"]) == set(plan)
    for name, entry in (("camera", plan["cameras"][0]), ("seam", plan["seams"][0]),
                        ("laying", plan["strips_and_marks"][0])):  # fmt: skip
        assert set(schema()["$defs"][name]["required"]) == set(entry)


@pytest.mark.parametrize("allowed_m", [0.005, 0.012, 0.05])
def test_a_plan_decides_where_the_check_itself_would(job, allowed_m):
    """The verdicts are those of the check's own functions; a problem stands where one is open."""
    tolerances = replace(job.tolerances, seam_gap_m=allowed_m, strip_m=allowed_m)
    found = predict(replace(job, tolerances=tolerances))
    words = [each.verdict for each in (*found.cameras, *found.layings, *found.seams)]
    assert (found.word == "decides") == (set(words) <= {"keep", "within"})
    open_ = {limit.of for limit in found.limits if limit.ratio > 1}
    said = {each.reason.arguments["of"] for each in found.problems}
    assert said == open_
    assert len(open_) == words.count("not-judged")

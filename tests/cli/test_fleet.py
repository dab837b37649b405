"""A fleet: which checks are read, what is said of a vehicle, and that nothing wrong stops the rest.

Proves the rules on results made by hand. Does not prove that a drift has a cause, nor how quick it
is: `python -m tests.speed.growth fleet` prints that.
"""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from datetime import date, timedelta

import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.job_texts import JOB
from tests.refusing import refused
from vision.comparison.fleet import FleetCheck, SeenCamera, fleet_check, fleet_of
from vision.comparison.record import KeptCheck
from vision.documents.fleet_page import fleet_csv, fleet_page
from vision.documents.result import result_of, validate
from vision.files.fleet_files import check_files, read_checks, without_bulk
from vision.files.record_file import RECORD_NAME, add_to_record
from vision.job.job_file import job_from_text
from vision.units.plain import json_text

DAY = date(2026, 3, 1)


def check(vehicle: str = "7", days: int = 0, verdict: str = "keep", **given: object) -> FleetCheck:
    camera = SeenCamera(
        name="front", verdict="keep", aim_deg={"tilt": 45.0}, sigma_deg={"tilt": 0.1}
    )
    return FleetCheck(
        **{
            "vehicle": vehicle,
            "name": "Mobile library",
            "day": DAY + timedelta(days=days),
            "verdict": verdict,
            "to_do": "",
            "cameras": (camera,),
            "wrong": (),
            "recheck_days": None,
            "source": "a",
            **given,
        }
    )


def tilted(tilt_deg: float, verdict: str = "keep") -> tuple[SeenCamera, ...]:
    (camera,) = check().cameras
    return (replace(camera, verdict=verdict, aim_deg={"tilt": tilt_deg}),)


def test_the_last_check_of_a_vehicle_counts_in_whatever_order_they_come():
    for checks in ([check(), check(days=9, verdict="re-aim")],) * 2:
        (vehicle,) = fleet_of(reversed(checks), DAY).vehicles
        assert (vehicle.last.verdict, vehicle.checks, vehicle.last.day) == (
            "re-aim",
            2,
            DAY + timedelta(days=9),
        )


def test_a_drift_is_more_than_chance_would_show():
    """Of one angle: 1.96 sigma of a difference of two, 0.28 degrees."""
    for moved, drifts in ((0.2, 0), (0.3, 1), (-0.3, 1)):
        later = check(days=30, cameras=tilted(45 + moved))
        (vehicle,) = fleet_of([check(), later], DAY).vehicles
        assert len(vehicle.drifts) == drifts
    first, last = check(cameras=tilted(179.9)), check(days=1, cameras=tilted(-179.95))
    assert fleet_of([first, last], DAY).vehicles[0].drifts == ()


def test_the_place_that_fails_most_is_first():
    left = replace(check().cameras[0], name="left")
    checks = [
        check("1", cameras=(*tilted(45, "re-aim"), left)),
        check("2", cameras=(*tilted(45, "keep"), left)),
    ]
    assert [(p.camera, p.failed, p.vehicles) for p in fleet_of(checks, DAY).places] == [
        ("front", 1, 2),
        ("left", 0, 2),
    ]


def test_who_is_due_and_who_is_seen_to_first():
    checks = [
        check("never"),
        check("late", recheck_days=10),
        check("today", days=5, recheck_days=15),
        check("later", days=6, recheck_days=15),
        check("bad", verdict="re-measure"),
    ]
    fleet = fleet_of(checks, DAY + timedelta(days=20))
    assert [each.last.vehicle for each in fleet.due] == ["late", "today"]
    assert fleet.vehicles[0].last.vehicle == "bad"
    assert fleet.verdicts == {"keep": 4, "re-measure": 1}


def test_hostile_names_stay_text():
    name = '=1+1"><script>alert(1)</script>'
    fleet = fleet_of([check(name, to_do="<b>")], DAY)
    page = fleet_page(fleet, "1 March 2026")
    assert "<script" not in page
    assert "<b>" not in page
    (row,) = csv.DictReader(io.StringIO(fleet_csv(fleet)))
    assert row["vehicle"] == "'" + name


def test_a_job_says_what_its_vehicle_is_called_and_how_long_a_check_is_good():
    text = JOB.replace("[vehicle]", '[vehicle]\nid = "bus 12"', 1)
    job = job_from_text(text.replace("[job]", "[job]\nrecheck_days = 90", 1), "job.toml")
    assert (job.vehicle.id, job.recheck_days) == ("bus 12", 90)
    plain = job_from_text(JOB, "job.toml")
    assert (plain.vehicle.id, plain.recheck_days) == (None, None)
    with refused("out-of-range"):
        job_from_text(JOB.replace("[job]", "[job]\nrecheck_days = 0", 1), "job.toml")


@pytest.fixture
def written(inspection):
    """A result as it is written, of a vehicle that has a name."""
    job = inspection.job
    named = replace(job, vehicle=replace(job.vehicle, id="bus 12"), recheck_days=30)
    result = result_of(replace(inspection, job=named))
    validate(result)
    return result


def test_what_is_left_out_of_a_result_changes_nothing_that_is_shown(written):
    text = json_text(written)
    short = without_bulk(text)
    assert "covariance_px2" in text
    assert not {each for each in ("covariance_px2", "stated", "what_if") if each in short}
    kept = {"job": "x", "day": DAY, "source": "y"}
    assert fleet_check(json.loads(short), **kept) == fleet_check(written, **kept)
    compact = json.dumps(written)
    assert without_bulk(compact) == compact


def test_results_and_records_are_found_and_a_check_in_both_counts_once(written, tmp_path):
    for name in ("b/seamtrue-report", "a"):
        (tmp_path / name).mkdir(parents=True)
        (tmp_path / name / "inspection.json").write_text(json_text(written), "utf-8")
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "inspection.json").write_text('{"schema": "another"}', "utf-8")
    nameless = {**written, "vehicle": {k: v for k, v in written["vehicle"].items() if k != "id"}}
    kept = KeptCheck(
        taken="2026-03-01T10:00:00+01:00",
        job_file="job.toml",
        job_text="",
        lens_files={},
        pictures=(),
        result=nameless,
    )
    for _ in range(2):
        add_to_record(tmp_path / "b" / RECORD_NAME, kept)
    read = list(read_checks(check_files(tmp_path), tmp_path))
    assert [len(each.checks) for each in read] == [1, 2, 1, 0]
    assert [bool(each.faults) for each in read] == [False, False, False, True]
    fleet = fleet_of((c for each in read for c in each.checks), DAY)
    assert {v.last.vehicle: v.checks for v in fleet.vehicles} == {"bus 12": 1, "b": 1}


def test_the_command(written, tmp_path):
    (tmp_path / "inspection.json").write_text(json_text(written), "utf-8")
    table = tmp_path / "fleet.csv"
    ran = CliRunner().invoke(app, ["fleet", str(tmp_path), "--csv", str(table)])
    assert ran.exit_code == 0, ran.output
    assert "bus 12" in ran.stdout
    assert len(list(csv.DictReader(io.StringIO(table.read_text("utf-8"))))) == 1
    page = (tmp_path / "seamtrue-fleet.html").read_text("utf-8")
    assert "bus 12" in page
    assert not re.search(r"https?://", page)
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "inspection.json").write_text("no result", "utf-8")
    ran = CliRunner().invoke(app, ["fleet", str(tmp_path)])
    assert (ran.exit_code, "bus 12" in ran.stdout) == (5, True)
    (tmp_path / "empty").mkdir()
    assert CliRunner().invoke(app, ["fleet", str(tmp_path / "empty")]).exit_code == 5

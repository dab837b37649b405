"""Proves exit codes, files and messages of `seamtrue plan`, and the job file's keys for planning.

Every plan.json that is written is valid under the shipped schema.

Does not prove the figures: see tests/planning.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.accuracy.plan import vehicle_text
from vision.documents.plan_data import validate
from vision.files.disk import read_job
from vision.job.job_file import job_from_text
from vision.planning.assess import best_additions
from vision.units.errors import BadInputError


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Additions take seconds and are tested elsewhere."""
    assert best_additions
    monkeypatch.setattr("vision.planning.assess.best_additions", lambda *asked: ())


@pytest.fixture(autouse=True)
def valid(tmp_path):
    """Every plan that a test has written is valid under the shipped schema."""
    yield
    for path in tmp_path.rglob("plan.json"):
        validate(json.loads(path.read_text(encoding="utf-8")))


def run(*arguments: str):
    return CliRunner().invoke(app, ["plan", *arguments])


def problems(job):
    """Codes and words of what `plan.json` beside a job finds wanting."""
    plan = json.loads((job.parent / "seamtrue-plan" / "plan.json").read_text(encoding="utf-8"))
    return {(each["code"], each["verdict"]) for each in plan["problems"]}


@pytest.fixture
def vehicle(tmp_path):
    path = tmp_path / "vehicle.toml"
    path.write_text(vehicle_text(), encoding="utf-8")
    return path


@pytest.fixture
def sample(tmp_path):
    """The sample's job, with no picture anywhere."""
    from tests.accuracy.plan import SAMPLES

    path = tmp_path / "job.toml"
    path.write_bytes((SAMPLES / "clear_day" / "job.toml").read_bytes())
    return path


def test_a_layout_is_assessed_without_pictures(sample, tmp_path):
    outcome = run(str(sample))
    assert outcome.exit_code == 0, outcome.output
    folder = tmp_path / "seamtrue-plan"
    assert sorted(path.name for path in folder.iterdir()) == ["plan.json", "plan.txt"]
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    assert (plan["schema"], plan["verdict"]) == ("seamtrue.plan/1", "decides")
    hidden = [v["hidden_by"] for c in plan["cameras"] for v in c["views"] if v["hidden_by"]]
    assert "the body" in hidden
    assert (folder / "plan.txt").read_text(encoding="utf-8").startswith(outcome.stdout[:200])


def test_a_layout_that_cannot_decide_is_4(sample):
    text = sample.read_text(encoding="utf-8")
    sample.write_text(text + '\n[tolerance]\nstrip = "5 mm"\n', encoding="utf-8")
    outcome = run(str(sample))
    assert outcome.exit_code == 4, outcome.output
    assert problems(sample) == {("sigma-beyond-tolerance", "cannot-decide")}


def test_an_aim_that_fails_whatever_is_measured_is_3(sample):
    text = sample.read_text(encoding="utf-8").replace("tilt_deg = 45.0", "tilt_deg = 10")
    sample.write_text(text, encoding="utf-8")
    outcome = run(str(sample))
    assert outcome.exit_code == 3, outcome.output
    assert ("nearest-ground", "beyond") in problems(sample)


def test_a_job_is_proposed_and_can_be_read_by_all(vehicle, tmp_path):
    target = tmp_path / "new" / "job.toml"
    outcome = run(str(vehicle), "--propose", str(target))
    assert outcome.exit_code == 0, outcome.output
    job, _ = read_job(target)
    assert len(job.strips) == 4
    assert (tmp_path / "new" / "seamtrue-plan" / "plan.json").is_file()
    again = run(str(vehicle), "--propose", str(target))
    assert again.exit_code == 5
    assert "a file that is there" in again.stderr


@pytest.mark.parametrize("kind", ["quadrant", "board"])
def test_marks_of_the_kind_asked_for_are_proposed(vehicle, tmp_path, kind):
    target = tmp_path / "job.toml"
    outcome = run(str(vehicle), "--propose", str(target), "--mark", kind)
    assert outcome.exit_code == 0, outcome.output
    assert f'mark = "{kind}"' in target.read_text(encoding="utf-8")


def test_a_kind_of_mark_that_is_none_or_not_to_be_proposed_is_usage(vehicle, sample, tmp_path):
    none = run(str(vehicle), "--propose", str(tmp_path / "no.toml"), "--mark", "circle")
    assert none.exit_code == 2
    assert not (tmp_path / "no.toml").exists()
    assert run(str(sample), "--mark", "board").exit_code == 2


def test_a_lot_that_is_too_small_is_4_and_writes_nothing(vehicle, tmp_path):
    text = vehicle.read_text(encoding="utf-8") + "\n[lot]\nlength = 9\n"
    vehicle.write_text(text, encoding="utf-8")
    target = tmp_path / "job.toml"
    outcome = run(str(vehicle), "--propose", str(target))
    assert outcome.exit_code == 4
    assert "the lot is too small" in outcome.stderr
    assert "--mark" not in outcome.stderr
    assert not target.exists()
    boards = run(str(vehicle), "--propose", str(target), "--mark", "board")
    assert boards.exit_code == 4
    assert "try --mark cross" in boards.stderr


def test_nothing_laid_and_too_much_laid_are_bad_input(vehicle, sample, tmp_path):
    nothing = run(str(vehicle))
    assert nothing.exit_code == 5
    assert "--propose JOB.toml" in nothing.stderr
    much = run(str(sample), "--propose", str(tmp_path / "other.toml"))
    assert much.exit_code == 5
    assert "the vehicle and its cameras alone" in much.stderr


def test_a_job_stays_beside_the_lens_files_it_names(vehicle, tmp_path):
    lens = {"schema": "seamtrue.lens/1", "model": "kannala-brandt", "width": 1280, "height": 720,
            "fx": 392.0, "fy": 392.0, "cx": 639.5, "cy": 359.5, "k": [0, 0, 0, 0]}  # fmt: skip
    (tmp_path / "wide.lens.json").write_text(json.dumps(lens), encoding="utf-8")
    text = vehicle.read_text(encoding="utf-8")
    text = text.replace("field_of_view_deg = 187", 'file = "wide.lens.json"')
    vehicle.write_text(text, encoding="utf-8")
    elsewhere = run(str(vehicle), "--propose", str(tmp_path / "new" / "job.toml"))
    assert elsewhere.exit_code == 5
    beside = run(str(vehicle), "--propose", str(tmp_path / "job.toml"))
    assert beside.exit_code == 0, beside.output
    assert read_job(tmp_path / "job.toml")[0].lenses[0].fitted is not None


def test_a_size_that_is_none_is_usage(sample):
    assert run(str(sample), "--size", "large").exit_code == 2
    assert run(str(sample), "--size", "10x10").exit_code == 2


# -------------------------------------------------------------------------------- keys of the job


def with_camera_lines(lines: str) -> str:
    return vehicle_text().replace("mirrored = false", f"mirrored = false\n{lines}", 1)


def test_a_bracket_has_a_usual_range_or_its_own():
    job = job_from_text(with_camera_lines('adjustable = ["tilt"]'), "v.toml", planning=True)
    front, rear = job.cameras[:2]
    np.testing.assert_allclose(np.degrees(front.bracket.tilt_rad), [20, 70])
    assert front.bracket.pan_rad is None
    assert rear.bracket is None
    lines = 'adjustable = ["pan", "tilt"]\ntilt_range_deg = [30, 50]'
    front = job_from_text(with_camera_lines(lines), "v.toml", planning=True).cameras[0]
    np.testing.assert_allclose(np.degrees(front.bracket.tilt_rad), [30, 50])
    np.testing.assert_allclose(np.degrees(front.bracket.pan_rad), [-20, 20])


@pytest.mark.parametrize(
    ("lines", "key"),
    [
        ('adjustable = ["roll"]', "adjustable"),
        ('adjustable = "tilt"', "adjustable"),
        ("adjustable = [[1]]", "adjustable"),
        ("adjustable = []", "adjustable"),
        ("tilt_range_deg = [20, 50]", "tilt_range_deg"),
        ('adjustable = ["tilt"]\ntilt_range_deg = [50, 20]', "tilt_range_deg"),
        ('adjustable = ["tilt"]\ntilt_range_deg = [50]', "tilt_range_deg"),
        ('adjustable = ["tilt"]\ntilt_range_deg = [-100, 20]', "tilt_range_deg"),
    ],
)
def test_a_wrong_bracket_is_one_fault_with_its_key(lines, key):
    with pytest.raises(BadInputError) as refused:
        job_from_text(with_camera_lines(lines), "v.toml", planning=True)
    assert [fault.key for fault in refused.value.faults] == [f"camera.front.{key}"]


def test_lot_and_tape_are_lengths_above_zero():
    text = vehicle_text() + '\n[lot]\nlength = "65 ft"\nwidth = 6\n[tape]\nlongest = 25\n'
    means = job_from_text(text, "v.toml", planning=True).means
    assert means.lot_length_m == pytest.approx(65 * 0.3048)
    assert (means.lot_width_m, means.tape_longest_m, means.tape_width_m) == (6, 25, None)
    with pytest.raises(BadInputError) as refused:
        job_from_text(vehicle_text() + "\n[lot]\nlength = 0\ndepth = 1\n", "v.toml", planning=True)
    assert [fault.key for fault in refused.value.faults] == ["lot.length", "lot.depth"]


def test_only_a_plan_may_leave_out_a_layout():
    text = vehicle_text().replace('picture = "front.jpg"\n', "")
    assert job_from_text(text, "v.toml", planning=True).cameras[0].picture == "front.jpg"
    with pytest.raises(BadInputError) as refused:
        job_from_text(text, "v.toml")
    assert [fault.key for fault in refused.value.faults] == ["strip"]

"""What cannot be is refused with its line, and what is unusual is said.

Proves: a sign, a side or a unit that makes a job impossible is named, with what was probably meant;
jobs of all practice sets read as before. Does not prove which of two entries was mistyped.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.job_texts import faults_of
from tests.paths import SAMPLES
from vision.camera.geometry import Aim
from vision.camera.stated_lens import StatedLens
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.job.plausible import in_other_unit, unusual

JOB = (SAMPLES / "clear_day" / "job.toml").read_text(encoding="utf-8")
LEFT, RIGHT = "[0, 1.275, 2.45]", "[0, -1.275, 2.45]"
CASES = [
    # (old, new, key of the fault, words in the message)
    (LEFT, RIGHT, "camera.left.position", "`position` with y = 1.275 m"),
    ("pan_deg = 90.0", "pan_deg = -90.0", "camera.left.pan_deg", "`pan_deg = 90`"),
    ("[4.12, 0, 2.55]", "[-4.12, 0, 2.55]", "camera.front.position", "with x = 4.12 m"),
    ("pan_deg = 180.0", "pan_deg = 0", "camera.rear.pan_deg", "`pan_deg = 180`"),
    ("[4.12, 0, 2.55]", "[412, 0, 2.55]", "camera.front.position", '"412 cm"'),
    ("[4.12, 0, 2.55]", "[13.5, 0, 8.4]", "camera.front.position", "inside the body"),
    ("[4.12, 0, 2.55]", "[2.0, 0, 2.55]", "camera.front.position", "inside the body"),
    ("length = 8.2", "length = 820", "vehicle.length", '"820 cm"'),
    ("length = 8.2", "length = 26.9", "vehicle.length", '"26.9 ft"'),
    ("length = 8.2", "length = 0.82", "vehicle.length", "check the unit"),
    ("tape_width = 0.18", "tape_width = 18", "strip.left.tape_width", '"18 cm"'),
    ("tape_width = 0.18", 'tape_width = "180 cm"', "strip.left.tape_width", '"180 mm"'),
    ("tape_width = 0.18", "tape_width = 0.1", "strip.left.arm", "no wider than its tape"),
    ("arm = [0.12, 0.082]", "arm = [12, 8.2]", "strip.left.arm", '"12 cm"'),
    ('position_sigma = "2 cm"', "position_sigma = 2", "camera.front.position_sigma", '"2 cm"'),
    ("from = [5.29, -2.4]\nto = [5.29, 2.4]", "from = [2.29, -2.4]\nto = [2.29, 2.4]",
     "strip.front.from", "under the body"),
    ("from = [-4.9, 1.54]\nto = [4.7, 1.54]", "from = [-4.9, 0.15]\nto = [4.7, 0.15]",
     "strip.left.from", "under the body"),
]  # fmt: skip


def job() -> Job:
    return job_from_text(JOB, "job.toml")


@pytest.mark.parametrize(("old", "new", "key", "said"), CASES)
def test_what_cannot_be_is_refused_with_its_line(old: str, new: str, key: str, said: str) -> None:
    assert old in JOB
    faults = faults_of(JOB.replace(old, new, 1))
    assert key in [fault.key for fault in faults]
    assert any(said in str(fault) for fault in faults if fault.key == key)


def test_a_body_in_feet_is_one_fault_and_not_one_of_each_camera() -> None:
    (fault,) = faults_of(JOB.replace("length = 8.2", "length = 26.9"))
    assert fault.found.startswith("26.9 m")


def test_all_that_cannot_be_is_said_at_once() -> None:
    text = JOB.replace("tape_width = 0.18", "tape_width = 18").replace(LEFT, "[0, 127.5, 2.45]")
    keys = [fault.key for fault in faults_of(text)]
    assert keys == [f"strip.{side}.tape_width" for side in ("left", "right", "front", "rear")] + [
        "camera.left.position"
    ]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [(840, "840 cm"), (8400, "8400 mm"), (27.5, "27.5 ft"), (331, "331 in"), (0.001, None)],
)
def test_the_unit_that_makes_a_length_usual(typed: float, meant: str | None) -> None:
    assert in_other_unit(typed, 3.0, 20.0) == meant
    assert in_other_unit(f"{typed:g} m", 3.0, 20.0) == meant


def test_what_is_no_single_number_has_no_other_unit() -> None:
    assert in_other_unit("8 ft 4 in", 3.0, 20.0) is None
    assert in_other_unit([8.4], 3.0, 20.0) is None


def test_mirror_arms_and_roofs_are_no_faults() -> None:
    on_arm = JOB.replace(LEFT, "[3.4, 1.5, 2.0]").replace("pan_deg = 90.0", "pan_deg = 75")
    down = JOB.replace(LEFT, "[3.4, 1.5, 2.0]").replace("tilt_deg = 45.0", "tilt_deg = 85")
    roof = JOB.replace("[4.12, 0, 2.55]", "[3.6, 0, 3.0]")
    for text in (on_arm, down, roof):
        job_from_text(text, "job.toml")


def test_nothing_is_unusual_about_the_samples() -> None:
    assert unusual(job()) == ()


def test_what_is_unusual_is_said() -> None:
    front, *others = job().cameras
    inside = replace(front, position_m=np.array([3.9, 0.0, 2.55]), aim=Aim.from_degrees(0, 45, 0))
    narrow = StatedLens(name="narrow", field_of_view_rad=float(np.radians(45)))
    odd = replace(
        job(),
        cameras=(inside, *others),
        lenses=(narrow,),
        vehicle=replace(job().vehicle, length_m=8.2, width_m=4.5),
    )
    codes = [reason.code for reason in unusual(odd)]
    assert codes == ["camera-inside-body"] * 3 + ["field-unusual", "body-unusual"]

"""Proves that every key of the job file is read into SI values.

The limits of taped lengths are those of OIML R 35-1, table of classes (from memory). Does not
prove: that a person measures as well as the default sigmas say.
"""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pytest

from tests.job_texts import BY_FILE, JOB, LENS, faults_of
from tests.paths import SAMPLES
from tests.refusing import refused
from vision.job.job import AngleReading, Job, LengthReading, VehicleState
from vision.job.job_file import job_from_text, named_files
from vision.job.kinds.board import Board
from vision.job.kinds.box_corner import BoxCorner
from vision.job.kinds.cross import Cross
from vision.job.kinds.quadrant import Quadrant
from vision.job.mark_id import MarkId
from vision.units.errors import BadInputError


def test_a_whole_job() -> None:
    job = job_from_text(JOB, "job.toml")
    front, left = job.cameras
    assert job.name == "Mobile library, depot yard"
    assert job.vehicle.width_m == 2.3
    assert job.vehicle.height_m is None
    # NIST SP 811: 8 ft 1/2 in = 96.5 x 25.4 mm.
    assert front.position_m == pytest.approx([4.22, 0, 2.4511])
    assert front.position_sigma_m == 0.02
    assert left.position_sigma_m == 0.02
    assert left.aim.as_degrees() == pytest.approx((90, 45.5, -1))
    assert (front.mirrored, left.mirrored) == (False, True)
    assert job.lens_of(front).field_of_view_rad == pytest.approx(np.radians(187))
    strip = job.strip("left")
    assert strip.shape == Cross(arm_along_m=0.18, arm_across_m=0.06, line_m=0.03)
    assert strip.at_m == pytest.approx(np.linspace(0, 10.2, 18))
    assert (strip.position_sigma_m, strip.mark_sigma_m, strip.ink) == (0.01, 0.003, "dark")
    board = job.strip("front")
    assert board.shape == Board(square_m=0.06, corners_along=4, corners_across=3)
    assert (board.mark_sigma_m, board.ink) == (0.001, "light")
    assert board.at_m[-1] == 4.005
    trestle, carton, flat = job.marks
    assert trestle.shape == Quadrant(radius_m=0.06)
    assert carton.shape == BoxCorner(size_m=(0.46, 0.34), turn_rad=np.radians(20))
    assert flat.at_m.tolist() == [7, 0, 0]
    assert job.seams[0].between == ("front", "left")
    check_readings(job)
    assert job.tolerances.strip_m == 0.02
    assert job.tolerances.aim_rad == pytest.approx(np.radians(4))
    assert job.tolerances.seam_gap_m == 0.05


def check_readings(job: Job) -> None:
    distance, diagonal, offset, gauge, square = job.readings
    assert distance == LengthReading(
        kind="distance",
        between=(MarkId("left", 17), MarkId("front", 4)),
        value_m=pytest.approx(3.7497, abs=1e-4),
        sigma_m=0.003,
    )
    # OIML R 35-1: class II may be wrong by 0.3 mm + 0.2 mm for each metre begun, class III by twice
    # that; a uniform limit over root 3. A named tape has the second part in common.
    assert isinstance(diagonal, LengthReading)
    assert diagonal.sigma_m == pytest.approx(np.hypot(0.3e-3 / np.sqrt(3), 0.002))
    assert (diagonal.tape, diagonal.scale_sigma) == ("yellow", pytest.approx(0.2e-3 / np.sqrt(3)))
    assert isinstance(offset, LengthReading)
    assert offset.between == ("left",)
    assert offset.sigma_m == pytest.approx(np.hypot(1.4e-3 / np.sqrt(3), 0.002))
    assert gauge == AngleReading(
        camera="front",
        tilt_rad=pytest.approx(np.radians(45.3)),
        roll_rad=pytest.approx(np.radians(-0.2)),
        against="gravity",
        sigma_rad=pytest.approx(np.radians(0.2)),
    )
    assert isinstance(square, AngleReading)
    assert (square.against, square.roll_rad) == ("ground", None)
    assert square.sigma_rad == pytest.approx(np.radians(1.5))


def test_the_sample_jobs_are_read() -> None:
    folder = SAMPLES
    for each in ("clear_day", "long_shadow"):
        job = job_from_text((folder / each / "job.toml").read_bytes(), "job.toml")
        assert (len(job.cameras), len(job.strips), len(job.marks)) == (4, 4, 4)


def test_byte_order_mark_and_dos_lines() -> None:
    job = job_from_text(b"\xef\xbb\xbf" + JOB.replace("\n", "\r\n").encode(), "job.toml")
    assert job.name == job_from_text(JOB, "job.toml").name


def test_named_files() -> None:
    named = named_files(BY_FILE)
    assert named.lens_files == ("wide.lens.json",)
    assert named.pictures == (
        ("front", "front.jpg", False, ()),
        ("left", "left_*.jpg", True, ()),
    )
    assert named_files("not = [toml").pictures == ()


def test_two_cameras_may_share_a_picture() -> None:
    job = job_from_text(JOB.replace("left_*.jpg", "front.jpg"), "job.toml")
    assert {camera.picture for camera in job.cameras} == {"front.jpg"}


STATE = """
[vehicle.state]
load = "as driven, 1.2 t of books"
suspension_height = "ride height 3, 31 cm at the front axle"
tyre_pressure = "6.2 bar, cold"
doors = "shut"
"""


def test_the_state_of_the_vehicle_is_kept_in_the_person_s_words() -> None:
    assert job_from_text(JOB, "job.toml").vehicle.state == VehicleState()
    state = job_from_text(JOB + STATE, "job.toml").vehicle.state
    assert state == VehicleState(
        load="as driven, 1.2 t of books",
        suspension_height="ride height 3, 31 cm at the front axle",
        tyre_pressure="6.2 bar, cold",
        doors="shut",
        mirrors=None,
    )


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ("load", "loads", "vehicle.state.loads", "did you mean `load`?"),
        ('"shut"', "true", "vehicle.state.doors", "one line of words"),
        ('"shut"', '""', "vehicle.state.doors", "one line of words"),
        ('"shut"', '"a\\nb"', "vehicle.state.doors", "one line of words"),
        ('"shut"', '"' + "a" * 121 + '"', "vehicle.state.doors", "shorten it"),
    ],
)
def test_faults_of_the_state(old: str, new: str, key: str, words: str) -> None:
    with pytest.raises(BadInputError) as refused:
        job_from_text(JOB + STATE.replace(old, new, 1), "job.toml")
    (fault,) = refused.value.faults
    assert fault.key == key
    assert words in str(fault)


def test_a_state_that_is_no_table() -> None:
    with refused("wrong-kind"):
        job_from_text(JOB.replace("[vehicle]", "[vehicle]\nstate = 3"), "job.toml")


@pytest.mark.parametrize("day", ["2026-03-03", '"2026-03-03"', "2026-03-03T10:20:00+01:00"])
def test_the_day_on_which_the_display_was_set(day: str) -> None:
    assert job_from_text(JOB, "job.toml").display_set_on is None
    job = job_from_text(f"{JOB}\n[display]\nset_on = {day}\n", "job.toml")
    assert job.display_set_on == date(2026, 3, 3)


@pytest.mark.parametrize("day", ["3", '"3 March"', "true"])
def test_a_day_that_is_none(day: str) -> None:
    with pytest.raises(BadInputError, match=r"display\.set_on: .*a day, such as 2026-03-03"):
        job_from_text(f"{JOB}\n[display]\nset_on = {day}\n", "job.toml")


def test_units_apply_to_bare_lengths_only() -> None:
    text = JOB.replace('units = "m"', 'units = "ft"').replace("length = 8.4", 'length = "2.5 m"')
    # So much of the job is in bare figures that the body has to be as small as those then are.
    text = text.replace("230 cm", "70 cm")
    job = job_from_text(text.replace("4.005", "4"), "job.toml")
    assert job.vehicle.length_m == 2.5
    assert job.strip("front").length_m == pytest.approx(4 * 0.3048)  # NIST SP 811


@pytest.mark.parametrize(
    ("typed", "aspect", "sigma"),
    [
        ("1.067", 1.067, 0.005),
        ("1", 1.0, 0.003),
        ('"square"', 1.0, 0.003),
        ('"625 lines, 16:9, 720 samples"', 64 / 45, 0.005),
        ('"525 Lines  4:3, 704 samples"', 10 / 11, 0.005),
        ('"625 lines, 16:9"', np.sqrt(64 / 45 * 16 / 11), np.hypot(0.005, np.log(45 / 44) / 2)),
    ],
)
def test_the_shape_of_a_pixel_is_a_number_or_a_standard(
    typed: str, aspect: float, sigma: float
) -> None:
    field = "field_of_view_deg = 187"
    job = job_from_text(JOB.replace(field, f"{field}\npixel_aspect = {typed}"), "job.toml")
    pixels = job.lenses[0].pixels
    assert pixels is not None
    assert (pixels.aspect, pixels.sigma) == pytest.approx((aspect, sigma))
    assert job_from_text(JOB, "job.toml").lenses[0].pixels is None


def test_a_fitted_lens_has_its_own_pixel_shape() -> None:
    text = BY_FILE.replace('file = "wide.lens.json"', 'file = "wide.lens.json"\npixel_aspect = 1')
    keys = {fault.key for fault in faults_of(text, {"wide.lens.json": json.dumps(LENS).encode()})}
    assert keys == {"lens.wide.pixel_aspect"}


def test_no_units_are_needed_without_bare_lengths() -> None:
    text = """
    [job]
    name = "small"
    [vehicle]
    length = "8 m"
    width = "2 m"
    [lens.a]
    field_of_view_deg = 187
    [camera.front]
    picture = "front.jpg"
    lens = "a"
    position = ["4 m", "0 m", "2 m"]
    pan_deg = 0
    tilt_deg = 45
    roll_deg = 0
    [mark.a]
    at = ["6 m", "0 m"]
    kind = "quadrant"
    radius = "6 cm"
    """
    assert job_from_text(text, "job.toml").strips == ()

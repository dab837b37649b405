"""Proves what follows where a job file leaves it out: aim, lens, picture, and strips of a layout.

Does not prove: that a camera looks the way that it is called.
"""

from __future__ import annotations

import pytest

from tests.job_texts import JOB, faults_of
from vision.job.camera_keys import pan_deg_of
from vision.job.job_file import job_from_text, named_files
from vision.job.picture_names import camera_of_file, is_picture_name
from vision.units.errors import BadInputError

HEAD = '[job]\nname = "Mobile library"\nunits = "m"\n[vehicle]\nlength = 8.4\nwidth = 2.3\n'
SHORT = (
    HEAD
    + """[lens.wide]
field_of_view_deg = 187
[camera.front]
position = [4.22, 0, 2.45]
[camera.rear_left]
position = [-4.2, 1.2, 2.45]
"""
)
STRIP = """[strip.front]
from = [5.4, -2.4]
to = [5.4, 2.4]
count = 9
mark = "cross"
arm = ["12 cm", "8 cm"]
line = "25 mm"
tape_width = "18 cm"
"""


@pytest.mark.parametrize(
    ("name", "pan_deg"),
    [
        ("front", 0),
        ("Left", 90),
        ("rear 2", 180),
        ("right", -90),
        ("back", 180),
        ("front_left", 45),
        ("left-front", 45),
        ("rear_left", 135),
        ("right rear", -135),
        ("front_right", -45),
        ("left_mirror", None),
        ("front_rear", None),
        ("door", None),
        ("7", None),
        ("front_left_rear", None),
    ],
)
def test_the_pan_that_a_name_says(name: str, pan_deg: float | None) -> None:
    assert pan_deg_of(name) == pan_deg


def test_what_follows_may_be_left_out() -> None:
    front, corner = job_from_text(SHORT + STRIP, "job.toml").cameras
    assert front.aim.as_degrees() == pytest.approx((0, 45, 0))
    assert corner.aim.as_degrees() == pytest.approx((135, 45, 0))
    assert (front.lens, front.mirrored, front.picture) == ("wide", False, "front.jpg")
    named = named_files(SHORT).pictures
    assert named == (("front", None, False, ()), ("rear_left", None, False, ()))


def test_a_lens_is_the_camera_s_own_before_it_is_the_only_one() -> None:
    both = SHORT + "[lens.front]\nfield_of_view_deg = 160\n" + STRIP
    (fault,) = faults_of(both)
    assert fault.key == "camera.rear_left.lens"
    job = job_from_text(both.replace("[camera.rear_left]", "[camera.rear_left]\nlens = 'wide'"), "")
    assert [camera.lens for camera in job.cameras] == ["front", "wide"]


def test_a_name_that_says_no_pan_needs_one() -> None:
    (fault,) = faults_of(SHORT.replace("rear_left", "door") + STRIP)
    assert fault.key == "camera.door.pan_deg"
    assert "add `pan_deg`" in fault.next_step


@pytest.mark.parametrize(
    ("file", "camera"),
    [
        ("left.JPG", "left"),
        ("LEFT_0012.jpeg", "left"),
        ("left (2).png", "left"),
        ("left12.bmp", "left"),
        ("leftover.jpg", None),
        ("my_left.jpg", None),
        ("left_rear_3.jpg", "left rear"),
        ("Left-Rear.jpg", "left rear"),
        ("left.2026-03-02.jpg", "left"),
        ("no_ending", None),
        ("left", "left"),
        (".jpg", None),
    ],
)
def test_whose_picture_a_file_is(file: str, camera: str | None) -> None:
    assert camera_of_file(file, ("front", "left", "left rear")) == camera


def test_what_ends_as_a_picture() -> None:
    assert is_picture_name("LEFT.Jpeg")
    assert not is_picture_name("left.gif")
    assert not is_picture_name(".left.jpg")


LAYOUT = '[job]\nunits = "cm"\n[vehicle]\nlength = 840\nwidth = 230\n' + STRIP.replace(
    "5.4, -2.4", "540, -240"
).replace("5.4, 2.4", "540, 240")


def with_layout(layout: str, own: str = "") -> tuple[str, dict[str, bytes | None]]:
    job = SHORT.replace('units = "m"\n', 'units = "m"\nlayout = "lot.toml"\n') + own
    assert named_files(job).texts == ("lot.toml",)
    return job, {"lot.toml": layout.encode()}


def test_strips_of_a_named_layout_in_its_own_units() -> None:
    trestle = '[mark.trestle]\nat = [6, 0.9, 0.75]\nkind = "cross"\narm = 0.1\nline = 0.02\n'
    job = job_from_text(*_args(with_layout(LAYOUT, trestle)))
    assert job.strip("front").from_m == pytest.approx([5.4, -2.4])
    assert job.mark("trestle").at_m == pytest.approx([6, 0.9, 0.75])


def _args(pair: tuple[str, dict[str, bytes | None]]) -> tuple[str, str, dict[str, bytes | None]]:
    return pair[0], "job.toml", pair[1]


@pytest.mark.parametrize(
    ("layout", "own", "file", "key", "words"),
    [
        (LAYOUT, STRIP, "lot.toml", "strip.front", "a name that the job has as well"),
        (LAYOUT.replace("length = 840", "length = 900"), "", "lot.toml", "vehicle.length", "8.4"),
        (LAYOUT.replace("mark = ", "mrak = "), "", "lot.toml", "strip.front.mrak", "`mark`"),
        (LAYOUT.replace('"18 cm"', "18000"), "", "lot.toml", "strip.front.tape_width", "at most"),
        (LAYOUT.replace("540, ", "40, "), "", "lot.toml", "strip.front.from", "under the body"),
        (LAYOUT.replace("count = 9", "count = 9,0"), "", "lot.toml", "", "not TOML"),
        ('[job]\nlayout = "b.toml"\n', "", "lot.toml", "job.layout", "another file again"),
    ],
)
def test_faults_of_a_layout_name_its_file(
    layout: str, own: str, file: str, key: str, words: str
) -> None:
    job, texts = with_layout(layout, own)
    with pytest.raises(BadInputError) as caught:
        job_from_text(job, "job.toml", texts)
    said = {(fault.file, fault.key): str(fault) for fault in caught.value.faults}
    assert words in said[(file, key)]


def test_a_layout_that_is_not_there_is_one_fault_more() -> None:
    job, _ = with_layout("")
    with pytest.raises(BadInputError) as caught:
        job_from_text(job, "job.toml", {"lot.toml": None})
    assert {fault.key for fault in caught.value.faults} == {"job.layout", "strip"}


def test_old_jobs_name_what_they_named() -> None:
    job = job_from_text(JOB, "job.toml")
    assert [camera.picture for camera in job.cameras] == ["front.jpg", "left_*.jpg"]

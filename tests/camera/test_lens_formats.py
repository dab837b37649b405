"""Lens files in three forms are written and read back, and OpenCV itself reads what we write.

Proves: our JSON, OpenCV YAML and ROS camera_info round trips; OpenCV's FileStorage as an outside
reader and writer; a job file takes all three; faults are named, all at once, and hostile text gives
faults and no exception. Does not prove: every YAML that other programs may write.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.paths import CLEAR_DAY
from vision.camera.lens import Lens
from vision.camera.lens_formats import lens_json, lens_opencv, lens_ros, read_lens
from vision.camera.stated_lens import StatedLens
from vision.job.job_file import job_from_text
from vision.units.errors import Fault

LENS = Lens(
    width=1280,
    height=720,
    fx=427.125,
    fy=426.5,
    cx=641.25,
    cy=358.0625,
    k=np.array([0.011, -3.5e-3, 1e-5, -2e-17]),
)


def read(text: str | bytes) -> StatedLens:
    faults: list[Fault] = []
    data = text.encode() if isinstance(text, str) else text
    stated = read_lens(data, "l", "wide", faults)
    assert not faults, faults
    assert stated is not None
    return stated


def same(stated: StatedLens) -> None:
    assert stated.fitted is not None
    np.testing.assert_array_equal(stated.fitted.as_vector(), LENS.as_vector())
    assert (stated.fitted.width, stated.fitted.height) == (1280, 720)


def faults_of(text: bytes) -> list[Fault]:
    faults: list[Fault] = []
    assert read_lens(text, "l", "wide", faults) is None
    assert faults
    return faults


def test_round_trips() -> None:
    same(read(lens_opencv(LENS)))
    same(read(lens_ros(LENS, "front")))
    root = np.random.default_rng(0).normal(size=(8, 8))
    covariance = root @ root.T * np.outer(LENS.as_vector(), LENS.as_vector()) * 1e-6
    stated = read(lens_json(LENS, covariance))
    same(stated)
    assert stated.covariance is not None
    np.testing.assert_allclose(stated.covariance, covariance, rtol=1e-12)


@pytest.mark.parametrize("write", [lens_json, lens_opencv, lens_ros])
def test_a_job_takes_every_form(write: Callable[[Lens], str]) -> None:
    job = CLEAR_DAY.read_text()
    changed = re.sub(r"field_of_view_deg = \S+", 'file = "a.lens"', job)
    parsed = job_from_text(changed.encode(), "job.toml", {"a.lens": write(LENS).encode()})
    assert len(parsed.cameras) == 4
    for camera in parsed.cameras:
        same(parsed.lens_of(camera))


def test_opencv_reads_what_we_write_and_we_read_what_it_writes(tmp_path: Path) -> None:
    ours = tmp_path / "ours.yaml"
    ours.write_text(lens_opencv(LENS))
    storage = cv2.FileStorage(str(ours), cv2.FILE_STORAGE_READ)
    camera = storage.getNode("camera_matrix").mat()
    k = storage.getNode("distortion_coefficients").mat()
    storage.release()
    np.testing.assert_array_equal(camera, [[427.125, 0, 641.25], [0, 426.5, 358.0625], [0, 0, 1]])
    np.testing.assert_array_equal(k.ravel(), LENS.k)
    theirs = tmp_path / "theirs.yaml"
    storage = cv2.FileStorage(str(theirs), cv2.FILE_STORAGE_WRITE)
    storage.write("image_width", 1280)
    storage.write("image_height", 720)
    storage.write("distortion_model", "fisheye")
    storage.write("camera_matrix", camera)
    storage.write("distortion_coefficients", k)
    storage.release()
    same(read(theirs.read_bytes()))


def test_ros_in_block_lists_and_over_several_lines() -> None:
    text = """# written by hand
image_width: 1280
image_height: 720
camera_name: front
distortion_model: equidistant
camera_matrix:
  rows: 3
  cols: 3
  data: [427.125, 0, 641.25,
         0, 426.5, 358.0625,  # second row
         0, 0, 1]
distortion_coefficients:
  rows: 1
  cols: 4
  data:
  - 0.011
  - -3.5e-3
  - 1e-5
  - -2e-17
"""
    found = read(text)
    same(found)
    assert found.covariance is None


@pytest.mark.parametrize(
    ("change", "key"),
    [
        (("equidistant", "plumb_bob"), "distortion_model"),
        (("image_width: 1280", "image_width: 12.5"), "image_width"),
        (("image_height: 720\n", ""), "image_height"),
        (("427.125", "-1"), "camera_matrix"),
        (("0.011, ", ""), "distortion_coefficients"),
        (("0.011", ".nan"), ""),
        (("0.011", "nan"), "distortion_coefficients"),
    ],
)
def test_faults_name_the_key(change: tuple[str, str], key: str) -> None:
    text = lens_ros(LENS)
    assert change[0] in text
    found = faults_of(text.replace(*change).encode())
    assert key in [each.key for each in found]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("image_width: 5\nimage_width: 6\n", "line 2, image_width a second time"),
        ("image_width: 5\na: [1, x]\n", "line 2, 'x' where a number stands"),
        ("image_width: 5\na: [1, 2\n", "line 3 that is no YAML"),
        ("---\n" + 50_000 * "[", "brackets nested too deeply"),
        ("---\n- 1\n", "no `key: value`"),
        ("image_width: 5\n#" + 600_000 * " ", "0.6 MB"),
    ],
)
def test_what_is_no_lens_in_yaml_is_named(text: str, found: str) -> None:
    (fault,) = faults_of(text.encode())
    assert found in fault.found


def test_a_list_that_holds_lists_many_times_is_not_written_out() -> None:
    held = "[1]"
    for depth in range(30):
        held = f"[&a{depth} {held}, {', '.join(9 * [f'*a{depth}'])}]"
    (fault,) = faults_of(f"image_width: 5\nk: {held}\n".encode())
    assert fault.found == "line 2, a list where a number stands"


def test_no_tag_makes_an_object() -> None:
    hostile = "camera_matrix: !!python/object/apply:os.getcwd []\n"
    assert "camera_matrix" in [each.key for each in faults_of(hostile.encode())]


def test_a_name_that_yaml_takes_for_something_else_is_quoted() -> None:
    assert "camera_name: 'yes'\n" in lens_ros(LENS, "yes")


def test_all_faults_at_once() -> None:
    keys = [each.key for each in faults_of(b"image_width: 0\nimage_height: x\n")]
    assert keys == [
        "image_width",
        "image_height",
        "fisheye_model",
        "camera_matrix",
        "distortion_coefficients",
    ]


@given(st.text(alphabet="abck_: []-#!{}'\"\n 019.,e&*", max_size=120))
def test_hostile_text_gives_faults_and_no_exception(text: str) -> None:
    faults_of(("image_width: 5\n" + text).encode())
    faults_of(text.encode())

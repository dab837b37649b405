"""Proves that photographs of a screen come in straightened, with what that leaves unsure."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.paths import CLEAR_DAY
from tests.photographed import Taken, photographed
from vision.camera.lens_prior import lens_prior
from vision.files.disk import read_inspection_input
from vision.files.screen_input import of_screens
from vision.units.errors import BadInputError

CAMERAS = ("front", "left", "rear", "right")


def job_with(folder: Path, said: str, views: dict[str, np.ndarray]) -> Path:
    text = CLEAR_DAY.read_text(encoding="utf-8") + f"\n[display]\nphotographed = {said}\n"
    (folder / "job.toml").write_text(text, encoding="utf-8")
    for name, view in views.items():
        cv2.imwrite(str(folder / f"{name}.jpg"), view, [cv2.IMWRITE_JPEG_QUALITY, 97])
    return folder / "job.toml"


@pytest.fixture(scope="module")
def photographs() -> dict[str, np.ndarray]:
    photos = {}
    for number, name in enumerate(CAMERAS):
        view = cv2.imread(str(CLEAR_DAY.parent / f"{name}.jpg"))
        photos[name] = photographed(view, Taken(seed=number, slant_deg=5.0 * number))
    return photos


def test_photographs_are_straightened_and_their_lenses_less_sure(tmp_path, photographs) -> None:
    job, pictures = read_inspection_input(job_with(tmp_path, '"16:9"', photographs))
    for picture in pictures:
        source = picture.sources[0]
        assert source.homography is not None
        assert source.crop_px == (0, 0, 2016, 1512)
        assert abs(picture.width / picture.height - 16 / 9) < 0.01
        stated = job.lens_of(job.camera(picture.name))
        prior = lens_prior(stated, picture.width, picture.height)
        assert 0.05 < prior.point_sigma_px < 1.0
        assert prior.centre_sigma_px > 10.0 * picture.width / 1280
    assert len({job.camera(name).lens for name in CAMERAS}) == 4


def test_each_photograph_that_is_no_use_is_told_with_how_to_hold_the_phone(tmp_path) -> None:
    views = {name: cv2.imread(str(CLEAR_DAY.parent / f"{name}.jpg")) for name in CAMERAS}
    with pytest.raises(BadInputError) as caught:
        read_inspection_input(job_with(tmp_path, '"16:9"', views))
    assert [fault.code for fault in caught.value.faults] == ["no-screen"] * 4


@pytest.mark.parametrize("said", ['"16:0"', '"9:16"', "true", '"wide"', "1.78", '"1:9"'])
def test_a_shape_that_cannot_be(tmp_path: Path, said: str) -> None:
    with pytest.raises(BadInputError) as caught:
        read_inspection_input(job_with(tmp_path, said, {}))
    assert ("wrong-aspect", "display.photographed") in {
        (fault.code, fault.key) for fault in caught.value.faults
    }


def test_nothing_is_touched_where_nobody_photographed_a_screen(tmp_path: Path) -> None:
    job, pictures = read_inspection_input(CLEAR_DAY)
    assert of_screens(job, pictures, "job.toml") == (job, pictures, [])

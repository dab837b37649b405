"""Mixed-up pictures are recognised and named, with the line of the job that would put it right.

Proved on the sample pictures (rendered by an independent path tracer). Not proved: that a mix-up is
always seen. A near symmetric layout of crosses may fit as well the wrong way round.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.paths import CLEAR_DAY
from vision.documents.check_words.words import say_check
from vision.files.disk import read_inspection_input
from vision.inspection.inspect import inspect
from vision.job.job import Job
from vision.marks.picture import Picture


@pytest.fixture(scope="module")
def clear_day() -> tuple[Job, tuple[Picture, ...]]:
    return read_inspection_input(CLEAR_DAY)


def with_pixels(picture: Picture, bgr: np.ndarray) -> Picture:
    return dataclasses.replace(picture, bgr=np.ascontiguousarray(bgr))


def codes(job: Job, pictures: list[Picture]) -> dict[str, tuple[str, list[str], str]]:
    found = inspect(job, pictures).cameras
    return {
        c.camera.name: (
            c.verdict,
            [r.code for r in c.reasons],
            " ".join(say_check()(r) for r in c.reasons),
        )
        for c in found
    }


def test_two_swapped_pictures_are_named(clear_day: tuple[Job, tuple[Picture, ...]]) -> None:
    job, (front, rear, left, right) = clear_day
    found = codes(job, [rear, front, left, right])
    assert found["front"][:2] == ("not-judged", ["swapped"])
    assert found["rear"][:2] == ("not-judged", ["swapped"])
    assert "[camera.front]" in found["front"][2]


@pytest.mark.parametrize("which", [1, 2])
def test_a_mirrored_picture_is_named(
    clear_day: tuple[Job, tuple[Picture, ...]], which: int
) -> None:
    job, pictures = clear_day
    turned = list(pictures)
    turned[which] = with_pixels(pictures[which], pictures[which].bgr[:, ::-1])
    found = codes(job, turned)
    name = job.cameras[which].name
    assert found[name][:2] == ("not-judged", ["mirrored"])
    assert f"mirrored = true under [camera.{name}]" in found[name][2]


def test_a_picture_upside_down_or_on_its_side_is_named(
    clear_day: tuple[Job, tuple[Picture, ...]],
) -> None:
    job, pictures = clear_day
    turned = with_pixels(pictures[0], pictures[0].bgr[::-1, ::-1])
    on_its_side = with_pixels(pictures[2], pictures[2].bgr.swapaxes(0, 1)[::-1])
    found = codes(job, [turned, pictures[1], on_its_side, pictures[3]])
    assert found["front"][:2] == ("not-judged", ["upside-down"])
    assert "roll_deg = 180" in found["front"][2]
    assert found["rear"][0] == "keep"
    assert found["left"][0] == "re-shoot"
    assert "stands on its side, 720 x 1280 px" in found["left"][2]


def test_another_camera_s_picture_is_named(clear_day: tuple[Job, tuple[Picture, ...]]) -> None:
    """The front camera's view, saved once more: not the same file, so no hash gives it away."""
    job, pictures = clear_day
    brighter = np.clip(pictures[0].bgr.astype(np.int16) + 3, 0, 255).astype(np.uint8)
    again = dataclasses.replace(pictures[3], bgr=brighter, sha256="f" * 64)
    found = codes(job, [*pictures[:3], again])
    assert found["right"][:2] == ("not-judged", ["other-camera"])
    assert "front or rear camera" in found["right"][2]
    # Without the right camera the front one's roll may be too unsure to judge; it is still placed.
    assert found["left"][0] == "keep"
    assert not {"other-camera", "swapped", "mirrored"} & set(found["front"][1])

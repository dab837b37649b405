"""Mixed-up pictures are recognised and named, with the line of the job that would put it right.

Proved on the sample pictures (rendered by an independent path tracer). Not proved: that a mix-up is
always seen. A near symmetric layout of crosses may fit as well the wrong way round.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.paths import CLEAR_DAY
from vision.files.disk import read_inspection_input
from vision.inspection.inspect import inspect
from vision.job.job import Job
from vision.marks.picture import Picture
from vision.units.reason import Reason


@pytest.fixture(scope="module")
def clear_day() -> tuple[Job, tuple[Picture, ...]]:
    return read_inspection_input(CLEAR_DAY)


def with_pixels(picture: Picture, bgr: np.ndarray) -> Picture:
    return dataclasses.replace(picture, bgr=np.ascontiguousarray(bgr))


def judged(job: Job, pictures: list[Picture]) -> dict[str, tuple[str, list[Reason]]]:
    """Verdict and reasons of each camera."""
    return {c.camera.name: (c.verdict, list(c.reasons)) for c in inspect(job, pictures).cameras}


def test_two_swapped_pictures_are_named(clear_day: tuple[Job, tuple[Picture, ...]]) -> None:
    job, (front, rear, left, right) = clear_day
    found = judged(job, [rear, front, left, right])
    for name, other, file in (("front", "rear", rear.file), ("rear", "front", front.file)):
        verdict, (reason,) = found[name]
        assert (verdict, reason.code) == ("not-judged", "swapped")
        assert (reason.arguments["camera"], reason.arguments["other"]) == (name, other)
        # In the job each has its own file; what it shows is the other's.
        assert file in (reason.arguments["file"], reason.arguments["other_file"])


@pytest.mark.parametrize("which", [1, 2])
def test_a_mirrored_picture_is_named(
    clear_day: tuple[Job, tuple[Picture, ...]], which: int
) -> None:
    job, pictures = clear_day
    turned = list(pictures)
    turned[which] = with_pixels(pictures[which], pictures[which].bgr[:, ::-1])
    found = judged(job, turned)
    name = job.cameras[which].name
    stated = job.cameras[which].mirrored
    mirrored = Reason("mirrored", camera=name, stated_mirrored=stated)
    assert found[name] == ("not-judged", [mirrored])


def test_a_picture_upside_down_or_on_its_side_is_named(
    clear_day: tuple[Job, tuple[Picture, ...]],
) -> None:
    job, pictures = clear_day
    turned = with_pixels(pictures[0], pictures[0].bgr[::-1, ::-1])
    on_its_side = with_pixels(pictures[2], pictures[2].bgr.swapaxes(0, 1)[::-1])
    found = judged(job, [turned, pictures[1], on_its_side, pictures[3]])
    verdict, (reason,) = found["front"]
    assert (verdict, reason.code) == ("not-judged", "upside-down")
    assert np.degrees(reason.arguments["roll_rad"]) == pytest.approx(180)
    assert found["rear"][0] == "keep"
    assert found["left"][0] == "re-shoot"
    assert found["left"][1][0].arguments["upright_px"] == (720, 1280)


def test_another_camera_s_picture_is_named(clear_day: tuple[Job, tuple[Picture, ...]]) -> None:
    """The front camera's view, saved once more: not the same file, so no hash gives it away."""
    job, pictures = clear_day
    brighter = np.clip(pictures[0].bgr.astype(np.int16) + 3, 0, 255).astype(np.uint8)
    again = dataclasses.replace(pictures[3], bgr=brighter, sha256="f" * 64)
    found = judged(job, [*pictures[:3], again])
    verdict, (reason, *others) = found["right"]
    assert not others, (reason, others)
    assert (verdict, reason.code) == ("not-judged", "other-camera")
    assert reason.arguments["others"] == ("front",)
    # Without the right camera the front one's roll may be too unsure to judge; it is still placed.
    assert found["left"][0] == "keep"
    assert not {"other-camera", "swapped", "mirrored"} & {each.code for each in found["front"][1]}

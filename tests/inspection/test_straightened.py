"""Proves that views which a display has straightened or merged are refused, and no raw picture is.

Pictures of the practice sets, and what a display might make of them.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.overlaid import overlaid
from tests.paths import CLEAR_DAY, FRAMES, SAMPLES
from tests.straightened import straightened_view, top_view
from vision.files.disk import read_job
from vision.inspection.inspect import inspect
from vision.marks.picture import Picture
from vision.marks.sources.straightened import straightened_views

NAMES = ("front", "rear", "left", "right")
SETS = tuple(SAMPLES / name for name in ("clear_day", "long_shadow")) + tuple(
    FRAMES / name for name in ("after_rain", "board_panels", "old_recorder")
)
HALF = dict.fromkeys(NAMES, float(np.radians(93)))


def pictures_of(views: dict[str, np.ndarray]) -> dict[str, Picture]:
    return {
        name: Picture.from_delivered(
            name=name, file=f"{name}.jpg", sha256=name, mirrored=False, bgr=view
        )
        for name, view in views.items()
    }


def views_of(folder) -> dict[str, np.ndarray]:
    return {name: cv2.imread(str(folder / f"{name}.jpg")) for name in NAMES}


@pytest.mark.parametrize("folder", SETS, ids=lambda each: each.name)
def test_no_raw_picture_is_refused(folder) -> None:
    views = views_of(folder)
    assert straightened_views(pictures_of(views), HALF) == frozenset()
    # Nor with a display's lines over one camera, or over all.
    drawn = overlaid(views, 1).views
    one = views | {"rear": drawn["rear"]}
    assert straightened_views(pictures_of(one), HALF) == frozenset()
    for name in NAMES:
        alone = pictures_of({name: views[name]})
        assert straightened_views(alone, HALF) == frozenset()


@pytest.mark.parametrize("folder", SETS, ids=lambda each: each.name)
def test_twenty_straightened_views_are_refused(folder) -> None:
    views = views_of(folder)
    f_px = 400 * views["front"].shape[1] / 1280
    shown = {name: straightened_view(view, f_px, 110) for name, view in views.items()}
    assert straightened_views(pictures_of(shown), HALF) == frozenset(NAMES)


@pytest.mark.parametrize("folder", SETS, ids=lambda each: each.name)
def test_twenty_views_from_above_are_refused(folder) -> None:
    views = views_of(folder)
    f_px = 400 * views["front"].shape[1] / 1280
    shown = {name: top_view(view, f_px, 2.5, 45, 90) for name, view in views.items()}
    assert straightened_views(pictures_of(shown), HALF) == frozenset(NAMES)


def test_a_lens_that_sees_little_bends_little() -> None:
    views = {n: straightened_view(v, 400, 110) for n, v in views_of(SETS[0]).items()}
    narrow = dict.fromkeys(NAMES, float(np.radians(45)))
    assert straightened_views(pictures_of(views), narrow) == frozenset()


def test_the_check_says_to_show_the_raw_camera() -> None:
    job, _ = read_job(CLEAR_DAY)
    views = {n: straightened_view(v, 400, 110) for n, v in views_of(SETS[0]).items()}
    inspection = inspect(job, [pictures_of(views)[c.name] for c in job.cameras])
    assert [each.verdict for each in inspection.cameras] == ["re-shoot"] * 4
    assert {r.code for each in inspection.cameras for r in each.reasons} == {"straightened"}
    assert inspection.verdict == "re-shoot"

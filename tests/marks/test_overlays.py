"""Proves that what a screen draws over its cameras' pictures is found, and nothing of the scene.

What it costs is printed by `tests.accuracy.sources`; that no name goes wrong under it is shown in
`tests/inspection/test_overlays.py`. One picture alone is not told from what is drawn over it.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.overlaid import barred, overlaid
from tests.paths import FRAMES, SAMPLES
from vision.marks.picture import Picture, filled
from vision.marks.sources.bars import without_bars
from vision.marks.sources.overlays import find_overlays, without_overlays

NAMES = ("front", "rear", "left", "right")
SETS = (SAMPLES / "clear_day", SAMPLES / "long_shadow", FRAMES / "after_rain")
SETS += (FRAMES / "board_panels", FRAMES / "old_recorder")


def views_of(folder) -> dict[str, np.ndarray]:
    return {name: cv2.imread(str(folder / f"{name}.jpg")) for name in NAMES}


def compressed(bgr: np.ndarray, quality: int = 85) -> np.ndarray:
    data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return cv2.imdecode(data, cv2.IMREAD_COLOR)


def picture(name: str, bgr: np.ndarray, *, mirrored: bool = False) -> Picture:
    return Picture.from_delivered(name=name, file=name, sha256=name, mirrored=mirrored, bgr=bgr)


@pytest.mark.parametrize("folder", SETS, ids=lambda each: each.name)
def test_a_scene_alone_has_nothing_drawn_over_it(folder) -> None:
    assert find_overlays(list(views_of(folder).values())) is None


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("folder", SETS, ids=lambda each: each.name)
def test_what_is_drawn_is_covered_and_little_else(folder, seed: int) -> None:
    drawn = overlaid(views_of(folder), seed)
    found = find_overlays([compressed(each) for each in drawn.views.values()])
    assert found is not None
    assert (found & drawn.drawn).sum() > 0.98 * drawn.drawn.sum()
    assert found.sum() < 4 * drawn.drawn.sum()
    # Nothing far from what is drawn.
    near = cv2.dilate(drawn.drawn.astype(np.uint8), np.ones((81, 81), np.uint8)) > 0
    assert not (found & ~near).any()


def test_two_cameras_do_not_tell_what_is_drawn_and_shots_of_one_neither() -> None:
    views = overlaid(views_of(SETS[0]), 1).views
    two = {name: picture(name, views[name]) for name in NAMES[:2]}
    assert without_overlays(two) == two
    same = {name: picture("front", views["front"]) for name in NAMES}
    assert without_overlays(same) == same


def test_a_mirrored_picture_is_covered_where_it_is_drawn_over() -> None:
    drawn = overlaid(views_of(SETS[0]), 2)
    pictures = {n: picture(n, each, mirrored=n == "rear") for n, each in drawn.views.items()}
    covered = {name: each.covered for name, each in without_overlays(pictures).items()}
    assert covered["rear"] is not None
    assert covered["front"] is not None
    assert (covered["rear"][:, ::-1] == covered["front"]).all()
    found = without_overlays(pictures)["front"]
    assert np.isnan(found.seen[covered["front"]]).all()
    assert np.isfinite(found.grey).all()


def test_covered_levels_are_filled_from_round_them() -> None:
    levels = np.tile(np.linspace(50, 150, 400, dtype=np.float32), (300, 1))
    covered = np.zeros((300, 400), bool)
    covered[100:140, 50:300] = True
    spoiled = np.where(covered, 255, levels).astype(np.float32)
    assert np.abs(filled(spoiled, covered) - levels).max() < 12
    assert (filled(spoiled, covered)[~covered] == levels[~covered]).all()
    assert np.isfinite(filled(spoiled, np.ones_like(covered))).all()


@pytest.mark.parametrize("folder", SETS, ids=lambda each: each.name)
def test_bars_are_taken_off_to_a_pixel(folder) -> None:
    views = views_of(folder)
    height, width = views["front"].shape[:2]
    for size in ((width, height), (width, height * 4 // 3), (width * 4 // 3, height)):
        shown = [
            picture(n, compressed(barred(v, size)), mirrored=n == "rear") for n, v in views.items()
        ]
        for each in without_bars(shown):
            assert abs(each.width - width) <= 2
            assert abs(each.height - height) <= 2


def test_pictures_of_one_size_that_differ_in_bars_are_left() -> None:
    views = views_of(SETS[0])
    shown = [picture(n, barred(v, (1280, 960))) for n, v in views.items()]
    shown[0] = picture("front", cv2.resize(views["front"], (1280, 960)))
    assert without_bars(shown) == tuple(shown)


def test_a_body_that_stands_alike_in_all_pictures_is_not_drawn_over_them() -> None:
    views = views_of(SETS[0])
    body = np.zeros((720, 1280, 3), np.uint8)
    cv2.ellipse(body, (640, 900), (760, 420), 0, 180, 360, (150, 120, 90), -1)
    cv2.rectangle(body, (300, 560), (980, 600), (40, 40, 40), -1)
    cv2.rectangle(body, (0, 0), (90, 720), (200, 190, 180), -1)
    shown = [np.where(body.any(axis=2)[..., None], body, view) for view in views.values()]
    found = find_overlays([compressed(each) for each in shown])
    assert found is None or found[~body.any(axis=2)].mean() < 0.01

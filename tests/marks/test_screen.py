"""Proves that a photographed screen's corners are found, and its picture straightened, to a px.

What photographs cost is printed by `tests.accuracy.photographed_screens`. What makes them shares
nothing with what reads them.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.paths import FRAMES, SAMPLES
from tests.photographed import Taken, photographed, screen_px, taken_by
from vision.marks.sources.origin import Source
from vision.marks.sources.screen import NoScreen, Screen, find_screen, straightened
from vision.marks.sources.straight import bent, projected, unbent

VIEWS = (SAMPLES / "clear_day" / "front.jpg", FRAMES / "after_rain" / "right.jpg")
ASIDE = Taken(slant_deg=30.0, slant_towards_deg=200.0, share=0.7, bend=-0.01)


@pytest.mark.parametrize(
    ("view", "how"),
    [(VIEWS[0], taken_by(1)), (VIEWS[1], taken_by(3)), (VIEWS[0], ASIDE)],
    ids=["a corner cut off", "aslant", "30 degrees aslant"],
)
def test_a_screen_is_straightened_to_a_pixel(view, how: Taken) -> None:
    shown = cv2.imread(str(view))
    photo = photographed(shown, how)
    screen = find_screen(cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY))
    assert isinstance(screen, Screen), screen
    found = straightened(photo, screen, 16 / 9)
    assert not isinstance(found, NoScreen)
    picture, image, _ = found
    height, width = picture.shape[:2]
    source = Source(
        file="a", sha256="0", format="JPEG", homography=image, bend=screen.bend,
        crop_px=(0, 0, *how.size),
    )  # fmt: skip
    u, v = np.meshgrid(np.linspace(50, width - 50, 9), np.linspace(50, height - 50, 7))
    pixels = np.stack([u.ravel(), v.ravel()], axis=1)
    there = screen_px(shown.shape, how, source.in_file(pixels))
    share = np.array([1280 / width, 720 / height])
    assert np.abs(there - ((pixels + 0.5) * share - 0.5)).max() < 1.5


def test_a_plain_picture_is_no_screen() -> None:
    for view in VIEWS:
        grey = cv2.imread(str(view), cv2.IMREAD_GRAYSCALE)
        assert not isinstance(find_screen(grey), Screen)
    assert not isinstance(find_screen(np.full((1512, 2016), 60, np.uint8)), Screen)


def test_a_small_screen_is_refused() -> None:
    how = Taken(share=0.3)
    photo = photographed(cv2.imread(str(VIEWS[0])), how)
    screen = find_screen(cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY))
    if isinstance(screen, Screen):
        found = straightened(photo, screen, 16 / 9)
        assert isinstance(found, NoScreen)
        assert found.code == "screen-small"


def test_a_bend_is_turned_round_and_a_homography_undone() -> None:
    rng = np.random.default_rng(1)
    pixels = rng.uniform(0, 1500, (50, 2))
    for bend in (-0.02, 0.0, 0.015):
        there = unbent(bent(pixels, bend, (2016, 1512)), bend, (2016, 1512))
        assert np.abs(there - pixels).max() < 0.02
    image = np.array([[1.1, 0.02, 30], [0.01, 1.2, 40], [1e-5, 2e-5, 1]])
    back = projected(np.linalg.inv(image), projected(image, pixels))
    assert np.abs(back - pixels).max() < 1e-6

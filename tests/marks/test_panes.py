"""Proves that a screen that shows several cameras is cut where its panes meet, to a pixel.

What panes cost is printed by `tests.accuracy.sources`; how a job names them is shown in
`tests/files/test_pane_input.py`.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.compositions import LAYOUTS, compose, rects_of
from tests.paths import SAMPLES
from vision.marks.picture import Picture
from vision.marks.sources.origin import Source
from vision.marks.sources.panes import cut_out, find_panes

NAMES = ("front", "left", "right", "rear")


@pytest.fixture(scope="module")
def views() -> list[np.ndarray]:
    return [cv2.imread(str(SAMPLES / "long_shadow" / f"{name}.jpg")) for name in NAMES]


@pytest.mark.parametrize("bar", [0, 6])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_panes_are_found_to_a_pixel(views, layout: str, bar: int) -> None:
    screen = compose(views, layout, (1280, 720), bar=bar, level=20)
    found = find_panes(cv2.cvtColor(screen.bgr, cv2.COLOR_BGR2GRAY), 4)
    assert found is not None
    for pane, rect in zip(found, screen.rects, strict=True):
        assert np.abs(np.subtract(ends(pane), ends(rect))).max() <= 1


def ends(rect: tuple[int, int, int, int]) -> tuple[int, int, int, int]:
    left, top, width, height = rect
    return left, top, left + width, top + height


@pytest.mark.parametrize("count", [2, 3, 4])
def test_one_view_is_no_screen_of_several(views, count: int) -> None:
    for view in views:
        assert find_panes(cv2.cvtColor(view, cv2.COLOR_BGR2GRAY), count) is None


def test_an_even_picture_has_no_panes() -> None:
    assert find_panes(np.full((720, 1280), 90, np.uint8), 4) is None


def test_a_pane_is_cut_from_the_picture_as_delivered(views) -> None:
    rects = rects_of("2x2", (1280, 720), 0)
    screen = compose(views, "2x2", (1280, 720))
    source = Source(file="a.png", sha256="0", format="PNG", crop_px=(0, 0, 1280, 720))
    whole = Picture.from_delivered(
        name="a", file="a.png", sha256="0", mirrored=True, bgr=screen.bgr, sources=(source,)
    ).with_further([])
    for mirrored in (False, True):
        pane = cut_out(whole, rects[1], "left", mirrored=mirrored)
        shown = pane.bgr[:, ::-1] if mirrored else pane.bgr
        assert (shown == screen.bgr[:360, 640:]).all()
        assert (pane.name, pane.corner_px, pane.sources[0].crop_px) == (
            "left", (640, 0), (640, 0, 640, 360),
        )  # fmt: skip

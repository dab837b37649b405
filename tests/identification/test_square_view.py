"""Proves that the search sees square pixels, and that its lenses come back to the picture's own."""

from __future__ import annotations

import numpy as np
import pytest

from vision.camera.lens import Lens
from vision.camera.lens_prior import resized
from vision.identification.square_view import square_view


def lens_of(aspect: float, height: int) -> Lens:
    return Lens(width=720, height=height, fx=230.0, fy=230.0 * aspect, cx=362.0, cy=140.0)


@pytest.mark.parametrize(
    ("aspect", "height", "size"),
    [(64 / 45, 576, (1024, 576)), (32 / 45, 288, (720, 405)), (8 / 9, 480, (720, 540))],
)
def test_pixels_become_square_and_the_lens_comes_back(
    aspect: float, height: int, size: tuple[int, int]
) -> None:
    lens = lens_of(aspect, height)
    v, u = np.mgrid[:height, :720]
    blob = 200 * np.exp(-((u - 300) ** 2 + ((v - 100) / aspect) ** 2) / 50.0)
    square, seen = square_view(lens, blob.astype(np.float32))
    assert seen.shape == size[::-1] == (square.height, square.width)
    assert square.fy / square.fx == pytest.approx(1, abs=2e-3)
    # The same ray leads to the same thing in both.
    row, column = np.unravel_index(np.argmax(seen), seen.shape)
    middle = square.project(lens.unproject(np.array([300.0, 100.0])))
    np.testing.assert_allclose([column, row], middle, atol=1.0)
    back = resized(square, lens.width, lens.height)
    np.testing.assert_allclose(back.as_vector(), lens.as_vector(), atol=1e-9)


def test_square_pixels_are_left_alone() -> None:
    grey = np.zeros((576, 720), np.float32)
    lens = lens_of(1.003, 576)
    square, seen = square_view(lens, grey)
    assert square is lens
    assert seen is grey

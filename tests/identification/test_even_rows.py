"""Proves that what even rows tell is given in px of the whole picture, and back without a loss.

It does not prove which pictures need it: `tests/marks/test_fields.py` does.
"""

from __future__ import annotations

import numpy as np
import pytest

from vision.camera.lens import Lens
from vision.camera.lens_prior import LensPrior, lens_prior, with_rows
from vision.camera.pixel_shape import PixelShape
from vision.camera.stated_lens import StatedLens
from vision.identification.even_rows import in_rows

LENS = Lens(
    width=720, height=576, fx=240.0, fy=342.0, cx=361.0, cy=290.0, k=np.array([-0.03, 0.003, 0, 0])
)
PRIORS = {
    "field": StatedLens(name="a", field_of_view_rad=3.2, pixels=PixelShape(aspect=64 / 45)),
    "bare": StatedLens(name="b", fitted=LENS),
    "covariance": StatedLens(
        name="c", fitted=LENS, covariance=np.diag([2, 3, 1, 1.5, 0.01, 0.01, 0.003, 0.001]) ** 2
    ),
}


def test_a_lens_sees_a_point_at_half_the_row() -> None:
    points = np.array([[0.3, -0.2, 1.0], [-1.0, 2.0, 0.3], [0.1, 0.4, -0.1]])
    even = with_rows(LENS, 0.5, 288)
    np.testing.assert_allclose(even.project(points), LENS.project(points) * [1, 0.5])
    np.testing.assert_allclose(with_rows(even, 2.0, 576).as_vector(), LENS.as_vector())


@pytest.mark.parametrize("name", list(PRIORS))
def test_a_lens_is_as_likely_in_even_rows_as_in_the_whole_picture(name: str) -> None:
    whole = lens_prior(PRIORS[name], 720, 576)
    even, seen = in_rows(whole, np.zeros((576, 720)), "even")
    assert seen.shape == (288, 720)
    assert isinstance(even, LensPrior)
    for seed in range(4):
        step = np.random.default_rng(seed).normal(size=8) * [3, 3, 3, 3, 0.01, 0.005, 0.002, 0.001]
        lens = LENS.with_vector(LENS.as_vector() + step)
        r, rows = whole.residuals(lens)
        r_even, rows_even = even.residuals(with_rows(lens, 0.5, 288))
        np.testing.assert_allclose(r_even, r, atol=1e-9)
        np.testing.assert_allclose(rows_even * [1, 0.5, 1, 0.5, 1, 1, 1, 1], rows, atol=1e-9)
    back = even.with_rows(2.0, 576)
    np.testing.assert_allclose(back.residuals(LENS)[0], whole.residuals(LENS)[0], atol=1e-9)


def test_all_rows_are_left_as_they_are() -> None:
    whole, grey = lens_prior(PRIORS["field"], 720, 576), np.zeros((576, 720))
    for rows in ("all", "registered"):
        prior, seen = in_rows(whole, grey, rows)
        assert prior is whole
        assert seen is grey

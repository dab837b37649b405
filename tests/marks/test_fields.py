"""Proves that shifted odd rows are seen for what they are, and that plain pictures are left alone.

Pictures are drawn: blobs of many sizes sampled without a filter, as rows of a camera are, with
noise. It does not prove what a real recorder does to its rows.
"""

from __future__ import annotations

import numpy as np
import pytest

from vision.marks.fields import field_shift
from vision.marks.picture import Picture
from vision.marks.rows import steadied
from vision.units.arrays import Array

SIZE = (720, 576)


def drawn(
    seed: int, across: float = 0.0, down: float = 0.0, slope: float = 0.0, noise: float = 2.0
) -> np.ndarray:
    """A picture whose odd rows show everything `across`, `down` px farther; `slope` more below."""
    rng = np.random.default_rng(seed)
    width, height = SIZE
    v, u = np.mgrid[:height, :width].astype(np.float64)
    odd = v % 2
    more = across + slope * (v - height / 2) / (height / 2)
    u, v = u - odd * more, v - odd * down
    grey = np.full((height, width), 110.0)
    for _ in range(250):
        x, y = rng.uniform(0, width), rng.uniform(0, height)
        half_x, half_y, turn = rng.uniform(2, 25), rng.uniform(2, 25), rng.uniform(0, np.pi)
        top, left = max(int(y) - 80, 0), max(int(x) - 80, 0)
        at = (slice(top, int(y) + 80), slice(left, int(x) + 80))
        along = (u[at] - x) * np.cos(turn) + (v[at] - y) * np.sin(turn)
        beside = (v[at] - y) * np.cos(turn) - (u[at] - x) * np.sin(turn)
        soft = np.maximum(np.abs(along) / half_x, np.abs(beside) / half_y)
        grey[at] += rng.uniform(-60, 60) / (1 + np.exp((soft - 1) * min(half_x, half_y) / 0.6))
    return np.clip(grey + rng.normal(0, noise, grey.shape), 0, 255).astype(np.float32)


def picture_of(grey: np.ndarray) -> Picture:
    bgr = np.repeat(np.round(grey).astype(np.uint8)[..., None], 3, axis=2)
    return Picture(name="left", file="left.png", sha256="0" * 64, mirrored=False, bgr=bgr)


@pytest.mark.parametrize("noise", [0.0, 2.0, 15.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_plain_pictures_have_no_shift(seed: int, noise: float) -> None:
    shift = field_shift(drawn(seed, noise=noise))
    assert not shift.combed
    assert shift.apart_px < (0.12 if noise < 10 else 0.25)
    picture = picture_of(drawn(seed, noise=noise))
    assert steadied(picture) is picture


@pytest.mark.parametrize("across", [0.5, -0.5, 2.0, 8.0, -8.0])
@pytest.mark.parametrize("noise", [2.0, 10.0])
def test_a_shift_alike_everywhere_is_measured_and_put_back(across: float, noise: float) -> None:
    grey = drawn(4, across=across, noise=noise)
    shift = field_shift(grey)
    assert shift.combed
    assert shift.alike
    sigma_px = np.sqrt(np.diag(shift.covariance_px2))
    assert sigma_px.max() < 0.15
    assert np.abs(shift.terms_px[:, 0] - [across, 0]).max() < 3 * sigma_px.max() + 0.03
    back = steadied(picture_of(grey))
    assert back.rows == "registered"
    assert back.rows_apart_px == pytest.approx(abs(across), abs=0.2)
    inner = (slice(12, -12), slice(12, -12))
    true = drawn(4, noise=0.0)
    left: Array = np.abs(back.grey - true)[inner]
    assert np.sqrt(np.mean(left**2)) < 1.15 * noise + 1.5
    # Nobody knows what odd rows would show at the rim they were moved from.
    assert not field_shift(back.grey[:, 24:-24]).combed


def test_a_third_of_a_pixel_is_measured_though_it_is_near_the_limit() -> None:
    shift = field_shift(drawn(5, across=0.33))
    assert shift.apart_px == pytest.approx(0.33, abs=0.05)


@pytest.mark.parametrize(
    ("across", "down", "slope"), [(0.0, 1.0, 0.0), (0.5, 0.0, 1.5), (2.0, -1.0, 3.0)]
)
def test_rows_of_another_moment_leave_the_even_ones(
    across: float, down: float, slope: float
) -> None:
    grey = drawn(6, across=across, down=down, slope=slope)
    shift = field_shift(grey)
    assert shift.combed
    assert not shift.alike
    steady = steadied(picture_of(grey))
    assert steady.rows == "even"
    np.testing.assert_array_equal(steady.bgr[::2], picture_of(grey).bgr[::2])
    assert not field_shift(steady.grey).combed


def test_a_part_that_moves_in_a_picture_that_stands_is_torn() -> None:
    """A mark or two of the ground beside the vehicle's own body, whose edges are stronger."""
    standing, moving = drawn(8), drawn(8, across=2.0)
    grey = standing.copy()
    grey[200:330, 250:450] = moving[200:330, 250:450]
    shift = field_shift(grey)
    assert shift.apart_px < 0.3
    assert shift.torn_px == pytest.approx(2.0, rel=0.5)
    assert shift.combed
    assert not shift.alike
    assert steadied(picture_of(grey)).rows == "even"


def test_terms_of_a_sloping_shift_are_those_drawn() -> None:
    shift = field_shift(drawn(7, across=1.0, slope=1.5))
    np.testing.assert_allclose(shift.terms_px[:, [0, 2]], [[1.0, 1.5], [0.0, 0.0]], atol=0.05)


@pytest.mark.parametrize("size", [(576, 720), (5, 7), (1, 1), (96, 95), (97, 96)])
def test_even_pictures_and_small_ones_tell_nothing(size: tuple[int, int]) -> None:
    for level in (0, 130, 255):
        assert not field_shift(np.full(size, level, np.float32)).combed

"""Proves the standard pixel shapes, and which of them a picture's size leaves open.

It does not prove that a recorder keeps to a standard.
"""

from __future__ import annotations

import math

import pytest

from vision.camera.pixel_shape import NAMED, SQUARE, either_of, possible_shapes


@pytest.mark.parametrize(
    ("name", "whole", "cropped"),
    [
        ("525 lines, 4:3", 8 / 9, 10 / 11),
        ("525 lines, 16:9", 32 / 27, 40 / 33),
        ("625 lines, 4:3", 16 / 15, 12 / 11),
        ("625 lines, 16:9", 64 / 45, 16 / 11),
    ],
)
def test_a_name_without_samples_holds_for_both_readings(
    name: str, whole: float, cropped: float
) -> None:
    assert NAMED[f"{name}, 720 samples"].aspect == pytest.approx(whole)
    assert NAMED[f"{name}, 704 samples"].aspect == pytest.approx(cropped)
    either = NAMED[name]
    for aspect in (whole, cropped):
        assert abs(math.log(aspect / either.aspect)) < either.sigma < 0.0135


@pytest.mark.parametrize(("picture", "lines"), [("4:3", 3 / 4), ("16:9", 9 / 16)])
@pytest.mark.parametrize(("standard", "rows"), [(525, 480), (625, 576)])
def test_whole_pictures_have_the_shape_that_their_name_says(
    picture: str, lines: float, standard: int, rows: int
) -> None:
    aspect = NAMED[f"{standard} lines, {picture}, 720 samples"].aspect
    assert rows / (720 * aspect) == pytest.approx(lines)


@pytest.mark.parametrize("size", [(1280, 720), (640, 480), (768, 576), (1920, 1080), (576, 720)])
def test_most_sizes_have_square_pixels(size: tuple[int, int]) -> None:
    assert possible_shapes(*size) == ((SQUARE,),)


@pytest.mark.parametrize("width", [704, 720])
@pytest.mark.parametrize(("height", "lines"), [(480, 525), (576, 625)])
def test_sizes_of_video_leave_its_shapes_open(width: int, height: int, lines: int) -> None:
    square, usual, wide = possible_shapes(width, height)
    assert square == (SQUARE,)
    assert either_of(usual) == NAMED[f"{lines} lines, 4:3"]
    assert either_of(wide) == NAMED[f"{lines} lines, 16:9"]
    assert len(usual) == len(wide) == 2

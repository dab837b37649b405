"""Marks that something covers in part: what is left is measured, with a covariance that holds.

Proves, in rendered pictures with exact centres, that half a cross or a quadrant beside a grey card,
a dark body or an edge with bands comes back within what its covariance says, though its size is
drawn a little wrong; that a mark of which hardly any ink is left is not taken; and that a shadow is
still taken for one. A board that was laid out of its place is used where its corners agree. The
renderer is that of `tests.scenes`. Does not prove that what covers a mark with curved edges, or
with bands that look like a cross's own line, is seen for what it is, nor that half a mark and its
mirror image are: `python -m tests.accuracy.conditions` counts what is astray.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest

from tests.fits import well_measured
from tests.scenes import Eye, Light, Tape, draw
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.identification.refusals import moves_px, refusal
from vision.identification.settings import SETTINGS
from vision.job.kinds.board import BoardCorner
from vision.job.kinds.cross import Cross
from vision.job.kinds.quadrant import Quadrant
from vision.job.layout import PlannedMark
from vision.job.mark_id import MarkId
from vision.marks.measure.mark_fit import Measured, measure
from vision.units.arrays import Array

EYE = Eye(place_m=(0.0, 0.0, 2.4), aim_deg=(3.0, 47.0, -2.0))
AT_M = (0.6, 1.4, 2.2)
WIDTH_M, RADIUS_M = 0.24, 0.11
NOISE = 2.0
LINES = ((1.3, -1.4, 88.0), (2.5, -1.4, 82.0))
CARD, BODY, BANDS = (
    ((0.0, 130.0),),
    ((0.0, 30.0),),
    ((0.0, 120.0), (0.025, 35.0), (0.06, 120.0), (0.09, 35.0)),
)
"""What covers: where each begins beyond the first (m), and its level."""


def tapes(kind: str) -> list[Tape]:
    radius_m = RADIUS_M if kind == "quadrant" else None
    return [
        Tape(start_m=(x, y), heading_deg=h, at_m=AT_M, width_m=WIDTH_M, radius_m=radius_m)
        for x, y, h in LINES
    ]


def planned(tape: Tape) -> list[PlannedMark]:
    along, across = tape.arms_m
    shape = (
        Quadrant(radius_m=tape.radius_m)
        if tape.radius_m
        else Cross(arm_along_m=along, arm_across_m=across, line_m=tape.line_m)
    )
    return [
        PlannedMark(
            id=MarkId(str(tape.start_m), index),
            strip="strip",
            index=index,
            centre_m=centre,
            heading_rad=float(np.radians(tape.heading_deg)),
            shape=shape,
            tape_width_m=tape.width_m,
            ink="dark",
        )
        for index, centre in enumerate(tape.centres())
    ]


def camera(off_m: Array | float = 0.0) -> tuple[Pose, Lens]:
    """What the pictures are drawn with, the place that much wrong."""
    aim = Aim.from_degrees(*EYE.aim_deg)
    (width, height), (cx, cy) = EYE.size, EYE.centre_px
    f_px, k = EYE.f_px, np.array(EYE.k)
    lens = Lens(width=width, height=height, fx=f_px, fy=f_px, cx=cx, cy=cy, k=k)
    return Pose.at(np.array(EYE.place_m) + off_m, aim.rotation()), lens


def measured(
    kind: str,
    across_deg: float,
    beside_m: float,
    covers: tuple[tuple[float, float], ...],
    shadow: float | None = None,
    taken: Callable[[Array, np.random.Generator], Array] = lambda levels, rng: levels,
) -> list[tuple[Array, Measured | None]]:
    """Every mark in a picture of its own: true centre, and what was measured of it.

    What covers it begins `beside_m` beyond its centre, towards `across_deg` from the tape's
    direction. The camera is taken to be 4 cm higher and 2 cm further on than it is, so that marks
    are drawn up to 2 % too small. `taken` is what a camera makes of the levels.
    """
    rng = np.random.default_rng(7)
    pose, lens = camera(np.array([0.02, 0.0, 0.04]))
    answers = []
    for tape in tapes(kind):
        for mark in planned(tape):
            normal = float(np.radians(tape.heading_deg + across_deg))
            middle = float(mark.centre_m[:2] @ [np.cos(normal), np.sin(normal)]) + beside_m
            light = Light(
                noise=NOISE,
                covers=tuple((normal, middle + off_m, level) for off_m, level in covers),
                shadow=None if shadow is None else (normal, middle, shadow),
            )
            true_px = EYE.pixel(mark.centre_m)
            left, top = np.round(true_px).astype(int) - 60
            picture = np.full(EYE.size[::-1], 92.0, dtype=np.float32)
            picture[top : top + 121, left : left + 121] = draw(
                EYE, (tape,), rng, light, box=(left, top, 121, 121)
            )
            picture = taken(picture, rng)
            start = true_px + rng.uniform(-0.5, 0.5, 2)
            answers.append((true_px, measure(picture, pose, lens, [mark], start[None])[0]))
    return answers


def bright_grown(levels: Array, rng: np.random.Generator) -> Array:
    """The picture of a camera that is soft in the light itself, and encodes it afterwards.

    What is bright is then wider by some tenths of a pixel (IEC 61966-2-1 has the exponent).
    """
    light = cv2.GaussianBlur((np.clip(levels, 0, 255) / 255) ** 2.2, (0, 0), 0.9)
    grown = 255 * light ** (1 / 2.2) + rng.normal(0, NOISE, levels.shape)
    return np.asarray(grown, dtype=np.float32)


def squares(answers: list[tuple[Array, Measured | None]]) -> Array:
    """Squared errors over their covariance, of what was measured."""
    offs = [(each.pixel_px - true_px, each) for true_px, each in answers if each is not None]
    return np.array([off @ np.linalg.solve(each.covariance_px2, off) for off, each in offs])


@pytest.mark.parametrize("kind", ["cross", "quadrant"])
@pytest.mark.parametrize("across_deg", [0.0, 100.0, 215.0])
def test_half_a_mark_whose_bright_parts_have_grown_says_how_far_off_it_may_be(
    kind: str, across_deg: float
) -> None:
    answers = measured(kind, across_deg, 0.004, CARD, taken=bright_grown)
    found = squares(answers)
    assert len(found) >= 0.5 * len(answers)
    assert found.max() < 9.2


@pytest.mark.parametrize("covers", [CARD, BODY], ids=["card", "body"])
@pytest.mark.parametrize("kind", ["cross", "quadrant"])
@pytest.mark.parametrize("across_deg", [0.0, 100.0, 215.0])
def test_half_a_mark_is_measured_by_what_is_left(
    kind: str, across_deg: float, covers: tuple[tuple[float, float], ...]
) -> None:
    answers = measured(kind, across_deg, 0.004, covers)
    found = squares(answers)
    assert len(found) >= 0.9 * len(answers)
    # Of two degrees of freedom: 2 on average, less where what is drawn wrong is taken with caution.
    assert found.mean() < 2.0
    assert found.max() < 9.2
    assert all(each.shadow for _, each in answers if each is not None)


@pytest.mark.parametrize(
    ("kind", "across_deg"),
    [("cross", 0.0), ("cross", 215.0), ("quadrant", 0.0), ("quadrant", 100.0), ("quadrant", 215.0)],
)
def test_half_a_mark_beside_something_with_bands(kind: str, across_deg: float) -> None:
    """Its edge is not one step: where it cannot be told, nothing is measured."""
    found = squares(measured(kind, across_deg, 0.004, BANDS))
    assert len(found) == 0 or found.max() < 9.2


@pytest.mark.parametrize("kind", ["cross", "quadrant"])
@pytest.mark.parametrize("across_deg", [0.0, 100.0])
def test_a_mark_that_is_all_but_covered_is_not_taken(kind: str, across_deg: float) -> None:
    mark = planned(tapes(kind)[0])[0]
    for true_px, found in measured(kind, across_deg, -0.07, BODY):
        if found is not None:
            move_px = float(np.linalg.norm(found.pixel_px - true_px))
            strange = found.noise > SETTINGS.strange_noise * NOISE
            assert strange or refusal(mark, found, move_px, 20.0, NOISE) is not None


@pytest.mark.parametrize("across_deg", [0.0, 100.0, 215.0])
def test_a_shadow_is_no_cover(across_deg: float) -> None:
    """In a shadow the ink stands out: both sides are measured, which half a mark's sigma is not."""
    shaded = measured("quadrant", across_deg, 0.004, (), shadow=0.4)
    half = measured("quadrant", across_deg, 0.004, BODY)
    assert squares(shaded).mean() < 3.0
    sigmas = [
        np.median([np.trace(each.covariance_px2) for _, each in answers if each is not None])
        for answers in (shaded, half)
    ]
    assert sigmas[0] < 0.5 * sigmas[1]


def board(corners: int) -> list[PlannedMark]:
    return [
        PlannedMark(
            id=MarkId("front", 2, row, column),
            strip="front",
            index=2,
            centre_m=np.zeros(3),
            heading_rad=0.0,
            shape=BoardCorner(square_m=0.07, ahead_left=True),
            tape_width_m=None,
            ink="dark",
        )
        for row in range(3)
        for column in range(corners)
    ]


@pytest.mark.parametrize(
    ("moved_px", "alike", "most_px"),
    [(2.5, 12, 0.2), (2.5, 10, 0.2), (2.5, 6, np.inf), (6.0, 12, np.inf)],
    ids=["laid elsewhere", "two corners covered", "half covered", "the next square"],
)
def test_a_board_lies_where_its_corners_say_alike(
    moved_px: float, alike: int, most_px: float
) -> None:
    """Those that agree hardly moved beside each other; else they moved as far as they did."""
    points = board(4)
    starts = np.zeros((12, 2))
    answers = [
        well_measured("", np.array([moved_px, 0.1 * (index % 2)])) if index < alike else None
        for index in range(12)
    ]
    moves = moves_px(points, starts, answers, np.full(12, 6.0))[:alike]
    assert (moves < most_px).all()
    if not np.isfinite(most_px):
        assert (moves > 2.0).all()

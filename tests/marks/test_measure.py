"""The centre of one mark, against rendered pictures whose centres are known exactly.

Proves that centres of crosses from one to five metres away come back to some hundredths of a pixel
and that their covariances are honest, also where the assumed pose is a little wrong, a shadow's
edge runs across the mark, the picture is compressed or the ink is light; and that bare tape, bare
ground and noise are not taken for marks. The renderer is that of `tests.scenes`, not this project's
own drawing. Does not prove anything about real tape, creased and dirty: the stored pictures do.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.scenes import Eye, Light, Tape, draw
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.identification.settings import SETTINGS
from vision.job.job import Ink
from vision.job.kinds.cross import Cross
from vision.job.layout import PlannedMark
from vision.job.mark_id import MarkId
from vision.job.visibility import d_pixel_d_mark
from vision.marks.measure import mark_fit
from vision.marks.measure.mark_fit import Measured, measure
from vision.marks.measure.matching import Edges, match
from vision.units.arrays import Array

EYE = Eye(place_m=(0.0, 0.0, 2.4), aim_deg=(3.0, 47.0, -2.0))
PLACES = tuple(0.42 * i for i in range(9))
TAPES = tuple(
    Tape(start_m=(x, -1.75), heading_deg=heading, at_m=PLACES)
    for x, heading in ((1.0, 91.0), (1.5, 86.0), (2.1, 79.0), (3.0, 82.0), (3.6, 76.0), (4.6, 88.0))
)


def pose_and_lens(eye: Eye, place_m: float = 0.0, turn_deg: float = 0.0) -> tuple[Pose, Lens]:
    """What the picture was drawn with, or that a little off."""
    aim = Aim.from_degrees(*(np.array(eye.aim_deg) + turn_deg))
    width, height = eye.size
    cx, cy = eye.centre_px
    f, k = eye.f_px, np.array(eye.k)
    lens = Lens(width=width, height=height, fx=f, fy=f, cx=cx, cy=cy, k=k)
    return Pose.at(np.array(eye.place_m) + place_m, aim.rotation()), lens


def planned(tapes: tuple[Tape, ...], ink: Ink = "dark") -> list[PlannedMark]:
    return [
        PlannedMark(
            id=MarkId(strip, index),
            strip=str(strip),
            index=index,
            centre_m=centre,
            heading_rad=float(np.radians(tape.heading_deg)),
            shape=Cross(
                arm_along_m=tape.arms_m[0], arm_across_m=tape.arms_m[1], line_m=tape.line_m
            ),
            tape_width_m=tape.width_m,
            ink=ink,
        )
        for strip, tape in enumerate(tapes)
        for index, centre in enumerate(tape.centres())
    ]


def measured(
    picture: Array,
    marks: list[PlannedMark],
    rng: np.random.Generator,
    off: dict[str, float] | None = None,
) -> list[Measured | None]:
    """Measure every mark from a start up to 0.7 px away."""
    pose, lens = pose_and_lens(EYE, **(off or {}))
    truth = EYE.pixel(np.array([mark.centre_m for mark in marks]))
    start = truth + rng.uniform(-0.7, 0.7, truth.shape)
    return list(measure(picture.astype(np.float32), pose, lens, marks, start))


def errors(results: list[Measured | None], marks: list[PlannedMark]) -> tuple[Array, Array]:
    """Lengths of the centre errors in px, and their normalised squares, of what was measured."""
    lengths, squares = [], []
    for result, mark in zip(results, marks, strict=True):
        if result is None:
            continue
        off = result.pixel_px - EYE.pixel(mark.centre_m)
        lengths.append(np.hypot(*off))
        squares.append(off @ np.linalg.solve(result.covariance_px2, off))
    return np.array(lengths), np.array(squares)


def looks_like_a_mark(result: Measured | None) -> bool:
    return (
        result is not None
        and result.explained >= SETTINGS.least_explained
        and result.contrast >= SETTINGS.least_contrast
    )


def in_sight(tapes: tuple[Tape, ...], ink: Ink = "dark") -> list[PlannedMark]:
    """The marks whose whole piece of tape is well inside the picture."""
    marks = planned(tapes, ink)
    pixels = EYE.pixel(np.array([mark.centre_m for mark in marks]))
    inside = ((pixels > 60) & (pixels < np.array(EYE.size) - 60)).all(axis=1)
    return [mark for mark, whole in zip(marks, inside, strict=True) if whole]


@pytest.mark.parametrize(
    ("light", "off"),
    [
        (Light(), {}),
        (Light(noise=6.0), {}),
        # What is left of the aim and the mounting when the marks are measured.
        (Light(blur_px=1.1, noise=3.0), {"place_m": 0.01, "turn_deg": 0.2}),
        (Light(jpeg=88), {}),
    ],
    ids=["clear", "noisy", "pose a little off", "compressed"],
)
def test_centres_and_their_covariances(
    light: Light, off: dict[str, float], rng: np.random.Generator
) -> None:
    marks = in_sight(TAPES)
    range_m = [np.hypot(*mark.centre_m[:2]) for mark in marks]
    assert len(marks) >= 45
    assert min(range_m) < 1.3
    assert max(range_m) > 4.4
    results = measured(draw(EYE, TAPES, rng, light), marks, rng, off)
    assert all(looks_like_a_mark(result) for result in results)
    lengths, squares = errors(results, marks)
    assert np.median(lengths) < 0.03
    assert lengths.max() < 0.2
    # The mean of a chi-square with two degrees of freedom is 2, of some fifty to a fifth or so; the
    # renderer's own few samples a pixel add a little.
    assert 1.5 < squares.mean() < 3.0
    blurs = [result.blur_px for result in results if result is not None]
    assert np.median(blurs) == pytest.approx(light.blur_px, abs=0.25)
    if not off:
        turns = [result.turn_rad for result in results if result is not None]
        assert abs(np.median(turns)) < 0.01


def shaded(
    across_deg: float, beside_m: float, rng: np.random.Generator
) -> tuple[list[Measured | None], list[PlannedMark]]:
    """Marks in pictures of their own, each with a shadow's edge near its centre.

    The edge's normal lies `across_deg` from the tape's direction, the edge `beside_m` from the
    centre.
    """
    results, marks = [], []
    for tape in TAPES[:5]:
        for mark in in_sight((tape,))[::3]:
            normal = np.radians(tape.heading_deg + across_deg)
            offset = mark.centre_m[:2] @ [np.cos(normal), np.sin(normal)] + beside_m
            left, top = np.round(EYE.pixel(mark.centre_m)).astype(int) - 60
            light = Light(shadow=(float(normal), float(offset), 0.4))
            picture = np.full(EYE.size[::-1], 92.0)
            part = draw(EYE, (tape,), rng, light, box=(left, top, 121, 121))
            picture[top : top + 121, left : left + 121] = part
            results += measured(picture, [mark], rng)
            marks.append(mark)
    return results, marks


def test_a_shadow_edge_across_the_marks(rng: np.random.Generator) -> None:
    results, marks = [], []
    for across_deg, beside_m in ((10.0, 0.05), (140.0, 0.0), (130.0, 0.01)):
        answers, here = shaded(across_deg, beside_m, rng)
        results += answers
        marks += here
    assert len(marks) >= 40
    assert np.mean([looks_like_a_mark(result) for result in results]) > 0.95
    assert np.mean([result is not None and result.shadow for result in results]) > 0.5
    lengths, squares = errors(results, marks)
    assert np.median(lengths) < 0.05
    assert lengths.max() < 0.3
    assert squares.mean() < 4.0


@pytest.mark.parametrize(
    ("across_deg", "beside_m"),
    [(-10.0, -0.05), (35.0, 0.02), (-45.0, -0.04), (88.0, 0.015), (88.0, -0.015)],
)
def test_a_shadow_edge_aslant_or_along_the_tape(
    across_deg: float, beside_m: float, rng: np.random.Generator
) -> None:
    """Along the tape is how the body's own shadow lies when the sun stands square to its side."""
    results, marks = shaded(across_deg, beside_m, rng)
    assert np.mean([result is not None and result.shadow for result in results]) > 0.8
    assert np.median(errors(results, marks)[0]) < 0.15


def test_the_last_step_leaves_next_to_nothing(
    rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Against steps to the last digit: hundredths of a centre's own sigma."""
    marks = in_sight(TAPES)
    picture = draw(EYE, TAPES, rng)
    begun = np.array([EYE.pixel(mark.centre_m) for mark in marks])
    begun += rng.uniform(-0.5, 0.5, begun.shape)
    found = measure(picture, *pose_and_lens(EYE), marks, begun)
    longer = replace(mark_fit.TUNED, rough=(20, 1e-6), fine=(30, 1e-7))
    monkeypatch.setattr(mark_fit, "TUNED", longer)
    settled = measure(picture, *pose_and_lens(EYE), marks, begun)
    left = [
        np.hypot(*(one.pixel_px - other.pixel_px)) / np.sqrt(np.trace(one.covariance_px2))
        for one, other in zip(found, settled, strict=True)
        if one is not None and other is not None and not (one.shadow or other.shadow)
    ]
    assert len(left) > 0.9 * len(marks)
    assert np.sqrt(np.mean(np.square(left))) < 0.06
    assert max(left) < 0.3


def test_light_ink(rng: np.random.Generator) -> None:
    tapes = tuple(
        Tape(start_m=t.start_m, heading_deg=t.heading_deg, at_m=t.at_m, level=45.0, ink=210.0)
        for t in TAPES[1:4]
    )
    marks = in_sight(tapes, "light")
    picture = draw(EYE, tapes, rng)
    results = measured(picture, marks, rng)
    assert all(looks_like_a_mark(result) for result in results)
    assert np.median(errors(results, marks)[0]) < 0.05
    # Asked for dark ink, the same picture has none.
    wrong = measured(picture, in_sight(tapes), rng)
    assert not any(looks_like_a_mark(result) for result in wrong)


@pytest.mark.parametrize("what", ["bare tape", "bare ground", "noise", "black"])
def test_where_no_mark_is(what: str, rng: np.random.Generator) -> None:
    tapes = TAPES[1:4]
    bare = tuple(
        Tape(start_m=t.start_m, heading_deg=t.heading_deg, at_m=(), level=195.0) for t in tapes
    )
    height, width = EYE.size[::-1]
    picture = {
        "bare tape": lambda: draw(EYE, bare, rng),
        "bare ground": lambda: draw(EYE, (), rng),
        "noise": lambda: rng.integers(0, 256, (height, width)),
        "black": lambda: np.zeros((height, width)),
    }[what]()
    # As identification asks: first a drawing that correlates, then one that explains the picture.
    marks, (pose, lens) = in_sight(tapes), pose_and_lens(EYE)
    grey = np.asarray(picture, dtype=np.float32)
    matches = match(Edges.of(grey), pose, lens, marks, 3.0)
    found, correlation = matches.found_px, matches.correlation
    results = measure(grey, pose, lens, marks, found)
    taken = np.array([looks_like_a_mark(result) for result in results])
    assert not (taken & (correlation > SETTINGS.looks[-1][1])).any()
    if what != "bare ground":
        # Gentle blotches of the ground pass for faint ink; their correlation gives them away.
        assert not taken.any()


def test_a_mark_cut_off_by_the_picture_is_not_measured(rng: np.random.Generator) -> None:
    marks = planned(TAPES[:1])
    pose, lens = pose_and_lens(EYE)
    picture = draw(EYE, TAPES[:1], rng).astype(np.float32)
    edge = np.tile([3.0, 300.0], (len(marks), 1))
    assert measure(picture, pose, lens, marks, edge) == (None,) * len(marks)
    nowhere = np.full((len(marks), 2), np.nan)
    assert measure(picture, pose, lens, marks, nowhere) == (None,) * len(marks)


def test_matching_finds_marks_some_pixels_away(rng: np.random.Generator) -> None:
    """The aim is half a degree off, 4 px: the drawing is still found to a pixel."""
    marks = in_sight(TAPES)
    pose, lens = pose_and_lens(EYE, turn_deg=0.4)
    picture = draw(EYE, TAPES, rng).astype(np.float32)
    matches = match(Edges.of(picture), pose, lens, marks, 8.0)
    found, correlation = matches.found_px, matches.correlation
    truth = EYE.pixel(np.array([mark.centre_m for mark in marks]))
    tried = np.isfinite(correlation)
    assert tried.mean() > 0.9
    assert np.median(correlation[tried]) > 0.9
    assert np.median(np.linalg.norm(found - truth, axis=1)[tried]) < 0.5
    empty = match(Edges.of(np.full_like(picture, 90.0)), pose, lens, marks, 8.0).correlation
    assert not (np.nan_to_num(empty) > 0.5).any()


def test_matching_a_mark_on_a_sheet_of_its_own(rng: np.random.Generator) -> None:
    """A single mark's sheet ends a quarter beyond its arms; seen aslant, ground lies in the box."""
    sheets = tuple(
        Tape(
            start_m=place,
            heading_deg=45.0,
            at_m=(0.0,),
            arms_m=(0.2, 0.2),
            line_m=0.04,
            width_m=0.5,
        )
        for place in ((2.0, -1.0), (2.4, 0.6), (3.2, 1.4))
    )
    marks = [replace(mark, strip=None, tape_width_m=None) for mark in planned(sheets)]
    pose, lens = pose_and_lens(EYE)
    picture = draw(EYE, sheets, rng).astype(np.float32)
    matches = match(Edges.of(picture), pose, lens, marks, 5.0)
    found, correlation = matches.found_px, matches.correlation
    truth = EYE.pixel(np.array([mark.centre_m for mark in marks]))
    assert (correlation > 0.8).all()
    assert np.linalg.norm(found - truth, axis=1).max() < 1.0


def test_derivative_by_mark_coordinates() -> None:
    pose, lens = pose_and_lens(EYE)
    marks = planned(TAPES)
    pixels, jacobians = d_pixel_d_mark(pose, lens, marks)
    np.testing.assert_allclose(pixels, EYE.pixel(np.array([m.centre_m for m in marks])), atol=1e-9)
    step = 1e-6
    heading = np.array([mark.heading_rad for mark in marks])
    centres = np.array([mark.centre_m for mark in marks])
    for axis, turn in ((0, 0.0), (1, np.pi / 2)):
        way = np.stack([np.cos(heading + turn), np.sin(heading + turn), 0 * heading], axis=-1)
        change = EYE.pixel(centres + step * way) - EYE.pixel(centres - step * way)
        np.testing.assert_allclose(jacobians[:, :, axis], change / (2 * step), atol=1e-4)


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(11)


def test_a_mark_of_a_few_pixels_is_not_tried() -> None:
    """Seen from far and flat, no pixel may lie wholly on the tape: no figure, and no warning."""
    shape = Cross(arm_along_m=0.12, arm_across_m=0.08, line_m=0.02)
    far = PlannedMark(
        id=MarkId("far"),
        strip=None,
        index=0,
        centre_m=np.array([9.0, 0.0, 0.0]),
        heading_rad=np.pi / 2,
        shape=shape,
        tape_width_m=0.18,
        ink="dark",
    )
    lens = Lens(width=720, height=400, fx=150.0, fy=150.0, cx=360.0, cy=200.0)
    aim = Aim.from_degrees(0.0, 20.0, 0.0)
    pose = Pose.at(np.array([0.0, 0.0, 1.0]), aim.rotation())
    noise = np.random.default_rng(5).uniform(0, 255, (400, 720)).astype(np.float32)
    correlation = match(Edges.of(noise), pose, lens, [far], 3.0).correlation
    assert np.isnan(correlation).all()

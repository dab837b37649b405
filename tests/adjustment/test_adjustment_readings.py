"""Readings of tape and gauge in the joint adjustment, on made-up jobs.

Proves: derivatives of readings; that readings narrow what they measure, with and without pictures;
that a wrong one is set free and its slip named; that two which contradict each other are named
together, and the reading that would decide is asked for.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.adjusting import JOB, READINGS, STRIPS, Scene, read
from tests.differences import assert_group_as_differences
from vision.adjustment.adjusted import Adjustment
from vision.adjustment.building import build_network
from vision.adjustment.groups import Group
from vision.adjustment.search import adjust, adjust_readings
from vision.adjustment.solution import length_blunder
from vision.camera.solver import NoFit
from vision.documents.check_words.saying import misread
from vision.inspection.verdict.causes import causes
from vision.job.job import AngleReading, LengthReading
from vision.job.mark_id import MarkId
from vision.units.length_words import METRIC, LengthWords
from vision.units.reason import Reason


def test_derivatives_of_readings_match_central_differences() -> None:
    scene = Scene(JOB, np.random.default_rng(1))
    job = read(scene, np.random.default_rng(2))
    network = build_network(job, scene.layout, scene.observations)
    readings = [group for group in network.groups() if group.kind == "reading"]
    assert len(readings) == len(READINGS)
    rng = np.random.default_rng(3)
    state = network.start.moved(rng.normal(0, 1e-2, network.size))
    for group in readings:
        _, jacobian = network.group_rows(state, group)
        assert jacobian.any(axis=1).all()
        assert_group_as_differences(network, state, group)


def test_readings_narrow_what_they_measure() -> None:
    scene = Scene(JOB, np.random.default_rng(21))
    without = scene.adjusted()
    scene.job = read(scene, np.random.default_rng(22))
    result = scene.adjusted()
    assert result.freed == ()
    assert [each.group for each in result.readings] == [Group.of_reading(i) for i in range(1, 7)]
    for each, stated in zip(result.readings, READINGS, strict=True):
        sigma = stated.sigma_m if isinstance(stated, LengthReading) else stated.sigma_rad
        assert (np.abs(each.residual) < 4 * sigma).all()
        assert (each.sigma < sigma).all()
    before, after = (next(s for s in r.strips if s.name == "right") for r in (without, result))
    assert after.shift_sigma_m[1] < 0.7 * before.shift_sigma_m[1]
    aim = result.camera("front").aim.minus(scene.poses["front"].aim)
    assert (np.abs(aim) < 3 * result.camera("front").aim_sigma_rad).all()


@pytest.mark.parametrize(
    ("index", "fault", "blunder_m"),
    [
        (1, 0.0254, 0.0254),
        (3, -0.3048, -0.3048),
        (5, np.radians(-35.0), None),
    ],
)
def test_a_reading_that_is_wrong_is_freed(
    index: int, fault: float, blunder_m: float | None
) -> None:
    scene = Scene(JOB, np.random.default_rng(23))
    scene.job = read(scene, np.random.default_rng(24), {index: fault})
    result = scene.adjusted()
    assert result.freed == (Group.of_reading(index + 1),)
    found = result.readings[index]
    assert abs(found.residual[0] - fault) < 4 * np.hypot(found.sigma[0], 0.0035)
    assert found.blunder_m == blunder_m
    (reason,) = causes(scene.job, result)
    assert reason.code == "does-not-fit"
    assert reason.arguments["what"].arguments["group"] == Group.of_reading(index + 1)
    assert reason.arguments.get("blunder_m") == blunder_m


def test_readings_to_what_no_camera_shows() -> None:
    scene = Scene(JOB, np.random.default_rng(25))
    scene.job = read(scene, np.random.default_rng(26))
    # Only the left camera took part: the readings of the front one say nothing, and a taped mark
    # of the right strip is placed by its tape alone.
    result = adjust(scene.job, scene.layout, scene.observations[1:2])
    assert isinstance(result, Adjustment)
    assert Group.of_reading(5) not in [each.group for each in result.readings]
    assert Group.of_reading(4) in [each.group for each in result.readings]
    right = next(each for each in result.strips if each.name == "right")
    assert not right.seen
    assert right.shift_sigma_m[1] < 0.01 / np.sqrt(2)


def test_two_readings_that_contradict_each_other_cannot_be_told_apart() -> None:
    scene = Scene(JOB, np.random.default_rng(27))
    length = float(
        np.linalg.norm(scene.places[MarkId("left", 0)] - scene.places[MarkId("left", 16)])
    )
    alike = LengthReading(
        kind="distance",
        between=(MarkId("left", 0), MarkId("left", 16)),
        value_m=length,
        sigma_m=0.003,
    )
    # 5 cm apart, each as far from the pictures' own answer, which is worth little here: only
    # one camera with a lens that is hardly known shows anything.
    half = 0.025
    pair = (replace(alike, value_m=length + half), replace(alike, value_m=length - half))
    strips = tuple(replace(each, position_sigma_m=0.5) for each in STRIPS)
    scene.job = replace(JOB, readings=pair, strips=strips)
    result = adjust(scene.job, scene.layout, scene.observations[1:2])
    assert isinstance(result, Adjustment)
    assert result.freed == ()
    (tie,) = result.freed_alternatives
    assert set(tie) == {Group.of_reading(1), Group.of_reading(2)}


def test_readings_alone_place_strips_marks_and_mountings() -> None:
    scene = Scene(JOB, np.random.default_rng(31), {Group("strip", "right"): np.array([0.0, -0.08])})
    pairs = [
        (MarkId("left", 0), MarkId("left", 16)),
        (MarkId("left", 0), MarkId("front", 8)),
        (MarkId("left", 16), MarkId("rear", 8)),
        (MarkId("right", 0), MarkId("right", 16)),
        (MarkId("front", 0), MarkId("rear", 0)),
        (MarkId("left", 0), MarkId("right", 0)),
        (MarkId("left", 16), MarkId("right", 16)),
        (MarkId("left", 0), MarkId("right", 16)),
        (MarkId("left", 16), MarkId("right", 0)),
        ("front", MarkId("front_trestle")),
    ]
    rng = np.random.default_rng(32)
    lengths = []
    for pair in pairs:
        a, b = (
            scene.poses[n].camera_in_ground_m if n in scene.poses else scene.places[n] for n in pair
        )
        value = float(np.linalg.norm(a - b)) + rng.normal(0, 0.003)
        lengths.append(LengthReading(kind="distance", between=pair, value_m=value, sigma_m=0.003))
    result = adjust_readings(replace(JOB, readings=tuple(lengths)), scene.layout)
    assert isinstance(result, Adjustment)
    # Left and right are as far apart as one of them being wrong makes them: which, nobody can say.
    assert {Group("strip", "left"), Group("strip", "right")} <= set(result.freed_alternatives[0])
    for name in (MarkId("left", 0), MarkId("left", 16)):
        value = abs(float(scene.places[name][1])) + rng.normal(0, 0.003)
        lengths.append(LengthReading(kind="offset", between=(name,), value_m=value, sigma_m=0.003))
    # An angle needs its camera's picture: it takes no part here.
    angle = AngleReading(
        camera="front", tilt_rad=0.8, roll_rad=None, against="gravity", sigma_rad=0.0035
    )
    job = replace(JOB, readings=(*lengths, angle))
    result = adjust_readings(job, scene.layout)
    assert isinstance(result, Adjustment)
    assert result.cameras == ()
    assert [each.group for each in result.readings] == [Group.of_reading(i) for i in range(1, 13)]
    assert {Group("mounting", "front"), Group("mark", "front_trestle")} <= set(result.groups)
    assert result.freed == (Group("strip", "right"),)
    right = next(each for each in result.strips if each.name == "right")
    assert not right.seen
    assert right.mark_ids == (MarkId("right", 0), MarkId("right", 16))
    across = [(scene.places[i] - scene.layout.mark(i).centre_m)[1] for i in right.mark_ids]
    assert np.abs(right.mark_shift_m[:, 1] - across).max() < 0.03
    none = adjust_readings(replace(JOB, readings=(angle,)), scene.layout)
    assert isinstance(none, NoFit)
    assert none.code == "no-reading"


@pytest.mark.parametrize(
    ("off_m", "sigma_m", "blunder_m"),
    [
        (0.026, 0.002, 0.0254),
        (-0.301, 0.003, -0.3048),
        (0.1, 0.002, 0.1),
        (0.04, 0.002, None),  # nobody misreads by that
        (0.026, 0.012, None),  # the sigmas explain it as well
        (0.06, 0.018, None),  # an inch or 10 cm
    ],
)
def test_blunders_with_a_tape(off_m: float, sigma_m: float, blunder_m: float | None) -> None:
    assert length_blunder(off_m, sigma_m) == blunder_m


def test_a_blunder_is_named_for_a_tape_in_metres_and_in_inches() -> None:
    feet = LengthWords(imperial=True)
    assert misread(0.1, feet) == "3 15/16 in (10 cm) too long"
    assert misread(-1.0, feet) == "3 ft 3 3/8 in (1 m) too short"
    assert misread(0.1, METRIC) == "10 cm too long"
    assert misread(1.0, METRIC) == "1 m too long"
    for lengths in (feet, METRIC):
        assert misread(0.0254, lengths) == "an inch too long"
        assert misread(-0.3048, lengths) == "a foot too short"


def test_what_ties_comes_with_the_reading_that_decides() -> None:
    fault = {Group("strip", "front"): np.array([0.05, 0.0])}
    scene = Scene(JOB, np.random.default_rng(301), fault)
    result = scene.adjusted()
    assert result.freed == ()
    (found,) = result.explanations
    assert set(found.groups) == {Group("strip", "front"), Group("strip", "left")}
    assert found.decided_by is not None
    # Taking that reading does decide.
    (reason,) = causes(JOB, result)
    assert reason.code == "one-of-several"
    things = [each.arguments["group"] for each in reason.arguments["things"]]
    assert tuple(things) == found.groups
    assert reason.arguments["decided_by"].arguments["between"] == found.decided_by.between
    kind, between = found.decided_by.kind, found.decided_by.between
    assert kind in ("distance", "offset")
    at = [scene.places[name] for name in between]
    value = abs(at[0][1]) if kind == "offset" else float(np.linalg.norm(at[0] - at[1]))
    reading = LengthReading(kind=kind, between=between, value_m=value, sigma_m=0.003)
    scene.job = replace(JOB, readings=(reading,))
    after = scene.adjusted()
    assert after.freed == (Group("strip", "front"),)
    (reason,) = causes(scene.job, after)
    assert reason.arguments["what"] == Reason("stated", group=Group("strip", "front"))
    assert reason.arguments["odds"] > 100

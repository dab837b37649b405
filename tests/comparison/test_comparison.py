"""Proves that a comparison of two checks names what changed, that alone, and in the right words.

Proves, on simulated pairs of checks whose truth is known: derivatives of the joint network against
central differences; nothing is named where nothing changed; a camera that was turned or moved, a
strip that was said to lie still, and a vehicle that stands differently are each named as such; the
sigmas are of the size of the errors. Then that what a record keeps is all that is needed.

Does not prove how often that goes wrong: `python -m tests.accuracy.compare` counts it.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import datetime
from html.parser import HTMLParser

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.accuracy.compare import Between, pair
from tests.adjusting import whole
from tests.paths import CLEAR_DAY
from vision.adjustment.groups import Group
from vision.adjustment.search import adjust
from vision.adjustment.state import Weights, whiteners
from vision.camera.geometry import Pose, d_aim_d_rotation_vector
from vision.camera.lens_prior import lens_prior
from vision.camera.solver import NoFit
from vision.camera.stated_lens import StatedLens
from vision.camera.statistics import noncentrality
from vision.comparison.change import Comparison, Epoch, Shared
from vision.comparison.compared import compare
from vision.comparison.epoch_ground import lay_out, same_laying
from vision.comparison.pair import build_pair
from vision.comparison.record import KeptCheck
from vision.comparison.search import search
from vision.comparison.settings import SETTINGS
from vision.comparison.ties import d_vector_d_turn
from vision.documents.cautions import CAUTION
from vision.documents.check_words.saying import WAYS
from vision.documents.comparison_page import comparison_page
from vision.documents.comparison_words import (
    PLACES,
    sentences,
    since_words,
    state_sentences,
    steps_back,
)
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.job.layout import planned_layout
from vision.units.reason import Reason

DAY = "since 3 March 2026"
ALL = frozenset({"all"})
KEPT = Shared(not_relaid=ALL)
STILL = Between(relaid=False)


@pytest.fixture(scope="module")
def job() -> Job:
    return job_from_text(CLEAR_DAY.read_bytes(), CLEAR_DAY.name)


def two_checks(job: Job, between: Between, seed: int = 5) -> tuple[Epoch, Epoch]:
    drawn = pair(job, between, np.random.default_rng(seed))
    assert drawn is not None
    return drawn[0], drawn[1]


@pytest.fixture(scope="module")
def still(job: Job) -> tuple[Epoch, Epoch]:
    """Nothing changed and nothing was laid anew."""
    return two_checks(job, STILL)


def compared(checks: tuple[Epoch, Epoch], shared: Shared = KEPT) -> Comparison:
    found = compare(*checks, shared)
    assert isinstance(found, Comparison)
    return found


def named(result: Comparison) -> dict[str, tuple[bool, bool]]:
    return {camera.name: (camera.turned, camera.moved) for camera in result.changed}


def test_derivatives_of_the_joint_network(still):
    """Every row by every column, of a pair whose cameras are turned by up to two degrees."""
    before, after = still
    after = stated_otherwise(after)
    network = build_pair((before, after), frozenset({"left", "front"}), False).network
    rng = np.random.default_rng(1)
    free = (Group("turn", "front"), Group("shift", "left"), Group("move", "left"))
    full = whiteners(network.points.covariance_px2)
    weights = network.freeing(Weights(whiteners=full, group_sigma={}), free)
    state = network.start.moved(rng.normal(0, 0.01, network.size))
    _, jacobian = whole(network, weights, state)
    lengths = np.linalg.norm(jacobian, axis=0)
    for column in range(network.size):
        step = np.zeros(network.size)
        step[column] = 1e-2 / lengths[column]
        plus, _ = whole(network, weights, state.moved(step))
        minus, _ = whole(network, weights, state.moved(-step))
        numeric = (plus - minus) / (2 * step[column])
        atol = 1e-5 * lengths[column]
        np.testing.assert_allclose(numeric, jacobian[:, column], atol=atol)


def test_derivative_of_a_turn_s_vector():
    rng = np.random.default_rng(2)
    for size in (0.0, 1e-6, 1e-3, 0.1, 2.0, 3.0):
        axis = rng.normal(size=3)
        vector = size * axis / np.linalg.norm(axis)
        turn, by_turn = Rotation.from_rotvec(vector), d_vector_d_turn(vector)
        for column, step in enumerate(1e-6 * np.eye(3)):
            ends = [(Rotation.from_rotvec(w) * turn).as_rotvec() for w in (step, -step)]
            np.testing.assert_allclose((ends[0] - ends[1]) / 2e-6, by_turn[:, column], atol=1e-7)


def test_sigmas_of_a_large_turn_are_those_of_the_whole_solution(job):
    """Pan, tilt and roll of a camera turned by five degrees, against both poses' covariance."""
    turn = np.radians([-3.0, 2.5, 3.0])
    checks = two_checks(job, Between(camera="front", turn=turn, relaid=False))
    tied = build_pair(checks, frozenset(), False)
    found = search(tied, checks)
    assert not isinstance(found, NoFit)
    assert Group("turn", "front") in found.free
    state, pose = found.solution.state, tied.network.columns.pose
    before, after = tied.before["front"], tied.after["front"]
    R = state.R[after] @ state.R[tied.stance]
    by_turns = np.concatenate(
        [
            d_aim_d_rotation_vector(R) @ np.hstack([np.eye(3), state.R[after]]),
            -d_aim_d_rotation_vector(state.R[before]),
        ],
        axis=1,
    )
    columns = np.concatenate([pose[after, 3:], pose[tied.stance, 3:], pose[before, 3:]])
    covariance = found.solution.covariance.kept[np.ix_(columns, columns)]
    whole = np.sqrt(np.diag(by_turns @ covariance @ by_turns.T))
    front = next(each for each in compared(checks, Shared()).cameras if each.name == "front")
    np.testing.assert_allclose(front.aim_sigma_rad, whole, rtol=1e-3)


def test_nothing_is_named_where_nothing_changed(still):
    result = compared(still)
    assert named(result) == {}
    assert not result.vehicle.significant
    assert not result.strips_moved
    assert [seam.breaks for seam in result.seams] == [False] * 4
    for camera in result.cameras:
        assert np.abs(camera.aim_rad / camera.aim_sigma_rad).max() < 4
        assert np.degrees(camera.detectable_rad) < 0.3


def test_what_is_shared_sharpens(still):
    anew = {c.name: c.detectable_rad for c in compared(still, Shared()).cameras}
    kept = {c.name: c.detectable_rad for c in compared(still).cameras}
    untouched = {c.name: c.detectable_rad for c in compared(still, Shared(untouched=True)).cameras}
    for name, size in kept.items():
        assert untouched[name] <= 1.001 * size
        assert size < anew[name]


def test_a_turned_camera_is_named_and_breaks_its_seams(job):
    turn = np.radians([1.4, 0.0, 0.0])
    result = compared(two_checks(job, Between(camera="front", turn=turn, relaid=False)))
    assert named(result) == {"front": (True, False)}
    (front,) = result.changed
    # Turned about its own x axis: the axis tips up.
    off = front.aim_rad[1] - np.radians(1.4)
    assert abs(off) < 4 * front.aim_sigma_rad[1]
    broken = {seam.between for seam in result.seams if seam.breaks}
    assert broken
    assert all("front" in between for between in broken)
    lines = sentences(result, DAY, 0.05)
    assert WAYS["tilt"][1] in lines[0]
    # The change, what it breaks, and the cameras that did not.
    assert len(lines) == 1 + len(broken) + 3
    # To do: turn it back the other way, by as much; nothing besides for the seams it breaks.
    (step,) = steps_back(result)
    assert f"{WAYS['tilt'][0]} by" in step
    assert f"{np.degrees(front.aim_rad[1]):.1f}" in step
    assert "set the display again" in step


def test_a_large_turn(job):
    turn = np.radians([4.0, -3.0, 2.0])
    result = compared(two_checks(job, Between(camera="left", turn=turn)), Shared())
    assert named(result) == {"left": (True, False)}


def test_a_camera_that_was_moved(job):
    first, second = two_checks(job, STILL)
    moved = second.job.cameras
    # Everything that the camera shows lies 6 cm nearer to it: its place has changed by as much.
    shift = np.array([0.0, 0.0, -0.06])
    seen = [
        replace(o, points=_seen_from(o, second.adjustment.camera(o.name), shift))
        if o.name == "right"
        else o
        for o in second.observations
    ]
    assert len(seen) == len(moved)
    result = compared((first, replace(second, observations=tuple(seen))))
    assert set(named(result)) == {"right"}
    assert named(result)["right"][1]
    right = next(c for c in result.cameras if c.name == "right")
    assert right.place_m == pytest.approx(shift, abs=0.015)
    assert PLACES[2][0] in sentences(result, DAY, 0.05)[0]
    assert f"{PLACES[2][1]} by" in steps_back(result)[0]


def _seen_from(observations, camera, shift):
    places = observations.points.planned_m
    before = camera.lens.project(camera.pose.transform(places))
    pose = camera.pose.perturbed(np.r_[shift, 0, 0, 0])
    moved = observations.points.pixels_px + camera.lens.project(pose.transform(places)) - before
    return replace(observations.points, pixels_px=moved)


def test_a_strip_that_was_said_to_lie_still(job):
    result = compared(two_checks(job, Between(relaid=False, moved=("left", 0.04))))
    assert result.strips_moved == ("left",)
    assert named(result) == {}
    assert len(sentences(result, DAY, 0.05)) == 1 + len(result.cameras)


def test_a_vehicle_that_leans_blames_no_camera(job):
    R = Rotation.from_rotvec(np.radians([1.0, 0.4, 0.0])).as_matrix()
    stance = Pose(R=R, t_m=np.array([0.0, 0.0, -0.05]))
    result = compared(two_checks(job, Between(stance=stance, relaid=False)))
    assert named(result) == {}
    vehicle = result.vehicle
    assert vehicle.significant
    assert vehicle.height_m == pytest.approx(-0.05, abs=4 * vehicle.height_sigma_m)
    assert np.degrees(vehicle.lean_rad) == pytest.approx(
        1.0, abs=4 * np.degrees(vehicle.lean_sigma_rad)
    )
    lines = sentences(result, DAY, 0.05)
    assert "lower" in lines[0]
    assert "to its right" in lines[0]
    assert len(steps_back(result)) == any(seam.breaks for seam in result.seams)


def test_days_that_are_the_same_are_told_apart_by_the_hour():
    then = datetime(2026, 3, 3, 9, 5)
    assert since_words(then, datetime(2026, 3, 4)) == DAY
    assert since_words(then, datetime(2026, 3, 3, 17)) == f"{DAY}, 09:05"


def test_a_few_marks_are_enough_and_say_so(job, still):
    few = compared(two_checks(job, Between(relaid=False, marks=5)))
    assert named(few) == {}
    all_of_them = {c.name: c.detectable_rad for c in compared(still).cameras}
    for camera in few.cameras:
        assert camera.detectable_rad > all_of_them[camera.name]
        assert np.degrees(camera.detectable_rad) < 1.5


def test_a_later_job_with_fewer_strips(still):
    """Two strips laid again for a quick look, under a job file of their own."""
    first, second = still
    strips = tuple(s for s in second.job.strips if s.name in ("front", "left"))
    job = replace(second.job, strips=strips, marks=())
    layout = planned_layout(job)
    ids = set(layout.ids)
    seen = tuple(_only(o, ids) for o in second.observations)
    adjustment = adjust(job, layout, seen)
    assert not isinstance(adjustment, NoFit)
    taking_part = {camera.name for camera in adjustment.cameras}
    observations = tuple(o for o in seen if o.name in taking_part)
    few = replace(second, job=job, observations=observations, adjustment=adjustment)
    result = compared((first, few))
    assert named(result) == {}
    # Of the rear camera's marks only the end of the left strip is there: too few.
    assert {"front", "left"} <= {camera.name for camera in result.cameras}
    assert {name for name, _ in result.not_compared} == {c.name for c in job.cameras} - taking_part


def _only(observations, ids):
    points = observations.points
    kept = points.only(np.array([mark_id in ids for mark_id in points.ids]))
    return replace(observations, points=kept)


def test_one_camera_alone_cannot_tell_its_turn_from_a_lean(still):
    def only(epoch: Epoch) -> Epoch:
        return replace(epoch, observations=epoch.observations[:1])

    (front,) = compared((only(still[0]), only(still[1]))).cameras
    assert np.degrees(front.detectable_rad) > 1.0
    (front,) = compared((only(still[0]), only(still[1])), Shared(untouched=True)).cameras
    assert np.degrees(front.detectable_rad) < 0.5


def test_a_strip_that_is_planned_otherwise_counts_as_laid_anew(still):
    first, second = still
    strips = second.job.strips
    longer = replace(strips[0], to_m=strips[0].to_m + np.array([0.5, 0]))
    other = replace(second, job=replace(second.job, strips=(longer, *strips[1:])))
    assert same_laying(first.job, other.job, strips[0].name) is False
    assert same_laying(first.job, other.job, strips[1].name) is True
    assert same_laying(first.job, other.job, "roof") is None


def test_a_camera_that_is_not_in_both(still):
    first, second = still
    result = compared((first, replace(second, observations=second.observations[1:])))
    assert result.not_compared == (("front", Reason("took-no-part", check="later")),)
    assert "front: not compared, it took no part in the later check" in sentences(result, DAY, 0.05)
    assert len(sentences(result, DAY, 0.05)) == len(result.cameras) + 1
    nothing = compare(first, replace(second, observations=()))
    assert isinstance(nothing, NoFit)
    assert nothing.code == "nothing-shared"
    larger = [
        replace(each, prior=replace(each.prior, guess=replace(each.prior.guess, width=2560)))
        for each in second.observations[:1]
    ]
    result = compared((first, replace(second, observations=(*larger, *second.observations[1:]))))
    sizes_px = ((1280, 720), (2560, 720))
    assert result.not_compared == (("front", Reason("sizes-differ", sizes_px=sizes_px)),)


def stated_otherwise(epoch: Epoch) -> Epoch:
    """The same check of a job that states the first camera's lens and place otherwise."""
    first, *others = epoch.observations
    stated = StatedLens(name="other", field_of_view_rad=float(np.radians(180)))
    guess = first.prior.guess
    camera, *cameras = epoch.job.cameras
    assert camera.name == first.name
    moved = replace(camera, position_m=camera.position_m + np.array([0.01, 0, 0]))
    return replace(
        epoch,
        job=replace(epoch.job, cameras=(moved, *cameras)),
        observations=(
            replace(first, prior=lens_prior(stated, guess.width, guess.height)),
            *others,
        ),
    )


def test_knowledge_of_a_lens_counts_once(still):
    kinds = Counter(group.kind for group in build_pair(still, ALL, False).network.groups())
    assert kinds["lens"] == kinds["mounting"] == 4
    # What the later job states otherwise is knowledge of its own.
    before, after = still
    network = build_pair((before, stated_otherwise(after)), ALL, False).network
    kinds = Counter(group.kind for group in network.groups())
    assert kinds["lens"] == kinds["mounting"] == 5


def test_shared_marks_have_one_set_of_unknowns(job, still):
    names = frozenset([*(s.name for s in job.strips), *(m.name for m in job.marks)])
    apart, together = (lay_out(still, shared).world for shared in (frozenset(), names))
    moves = 4 * len(job.strips)
    assert len(together.moves) == len(job.strips)
    assert not apart.moves
    assert together.size - moves < 0.6 * apart.size


def test_the_chance_that_a_change_is_seen():
    # Two-sided test of one normal at 5 %: 95 % power at (1.960 + 1.645)^2, any table of the normal.
    assert noncentrality(1, 0.05, SETTINGS.power) == pytest.approx(
        (1.95996 + 1.64485) ** 2, rel=1e-3
    )


class _Texts(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)

    def handle_data(self, data):
        self.text += data


def test_the_page_shows_hostile_names_as_text(still):
    result = compared(still)
    hostile = '<script>alert("x")</script>'
    cameras = (replace(result.cameras[0], name=hostile), *result.cameras[1:])
    base = KeptCheck(
        number=1,
        taken="2026-03-03T10:00:00+01:00",
        job_file="job.toml",
        job_text="",
        lens_files={},
        pictures=(),
        result={"job": hostile},
    )
    later = replace(base, number=2, taken="2026-04-03T10:00:00+02:00")
    page = comparison_page(base, [(later, replace(result, cameras=cameras))], [hostile], [hostile])
    parsed = _Texts()
    parsed.feed(page)
    assert "script" not in parsed.tags
    assert parsed.text.count(hostile) >= 4
    assert parsed.tags.count("svg") == 3 * len(cameras)
    assert CAUTION in page
    assert "http" not in page.replace("http-equiv", "")


def test_how_the_vehicle_stood_otherwise_is_said() -> None:
    then = {"vehicle_state": {"load": "empty", "doors": "shut", "mirrors": None}}
    now = {"vehicle_state": {"load": "two thousand books", "doors": "shut", "mirrors": "out"}}
    (line,) = state_sentences(then, now)
    assert "'empty'" in line
    assert "'two thousand books'" in line
    # A check kept before the state was recorded has nothing to say.
    assert state_sentences({}, now) == []

"""The joint adjustment on made-up jobs whose truth is drawn from the very sigmas they state.

Proves: analytic derivatives of all rows; elimination gives the step and covariance of the whole
matrix; the a-priori covariance describes the scatter of repeats; a shared type of lens narrows
every camera; one camera alone, degenerate layouts, unseen strips and no camera are answered; what
no picture can show is said. Does not prove: that marks are measured as well as they say, nor that
real tape deviates as the model has it. tests/accuracy/network.py does the same by the thousand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import block_diag

from tests.adjusting import (
    CAMERAS,
    FIELD_ONLY,
    JOB,
    LENS,
    LENS_SIGMA,
    SHARED,
    STRIPS,
    Scene,
    full_weights,
    panels,
    read,
    strip,
    whole,
)
from tests.dense import normal_inverse
from tests.differences import assert_rows_as_differences
from vision.adjustment.adjusted import Adjustment
from vision.adjustment.building import build_network
from vision.adjustment.elimination import reduce
from vision.adjustment.groups import Group
from vision.adjustment.search import adjust, usable
from vision.adjustment.solution import common_motion, datum_of
from vision.adjustment.solving import run, weights_of
from vision.adjustment.state import Weights, whiteners
from vision.camera.geometry import Aim
from vision.camera.solver import NoFit
from vision.camera.stated_lens import StatedLens
from vision.inspection.verdict.cameras import camera_verdict
from vision.inspection.verdict.causes import unobserved
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId


@pytest.mark.parametrize("case", ["own lenses", "shared lens", "readings"])
def test_derivatives_of_all_rows_match_central_differences(case: str) -> None:
    job, types = (SHARED, ["wide"]) if case == "shared lens" else (JOB, [])
    scene = Scene(job, np.random.default_rng(1))
    if case == "readings":
        job = read(scene, np.random.default_rng(2))
    network = build_network(job, scene.layout, scene.observations)
    assert [g.name for g in network.groups() if g.kind == "lens-type"] == types
    weights = Weights(
        whiteners=whiteners(network.points.covariance_px2),
        group_sigma={
            Group("strip", "left"): 1.0,
            Group("mounting", "rear"): 1.0,
            Group("lens", "front"): 10.0,
        },
    )
    rng = np.random.default_rng(2)
    state = network.start.moved(rng.normal(0, 1e-3, network.size))
    assert_rows_as_differences(network, weights, state, closeness=2e-6)


@pytest.mark.parametrize("case", ["readings", "shared lens", "panels"])
def test_elimination_gives_the_step_and_covariance_of_the_whole_matrix(case: str) -> None:
    scene = Scene(SHARED if case == "shared lens" else JOB, np.random.default_rng(1))
    job, observations = scene.job, scene.observations
    if case == "readings":
        job = read(scene, np.random.default_rng(2))
    if case == "panels":
        job, observations = panels(0.01)
    network = build_network(job, planned_layout(job), observations)
    weights = full_weights(network)
    r, jacobian = whole(network, weights, network.start)
    reduced = reduce(network.rows(network.seen(network.start), weights))
    assert reduced is not None
    covariance = reduced.covariance()
    assert covariance is not None
    assert reduced.chi2 == pytest.approx(r @ r)
    expected = normal_inverse(jacobian)
    assert expected is not None
    sigma = np.sqrt(np.diag(expected))
    count, size, kept = covariance.follows.shape
    follows = covariance.follows.reshape(count * size, kept)
    own = follows @ covariance.kept @ follows.T + block_diag(*covariance.own)
    cross = -covariance.kept @ follows.T
    found = np.block([[covariance.kept, cross], [cross.T, own]])
    np.testing.assert_allclose(
        found / np.outer(sigma, sigma), expected / np.outer(sigma, sigma), atol=1e-7
    )
    step, promised = reduced.step(1e-15)
    np.testing.assert_allclose(step / sigma, -expected @ jacobian.T @ r / sigma, atol=1e-6)
    assert promised == pytest.approx(r @ r - np.sum(np.square(r + jacobian @ step)), rel=1e-6)
    damped, promised = reduced.step(0.1)
    length = np.linalg.norm(jacobian, axis=0)
    inverse = normal_inverse(np.concatenate([jacobian, np.sqrt(0.1) * np.diag(length)]))
    assert inverse is not None
    np.testing.assert_allclose(damped * length, -inverse @ jacobian.T @ r * length, atol=1e-6)
    assert promised == pytest.approx(r @ r - np.sum(np.square(r + jacobian @ damped)), rel=1e-6)


def test_a_point_that_leaves_its_mark_open_has_no_linear_model() -> None:
    scene = Scene(JOB, np.random.default_rng(1))
    network = build_network(JOB, scene.layout, scene.observations)
    weights = full_weights(network)
    # One direction so sharp that the prior across it is below rounding.
    sharp = weights.whiteners.copy()
    sharp[0] = [[1e9, 0.0], [1e9, 0.0]]
    assert network.points.blocks[0] >= 0
    seen = network.seen(network.start)
    assert reduce(network.rows(seen, weights)) is not None
    assert reduce(network.rows(seen, replace(weights, whiteners=sharp))) is None


def test_points_beyond_the_lens_weigh_nothing() -> None:
    scene = Scene(JOB, np.random.default_rng(1))
    # dr/dtheta = 1 - 0.9 theta^2 ends at 60 degrees: many marks lie beyond.
    narrow = replace(LENS, k=np.array([-0.3, 0.0, 0.0, 0.0]))
    seen = tuple(replace(each, start=(each.start[0], narrow)) for each in scene.observations)
    network = build_network(JOB, scene.layout, seen)
    used = np.concatenate([usable(each) for each in seen])
    assert not used.all()
    weights = weights_of(whiteners(network.points.covariance_px2), used)
    residuals, jacobian = whole(network, weights, network.start)
    assert np.isfinite(residuals).all()
    assert np.isfinite(jacobian).all()
    assert isinstance(adjust(JOB, scene.layout, seen), Adjustment | NoFit)


def test_covariance_describes_the_scatter_of_repeats() -> None:
    job = replace(JOB, cameras=CAMERAS[:2], strips=(STRIPS[0], STRIPS[2]), marks=())
    rng = np.random.default_rng(6)
    squares, aims = [], []
    for _ in range(100):
        scene = Scene(job, rng)
        network = build_network(job, scene.layout, scene.observations)
        solution = run(network, full_weights(network), network.seen(network.start))
        assert not isinstance(solution, NoFit)
        place = solution.state.place_m[0]
        lens = solution.state.lens[0] - scene.lenses["front"].as_vector()
        error = np.concatenate([place - scene.poses["front"].camera_in_ground_m, lens])
        columns = np.r_[0:3, 6:14]
        covariance = solution.covariance.kept[np.ix_(columns, columns)]
        squares.append(error @ np.linalg.solve(covariance, error))
        aims.append(solution.state.pose(0).aim.minus(scene.poses["front"].aim))
        aim_sigma = np.sqrt(np.diag(solution.covariance.kept)[3:6]).max()
    # Mean of 100 chi-squares with 11 degrees of freedom: 11 +- 0.47.
    assert np.mean(squares) == pytest.approx(11, abs=2.0)
    assert 0.5 * aim_sigma < np.std(aims, axis=0).max() < 2.5 * aim_sigma


def test_aim_and_place_lie_within_their_sigmas() -> None:
    rng = np.random.default_rng(7)
    normalised = []
    for _ in range(5):
        scene = Scene(JOB, rng)
        result = scene.adjusted()
        for each in result.cameras:
            aim = each.aim.minus(scene.poses[each.name].aim)
            normalised.append(aim / each.aim_sigma_rad)
            normalised.append(scene.errors(result, each.name)[:3] / each.position_sigma_m)
            assert each.covariance.shape == (14, 14)
    assert 0.7 < np.sqrt(np.mean(np.square(normalised))) < 1.35
    joint = result.covariance_of("front", "left")
    np.testing.assert_array_equal(joint[:14, :14], result.camera("front").covariance)
    assert np.linalg.eigvalsh(joint).min() > 0


def test_one_camera_alone_and_strips_that_nobody_saw() -> None:
    scene = Scene(JOB, np.random.default_rng(8))
    left = scene.observations[1]
    result = adjust(JOB, scene.layout, (left,))
    assert isinstance(result, Adjustment)
    assert [each.name for each in result.cameras] == ["left"]
    assert result.freed == ()
    with pytest.raises(KeyError):
        result.camera("front")
    error, covariance = scene.errors(result, "left"), result.camera("left").covariance
    assert (np.abs(error) < 4 * np.sqrt(np.diag(covariance))).all()
    unseen = next(each for each in result.strips if each.name == "right")
    assert not unseen.seen
    assert unseen.mark_ids == ()
    np.testing.assert_array_equal(unseen.ends_m, [STRIPS[1].from_m, STRIPS[1].to_m])
    np.testing.assert_allclose(unseen.shift_sigma_m, 0.01 / np.sqrt(2))
    trestle = next(each for each in result.marks if each.name == "left_trestle")
    assert trestle.seen == (MarkId("left_trestle") in left.points.ids)


def test_no_camera_or_too_few_marks_is_no_fit() -> None:
    scene = Scene(JOB, np.random.default_rng(9))
    none = adjust(JOB, scene.layout, ())
    assert isinstance(none, NoFit)
    assert none.code == "no-camera"
    points = scene.observations[0].points
    two = replace(
        points,
        ids=points.ids[:2],
        planned_m=points.planned_m[:2],
        mark_sigma_m=points.mark_sigma_m[:2],
        pixels_px=points.pixels_px[:2],
        covariance_px2=points.covariance_px2[:2],
    )
    few = replace(scene.observations[0], points=two)
    assert isinstance(adjust(JOB, scene.layout, (few,)), NoFit)
    beside = adjust(JOB, scene.layout, (few, *scene.observations[1:]))
    assert isinstance(beside, Adjustment)
    assert "front" not in [each.name for each in beside.cameras]


def test_board_corners_move_and_turn_with_their_panel() -> None:
    turn_rad = 0.01
    job, observations = panels(turn_rad)
    result = adjust(job, planned_layout(job), observations)
    assert isinstance(result, Adjustment)
    assert result.freed == ()
    assert sum(int((~each.used).sum()) for each in result.cameras) == 0
    assert MarkId("right", 8) in result.mark_m
    spread = result.mark_m[MarkId("right", 8, 0, 3)] - result.mark_m[MarkId("right", 8, 0, 0)]
    # The strip itself may turn by a milliradian or two beside the panel's own turn.
    assert np.arctan2(spread[1], spread[0]) == pytest.approx(turn_rad, abs=0.006)


def test_a_panel_is_rigid_however_its_strip_is_laid() -> None:
    job, observations = panels(0.0)
    network = build_network(job, planned_layout(job), observations)
    corners = [MarkId("right", 8, row, column) for row in range(3) for column in range(4)]
    planned = {point.id: point.centre_m for point in planned_layout(job).points}
    places = np.array([planned[corner] for corner in corners])
    kept, _, _ = network.world.d_places([MarkId("right", 8)] * len(corners), places)
    ends = kept[:, :2, network.world.strips["right"]]
    off_m = places[:, :2] - places[:, :2].mean(axis=0)
    # Pulled along by its ends the strip gets longer, and its panels lie apart but do not stretch.
    stretch = np.array([-0.01, 0.0, 0.01, 0.0])
    assert np.ptp(ends @ stretch, axis=0) == pytest.approx([0, 0], abs=1e-12)
    # Turned by its ends it takes them along: 1 cm each way over its length.
    swing = np.array([0.0, -0.01, 0.0, 0.01])
    turn_rad = 0.02 / job.strips[1].length_m
    moved = ends @ swing - (ends @ swing).mean(axis=0)
    assert moved == pytest.approx(turn_rad * np.stack([-off_m[:, 1], off_m[:, 0]], axis=1))
    # A bow turns them as it slopes, and bends none.
    bow = kept[:, :2, network.world.bows["right"]]
    turned = bow - bow.mean(axis=0)
    slope = np.linalg.lstsq(off_m[:, :1], turned[:, 1], rcond=None)[0][0]
    assert turned == pytest.approx(slope * np.stack([-off_m[:, 1], off_m[:, 0]], axis=1))


def test_cameras_that_share_a_type_of_lens_narrow_each_other() -> None:
    scene = Scene(SHARED, np.random.default_rng(43), lens_sigma=np.zeros(8))
    own = replace(
        SHARED,
        cameras=CAMERAS,
        lenses=tuple(replace(SHARED.lenses[0], name=each.name) for each in CAMERAS),
    )
    together = scene.adjusted()
    apart = adjust(own, scene.layout, scene.observations)
    assert isinstance(apart, Adjustment)
    assert together.freed == apart.freed == ()
    for name in ("front", "left"):
        pairs = [each.camera(name).aim_covariance_rad2[1, 1] for each in (together, apart)]
        assert pairs[0] < pairs[1]
        off = together.camera(name).aim.minus(scene.poses[name].aim)
        sigma = together.camera(name).aim_sigma_rad
        assert (np.abs(off) < 3.5 * sigma).all()


LEFT = CAMERAS[1]
DEGENERATE = {
    "one strip": replace(JOB, cameras=(LEFT,), strips=(STRIPS[0],), marks=()),
    "four marks in line": replace(
        JOB, cameras=(LEFT,), strips=(strip("left", (-0.9, 1.9), (0.9, 1.9), 4),), marks=()
    ),
    "straight down": replace(
        JOB,
        cameras=(
            replace(LEFT, position_m=np.array([0, 1.9, 2.45]), aim=Aim.from_degrees(90, 90, 0)),
        ),
    ),
    "marks only close": replace(
        JOB,
        strips=(
            strip("left", (-1.2, 1.54), (1.2, 1.54), 7),
            strip("right", (-1, -1.54), (1, -1.54), 6),
        ),
        cameras=(CAMERAS[1], CAMERAS[3]),
        marks=(),
    ),
    "no shared marks": replace(
        JOB,
        strips=(
            strip("left", (-1.2, 1.9), (1.2, 1.9), 7),
            strip("front", (5.6, -1.0), (5.6, 1.0), 5),
            strip("rear", (-5.6, -1.0), (-5.6, 1.0), 5),
        ),
        cameras=CAMERAS[:3],
        marks=(),
    ),
}


@pytest.mark.parametrize("case", DEGENERATE)
@pytest.mark.parametrize("lenses", [JOB.lenses, FIELD_ONLY], ids=["fitted", "field of view"])
def test_degenerate_jobs_have_wide_and_true_sigmas(
    case: str, lenses: tuple[StatedLens, ...]
) -> None:
    job = replace(DEGENERATE[case], lenses=lenses)
    lens_sigma = LENS_SIGMA if lenses == JOB.lenses else np.zeros(8)
    squares, freed = [], 0
    for seed in range(12):
        scene = Scene(job, np.random.default_rng(500 + seed), lens_sigma=lens_sigma)
        result = scene.adjusted()
        freed += bool(result.freed or result.freed_alternatives)
        for each in result.cameras:
            error, covariance = scene.errors(result, each.name)[:6], each.covariance[:6, :6]
            squares.append(error @ np.linalg.solve(covariance, error))
            assert np.isfinite(each.position_sigma_m).all()
            stated = job.camera(each.name)
            verdict = camera_verdict(stated, each, job.tolerances)
            assert verdict.verdict in ("keep", "re-aim", "not-judged")
            if case == "straight down":
                # Pan and roll are one angle then, and neither can be judged.
                assert verdict.verdict == "not-judged"
            else:
                # No false precision: the lens's centre alone leaves the aim open by some tenths.
                assert np.degrees(np.sqrt(covariance[3, 3])) > 0.15
    assert freed <= 1
    # Six degrees of freedom; the mean of n chi-squares has sigma sqrt(12 / n), and a lens that is
    # stated by its field of view only is no draw from its prior here.
    assert np.mean(squares) < 6 + 4 * np.sqrt(12 / len(squares))


def test_no_picture_shows_a_common_shift_and_turn() -> None:
    scene = Scene(JOB, np.random.default_rng(51))
    network = build_network(JOB, scene.layout, scene.observations)
    solution = run(network, full_weights(network), network.seen(network.start))
    assert not isinstance(solution, NoFit)
    motion = common_motion(network, solution.state)
    rows = network.rows(solution.seen, full_weights(network))
    by_kept = network.by_kept(rows.by_camera, rows.by_world)
    # The marks' own deviations of some millimetres stay as they are when the ground turns.
    assert np.abs(by_kept @ motion).max() < 1e-2 * np.abs(by_kept[:, :, :3]).max()
    assert np.abs(by_kept @ motion[:, :2]).max() < 1e-9 * np.abs(by_kept[:, :, :3]).max()
    result = scene.adjusted()
    assert result.datum is not None
    # Eight ends at 1 cm, four mountings at 2 cm, two marks at 1 cm.
    expected = 0.01 / np.sqrt(8 + 1 + 2)
    assert result.datum.shift_sigma_m == pytest.approx((expected, expected), rel=0.1)
    scene.job = read(scene, np.random.default_rng(52))
    network = build_network(scene.job, scene.layout, scene.observations)
    solution = run(network, full_weights(network), network.seen(network.start))
    assert not isinstance(solution, NoFit)
    offset = datum_of(network, solution, full_weights(network))
    assert offset.shift_sigma_m[1] < 0.75 * expected
    # A strip that is doubted holds the layout less.
    doubted = replace(full_weights(network), group_sigma={Group("strip", "right"): 0.1})
    assert datum_of(network, solution, doubted).shift_sigma_m[1] > 1.02 * offset.shift_sigma_m[1]
    reason = unobserved(result)
    assert reason is not None
    assert reason.arguments["shift_sigma_m"] == result.datum.shift_sigma_m

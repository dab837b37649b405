"""A lens is recovered from board corners with no guess, and its stated uncertainty holds.

Proves: pictures of a 190-degree lens, seen out to 95 degrees, give back its eight parameters within
three sigma from three and one views, 30 random lenses each, and 10 from eight; a narrow
pinhole-like lens likewise; a bad picture and a bad corner are named, sound ones are not; corners
that err together widen the sigmas; the map and the advice point where no board was; boards that say
too little are no lens; two cameras are told apart, a foreign picture is named; sigmas hold for few
pictures of bent boards; a decentred lens is told. Does not prove: that corners are found in
pictures (see test_board_corners), nor anything of real lenses of another kind.

The reference is the simulation itself; chi-square points are from tables (8 degrees of freedom,
0.9973: 23.6).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.board_scenes import BOARD, HEIGHT, WIDTH, board_views, random_lens
from vision.calibration.board import Board, BoardView
from vision.calibration.bundle import KEPT, OWN, State, seen_from
from vision.calibration.curve_prior import CurvePrior
from vision.calibration.known import uncertainty_map
from vision.calibration.leave_out import leave_out
from vision.calibration.lens_fit import LensFit, fit_lens, refit
from vision.calibration.lens_quality import lens_report
from vision.calibration.lens_start import poses_for, starts, twins
from vision.calibration.padded import padded
from vision.calibration.reach import field_of_view
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.solver import NoFit
from vision.units.arrays import Array

THREE_SIGMA_CHI2 = 23.6
GROUPS = ("first", "second")


def fitted(views: list[BoardView], width: int = WIDTH, height: int = HEIGHT) -> LensFit:
    fit = fit_lens(views, width, height)
    assert isinstance(fit, LensFit), fit
    return fit


def replace_focal(lens: Lens, factor: float) -> Lens:
    return lens.with_vector(lens.as_vector() * [factor, factor, *[1] * 6])


def turned_way(rng: np.random.Generator) -> Array:
    angle = rng.uniform(0, np.pi)
    return np.array([np.cos(angle), np.sin(angle), 0.0])


def board_views_with_poses(
    rng: np.random.Generator, lens: Lens, count: int
) -> list[tuple[BoardView, Pose]]:
    """Views of flat boards with the poses that show them, from their noise-free corners."""
    views = board_views(rng, lens, count, sigma_px=1e-6)
    exact = [replace(v, covariance_px2=np.tile(0.05**2 * np.eye(2), (len(v), 1, 1))) for v in views]
    poses, _ = poses_for(lens, padded(exact))
    return [(v, Pose(R=p[:, :3], t_m=p[:, 3])) for v, p in zip(exact, poses, strict=True)]


def off(fit: LensFit, lens: Lens) -> Array:
    return fit.lens.as_vector() - lens.as_vector()


@pytest.mark.parametrize(("count", "lenses"), [(8, 10), (3, 30), (1, 30)])
def test_random_lenses_from_no_guess(count: int, lenses: int) -> None:
    furthest = []
    for seed in range(lenses):
        rng = np.random.default_rng(seed)
        lens = random_lens(rng)
        views = board_views(rng, lens, count, reach_rad=np.radians(85))
        fit = fitted(views)
        step = off(fit, lens)
        assert step @ np.linalg.solve(fit.covariance, step) < THREE_SIGMA_CHI2, seed
        rays = np.concatenate([lens.unproject(view.pixels_px) for view in views])
        furthest.append(np.degrees(np.arccos(rays[:, 2].min())))
    assert min(furthest) > 85
    assert np.median(furthest) > 90
    assert max(furthest) > 95


def test_thirty_lenses_from_one_view() -> None:
    for seed in range(30):
        rng = np.random.default_rng(seed)
        lens = random_lens(rng)
        fit = fitted(board_views(rng, lens, 1))
        # One view leaves a curved valley: each parameter holds, their ellipsoid is only nearly one.
        assert (np.abs(off(fit, lens)) < 3 * fit.sigma).all(), seed


def test_a_lens_that_is_nearly_a_pinhole() -> None:
    # tan(theta) to theta^9: 1/3, 2/15, 17/315, 62/2835 (any table of series).
    k = np.array([1 / 3, 2 / 15, 17 / 315, 62 / 2835])
    lens = Lens(width=640, height=480, fx=536.0, fy=536.0, cx=342.0, cy=235.0, k=k)
    rng = np.random.default_rng(5)
    views = board_views(rng, lens, 10, distance_m=0.45, furthest_rad=0.35)
    fit = fitted(views, 640, 480)
    assert (np.abs(off(fit, lens))[:4] < 3 * fit.sigma[:4]).all()
    assert fit.sigma[0] < 2


def test_the_start_alone_is_near_and_needs_no_z() -> None:
    rng = np.random.default_rng(2)
    lens = random_lens(rng)
    best = starts(padded(board_views(rng, lens, 6)), WIDTH, HEIGHT)[0]
    assert best.lens.fx == pytest.approx(lens.fx, rel=0.2)


def test_poses_of_boards_beside_and_behind_the_camera() -> None:
    lens = Lens(width=WIDTH, height=HEIGHT, fx=380.0, fy=380.0, cx=639.5, cy=359.5)
    for middle_deg in (0, 60, 90, 100):
        angle = np.radians(middle_deg)
        sight = np.array([np.sin(angle), 0.0, np.cos(angle)])
        R = np.stack([[0.0, 1.0, 0.0], np.cross(sight, [0.0, 1.0, 0.0]), sight], axis=-1)
        pose = Pose(R=R, t_m=0.4 * sight).perturbed(np.array([0, 0, 0, 0.3, 0.35, 0.1]))
        pixels = lens.project(pose.transform(BOARD.points_m))
        n = len(pixels)
        view = BoardView(
            name="v",
            board_m=BOARD.points_m,
            pixels_px=pixels,
            covariance_px2=np.tile(np.eye(2), (n, 1, 1)),
        )
        found, rms = poses_for(lens, padded([view]))
        assert rms[0] < 1e-6
        np.testing.assert_allclose(found[0, :, 3], pose.t_m, atol=1e-8)


def test_the_twin_looks_the_same_from_afar() -> None:
    rng = np.random.default_rng(1)
    lens = random_lens(rng)
    R = Pose.at(np.zeros(3), np.eye(3)).perturbed(np.array([0, 0, 0, 0.4, -0.3, 0.2])).R
    pose = Pose(R=R, t_m=np.array([1.0, 2.0, 30.0]))
    [other] = twins(np.column_stack([pose.R, pose.t_m])[None])
    twin = Pose(R=other[:, :3], t_m=other[:, 3])
    away = lens.project(twin.transform(BOARD.points_m))
    assert np.abs(away - lens.project(pose.transform(BOARD.points_m))).max() < 0.02


def test_the_prior_s_derivatives() -> None:
    rng = np.random.default_rng(0)
    lens = random_lens(rng)
    prior = CurvePrior(width=WIDTH, height=HEIGHT, edge_rad=1.6)
    _, rows = prior.rows(lens.as_vector())
    for each in range(8):
        step = np.zeros(8)
        step[each] = 1e-5 * max(1.0, abs(lens.as_vector()[each]))
        up, _ = prior.rows(lens.as_vector() + step)
        down, _ = prior.rows(lens.as_vector() - step)
        numeric = (up - down) / (2 * step[each])
        np.testing.assert_allclose(rows[:, each], numeric, rtol=1e-6, atol=1e-7)


def test_sound_pictures_are_not_named_and_a_bad_one_is() -> None:
    rng = np.random.default_rng(3)
    lens = random_lens(rng)
    views = board_views(rng, lens, 8)
    sound = lens_report(views, WIDTH, HEIGHT)
    assert not isinstance(sound, NoFit)
    assert [each.finding for each in sound.tests] == [""] * 8
    assert sound.held_out_px == pytest.approx(0.05 * np.sqrt(2), rel=0.25)
    bent = BOARD.points_m + [0, 0, 1] * (0.004 * (BOARD.points_m[:, :1] / 0.1) ** 2)
    pose = sound.fit.poses[4]
    pixels = lens.project(pose.transform(bent)) + rng.normal(0, 0.05, (len(bent), 2))
    views[4] = replace(views[4], pixels_px=pixels)
    report = lens_report(views, WIDTH, HEIGHT)
    assert not isinstance(report, NoFit)
    assert [each.finding for each in report.tests] == ["", "", "", "", "picture", "", "", ""]
    assert len(report.fit.views) == 7


def test_a_bad_corner_is_left_out_and_its_picture_kept_and_named() -> None:
    rng = np.random.default_rng(4)
    lens = random_lens(rng)
    views = board_views(rng, lens, 6)
    pixels = views[2].pixels_px.copy()
    pixels[7] += [4.0, -3.0]
    views[2] = replace(views[2], pixels_px=pixels)
    report = lens_report(views, WIDTH, HEIGHT)
    assert not isinstance(report, NoFit)
    assert [each.finding for each in report.tests] == ["", "", "corners", "", "", ""]
    assert not report.fit.used[2][7]
    step = off(report.fit, lens)
    assert step @ np.linalg.solve(report.fit.covariance, step) < THREE_SIGMA_CHI2


def test_corners_that_err_together_widen_the_sigmas() -> None:
    rng = np.random.default_rng(6)
    lens = random_lens(rng)
    plain = board_views(rng, lens, 10)
    # A smooth error over each board, as of a print that has stretched here and there.
    grid = BOARD.points_m[:, :2] / 0.1
    views = []
    for view in plain:
        wave = np.sin(grid @ rng.normal(0, 2, (2, 2)) + rng.uniform(0, 6, 2))
        views.append(replace(view, pixels_px=view.pixels_px + 0.3 * wave))
    sound, report = lens_report(plain, WIDTH, HEIGHT), lens_report(views, WIDTH, HEIGHT)
    assert not isinstance(sound, NoFit)
    assert not isinstance(report, NoFit)
    assert report.fit.extra_sigma_px > sound.fit.extra_sigma_px + 0.05
    assert (report.fit.sigma[:4] > 1.5 * sound.fit.sigma[:4]).all()
    assert (np.abs(off(report.fit, lens))[:4] < 3 * report.fit.sigma[:4]).all()


def test_the_map_and_the_advice_point_where_no_board_was() -> None:
    rng = np.random.default_rng(7)
    lens = random_lens(rng)
    views = board_views(rng, lens, 6, distance_m=0.4, furthest_rad=0.3)
    report = lens_report(views, WIDTH, HEIGHT)
    assert not isinstance(report, NoFit)
    sigma = report.map.sigma_px
    assert min(sigma[2, 0], sigma[2, -1]) > 5 * sigma[2, 4]
    assert report.next_place is not None
    assert report.next_place.column in (0, 8) or report.next_place.row in (0, 4)
    assert not report.next_place.reached
    assert not report.map.reached[2, 0]


def test_the_map_does_not_count_what_a_turn_absorbs() -> None:
    lens = Lens(width=WIDTH, height=HEIGHT, fx=4000.0, fy=4000.0, cx=639.5, cy=359.5)
    shift = np.diag([0, 0, 100.0, 100.0, 0, 0, 0, 0])
    # In a narrow picture a moved centre is a turned camera, and little else.
    assert np.nanmax(uncertainty_map(lens, shift).sigma_px) < 0.5


def test_no_views_is_an_answer() -> None:
    none = fit_lens([], WIDTH, HEIGHT)
    assert isinstance(none, NoFit)
    assert none.code == "too-few-boards"


def test_one_far_board_square_on_is_not_enough() -> None:
    lens = Lens(width=WIDTH, height=HEIGHT, fx=380.0, fy=380.0, cx=639.5, cy=359.5)
    pose = Pose(R=np.eye(3), t_m=np.array([0.0, 0.0, 1.5]))
    pixels = lens.project(pose.transform(BOARD.points_m))
    view = BoardView(
        name="v",
        board_m=BOARD.points_m,
        pixels_px=pixels,
        covariance_px2=np.tile(0.05**2 * np.eye(2), (len(pixels), 1, 1)),
    )
    report = lens_report([view], WIDTH, HEIGHT)
    assert isinstance(report, NoFit)
    assert report.code == "undetermined"


def test_impossible_boards_are_refused() -> None:
    with pytest.raises(ValueError, match="inner corners"):
        Board(columns=2, rows=9, square_m=0.02)
    with pytest.raises(ValueError, match="square_m"):
        Board(columns=9, rows=6, square_m=0.0)


def test_two_cameras_are_told_apart() -> None:
    rng = np.random.default_rng(11)
    lenses = [random_lens(rng), replace_focal(random_lens(rng), 1.15)]
    views = []
    for camera, lens in zip("ab", lenses, strict=True):
        views += [replace(v, name=f"{camera}{v.name}") for v in board_views(rng, lens, 5)]
    report = lens_report(views, WIDTH, HEIGHT)
    assert isinstance(report, NoFit)
    assert report.code == "two-lenses"
    groups = {frozenset(str(name)[0] for name in report.reason.arguments[g]) for g in GROUPS}
    assert groups == {frozenset("a"), frozenset("b")}


def test_one_foreign_picture_is_left_out_and_named() -> None:
    rng = np.random.default_rng(12)
    lens, other = random_lens(rng), replace_focal(random_lens(rng), 0.85)
    views = board_views(rng, lens, 8)
    views.insert(3, replace(board_views(rng, other, 1)[0], name="stranger"))
    report = lens_report(views, WIDTH, HEIGHT)
    assert not isinstance(report, NoFit)
    assert {each.name for each in report.tests if each.finding} == {"stranger"}
    assert len(report.fit.views) == 8
    assert (np.abs(off(report.fit, lens)) < 3.5 * report.fit.sigma).all()


def test_pictures_of_no_lens_are_refused() -> None:
    rng = np.random.default_rng(13)
    lens = random_lens(rng)
    views = [
        replace(v, pixels_px=v.pixels_px + rng.normal(0, 4, v.pixels_px.shape))
        for v in board_views(rng, lens, 6)
    ]
    report = lens_report(views, WIDTH, HEIGHT)
    assert isinstance(report, NoFit)


@pytest.mark.parametrize(("count", "seeds"), [(1, 24), (2, 16), (4, 12)])
def test_sigmas_of_few_pictures_of_bent_boards_hold(count: int, seeds: int) -> None:
    """Without what boards bend, errors of the focal length come to several sigmas each."""
    scores = []
    for seed in range(seeds):
        rng = np.random.default_rng(100 * count + seed)
        lens = random_lens(rng)
        bent = BOARD.points_m.copy()
        bent[:, 2] = rng.uniform(-0.002, 0.002) * (bent @ turned_way(rng) / 0.1) ** 2
        views = [
            replace(v, pixels_px=lens.project(pose.transform(bent)) + rng.normal(0, 0.05, (54, 2)))
            for v, pose in board_views_with_poses(rng, lens, count)
        ]
        fit = fitted(views)
        scores.append(off(fit, lens)[:4] / fit.sigma[:4])
    rms = np.sqrt(np.mean(np.square(scores), axis=0))
    # A chi of so many: 1 +- 0.7 / sqrt(seeds), three of them.
    assert (rms < 1 + 2.1 / np.sqrt(seeds)).all(), rms


def test_leaving_out_a_view_is_what_fitting_the_others_gives() -> None:
    rng = np.random.default_rng(14)
    lens = random_lens(rng)
    fit = fitted(board_views(rng, lens, 7))
    judged = leave_out(fit)
    others = refit(fit.views[1:], fit.prior, fit.lens)
    assert isinstance(others, LensFit)
    moved = judged.lenses[0] - others.lens.as_vector()
    assert np.abs(moved / others.sigma).max() < 0.5
    pixels = fit.views[0].pixels_px
    poses, _ = poses_for(others.lens, padded([fit.views[0]]))
    pose = Pose(R=poses[0, :, :3], t_m=poses[0, :, 3])
    left = pixels - others.lens.project(pose.transform(fit.views[0].board_m))
    rms = np.sqrt(np.square(left).sum(axis=-1).mean())
    assert judged.rms_px[0] == pytest.approx(rms, rel=0.1)


def test_derivatives_of_the_bundle() -> None:
    rng = np.random.default_rng(15)
    lens = random_lens(rng)
    views = board_views(rng, lens, 2)
    boards = padded(views)
    poses, _ = poses_for(lens, boards)
    state = State(
        lens=lens.as_vector(),
        shape=np.array([0.01, -0.02, 0.005, 0.002, -0.001]),
        poses=poses,
        bends=rng.normal(0, 0.01, (2, 3)),
    )
    seen = seen_from(boards, state)
    unit = np.array([1e-2, 1e-2, 1e-2, 1e-2, *[1e-5] * 9, *[1e-6] * 9, *[1e-6] * 9])
    for each in range(KEPT + 2 * OWN):
        step = np.zeros(KEPT + 2 * OWN)
        step[each] = unit[each]
        up, down = (seen_from(boards, state.moved(s * step)).off_px for s in (1, -1))
        numeric = (up - down) / (2 * unit[each])
        if each < KEPT:
            analytic = seen.by_kept[..., each]
        else:
            view, own = divmod(each - KEPT, OWN)
            analytic = np.zeros_like(numeric)
            analytic[view] = seen.by_own[view, ..., own]
        scale = np.abs(analytic).max()
        np.testing.assert_allclose(numeric, analytic, atol=1e-5 * scale + 1e-7)


def test_a_lens_of_another_kind_is_told() -> None:
    """Decentred by half a hundredth, as Brown's terms have it."""
    rng = np.random.default_rng(16)
    lens = random_lens(rng)
    views = []
    for v in board_views(rng, lens, 10):
        x, y = ((v.pixels_px - [lens.cx, lens.cy]) / [lens.fx, lens.fy] / 1.66).T
        move = 0.005 * lens.fx * np.stack([3 * x * x + y * y, 2 * x * y], axis=-1)
        views.append(replace(v, pixels_px=v.pixels_px + move))
    report = lens_report(views, WIDTH, HEIGHT)
    assert not isinstance(report, NoFit)
    assert report.model_error is not None
    assert report.model_error.rim_px > 0.1
    assert report.model_error.covariance[2, 2] > 0


def test_the_field_of_view_and_its_sigma() -> None:
    rng = np.random.default_rng(17)
    lens = random_lens(rng)
    fit = fitted(board_views(rng, lens, 6))
    field = field_of_view(fit.lens, fit.covariance)
    assert field is not None
    draws = rng.multivariate_normal(fit.lens.as_vector(), fit.covariance, 300)
    angles = [field_of_view(fit.lens.with_vector(d), fit.covariance) for d in draws]
    spread = np.std([each.angle_rad for each in angles if each is not None])
    assert field.sigma_rad == pytest.approx(spread, rel=0.15)

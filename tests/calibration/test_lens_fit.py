"""A lens is recovered from board corners with no guess, and its stated uncertainty holds.

Proves: pictures of a 190-degree lens, seen out to 95 degrees, give back its eight parameters within
three sigma from three and one views, 30 random lenses each, and 10 from eight; a narrow
pinhole-like lens likewise; a bad picture and a bad corner are named, sound ones are not; corners
that err together widen the sigmas; the map and the advice point where no board was; boards that say
too little are no lens. Does not prove: that corners are found in pictures (see
test_board_corners), nor anything of real lenses of another kind.

The reference is the simulation itself; chi-square points are from tables (8 degrees of freedom,
0.9973: 23.6).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.board_scenes import BOARD, HEIGHT, WIDTH, board_views, random_lens
from vision.calibration.board import Board, BoardView
from vision.calibration.lens_fit import CurvePrior, LensFit, fit_lens
from vision.calibration.lens_quality import lens_report, uncertainty_map
from vision.calibration.lens_start import poses_for, starts, twins
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.solver import NoFit
from vision.units.arrays import Array

THREE_SIGMA_CHI2 = 23.6


def fitted(views: list[BoardView], width: int = WIDTH, height: int = HEIGHT) -> LensFit:
    fit = fit_lens(views, width, height)
    assert isinstance(fit, LensFit), fit
    return fit


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
    best = starts(board_views(rng, lens, 6), WIDTH, HEIGHT)[0]
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
        found, rms = poses_for(lens, [view])
        assert rms[0] < 1e-6
        np.testing.assert_allclose(found[0].t_m, pose.t_m, atol=1e-8)


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
    report = lens_report(views, WIDTH, HEIGHT)
    assert not isinstance(report, NoFit)
    assert report.fit.extra_sigma_px > 0.1
    assert report.view_factor > 1.5
    assert (np.abs(off(report.fit, lens))[:4] < 3 * report.fit.sigma[:4]).all()


def test_the_map_and_the_advice_point_where_no_board_was() -> None:
    rng = np.random.default_rng(7)
    lens = random_lens(rng)
    views = board_views(rng, lens, 6, distance_m=0.4, furthest_rad=0.3)
    report = lens_report(views, WIDTH, HEIGHT)
    assert not isinstance(report, NoFit)
    sigma = report.map.sigma_px
    assert min(sigma[2, 0], sigma[2, -1]) > 5 * sigma[2, 4]
    assert "corner" in report.advice or "edge" in report.advice


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

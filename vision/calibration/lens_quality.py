"""How good a fitted lens is: pictures that do not fit, held-out errors, and where it is uncertain.

Each view is predicted by a lens fitted to all the others: only its pose is its own. What is left is
compared with what the corners' sigmas and that lens's covariance allow, so that a board held where
no other was is not blamed for the lens's ignorance. A view is named where it leaves much more than
its fellows do; their own spread sets the scale, since pictures differ in blur and light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag

from vision.calibration.board import BoardView
from vision.calibration.lens_fit import LensFit, fit_lens, refit
from vision.calibration.lens_start import poses_for
from vision.camera.geometry import Pose, cross_matrix
from vision.camera.lens import Lens
from vision.camera.solver import NoFit
from vision.camera.statistics import student_limit
from vision.units.arrays import Array, Flags, frozen_array
from vision.units.reason import Reason

FAMILY_LEVEL = 0.02
"""Chance that any picture at all is named when none is at fault."""

FEWEST_VIEWS_TO_TEST = 4
LEAST_LOG_SPREAD = 0.25
"""Of chi-square between sound pictures: few of them may happen to agree perfectly."""

LARGEST_FOCAL_SIGMA = 0.10
"""Of the focal length; a lens known less well is no better than a stated field of view."""

LARGEST_SHARE_LEFT_OUT = 1 / 3
LEAST_SHARE_USED = 0.85
"""With fewer of its corners in use it is the picture that is off and not some corners."""

MAP_COLUMNS, MAP_ROWS = 9, 5
FURTHEST_RAD = float(np.radians(110))
GOOD_ENOUGH_PX = 0.2
FEWEST_VIEWS_TO_SPREAD = 5
SPREAD_SCORE = 3.5
"""Standard deviations by which the lens's spread between pictures must exceed its stated one."""

UPRIGHT_RAD = float(np.radians(15))


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewTest:
    """One picture against a lens fitted without it.

    `rms_px` of its residual lengths; `chi2_all` over degrees of freedom with all its corners, and
    `chi2_used` with those the joint fit used. `finding`: '' (fits), 'corners' (some corners are
    off, the rest fits) or 'picture' (left out). NaN where there is no such figure.
    """

    name: str
    corners: int
    used: int
    rms_px: float = np.nan
    chi2_all: float = np.nan
    chi2_used: float = np.nan
    finding: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UncertaintyMap:
    """Sigma of the projection over the picture, in px: `sigma_px` (rows, columns), NaN where the
    lens cannot see, at `pixels_px` (rows, columns, 2). The larger axis of the ellipse, after the
    turn of the camera that absorbs most of it: a pose found later would absorb the same.
    """  # noqa: D205

    pixels_px: Array
    sigma_px: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LensReport:
    """A fitted lens and what there is to say of it; `tests` in the order of the pictures.

    `view_factor` is what the covariance of `fit` was multiplied by, 1 or more; see `view_factor`.
    """

    fit: LensFit
    tests: tuple[ViewTest, ...]
    held_out_px: float
    view_factor: float
    map: UncertaintyMap
    advice: str


def lens_report(views: Sequence[BoardView], width: int, height: int) -> LensReport | NoFit:
    """Fit a lens, leave out pictures that fail their test, and judge what remains.

    Pictures that were left out are tried again at the end: a bad one may have spoilt the lens by
    which a good one was judged. NoFit codes: those of `fit_lens`, and 'undetermined' where the
    boards leave the focal length open.
    """
    fit = fit_lens(views, width, height)
    if isinstance(fit, NoFit):
        return fit if fit.code == "too-few-boards" else _open()
    out: list[BoardView] = []
    tests, lenses = held_out(fit)
    for _ in range(int(len(fit.views) * LARGEST_SHARE_LEFT_OUT)):
        above = _above(tests, [each.chi2_used for each in tests])
        worst = int(np.argmax(above))
        smaller = _without(fit, worst) if above[worst] > 0 else None
        if not isinstance(smaller, LensFit):
            break
        out.append(fit.views[worst])
        fit = smaller
        tests, lenses = held_out(fit)
    back, left_out = _tried_again(fit, tests, out)
    if back is not None:
        fit = back
        tests, lenses = held_out(fit)
    factor = view_factor(fit, lenses)
    covariance = frozen_array(fit.covariance * factor, (8, 8), "covariance")
    fit = replace(fit, covariance=covariance)
    share = float(fit.sigma[0]) / fit.lens.fx
    if share > LARGEST_FOCAL_SIGMA:
        return _open(share)
    names = [view.name for view in views]
    named = sorted([*_named(tests), *left_out], key=lambda each: names.index(each.name))
    sigma = uncertainty_map(fit.lens, fit.covariance)
    kept = np.array([each.rms_px for each in tests if np.isfinite(each.rms_px)])
    return LensReport(
        fit=fit,
        tests=tuple(named),
        held_out_px=float(np.sqrt(np.mean(kept**2))) if len(kept) else float("nan"),
        view_factor=factor,
        map=sigma,
        advice=advice(fit, sigma),
    )


def _open(share: float | None = None) -> NoFit:
    return NoFit(reason=Reason("undetermined", sigma_share=share))


def held_out(fit: LensFit) -> tuple[tuple[ViewTest, ...], Array]:
    """Test each view against a lens fitted to the others; a single view against its own half.

    Also gives those lenses as vectors (v, 8), NaN where there is none.
    """
    if len(fit.views) == 1:
        return (_halves(fit),), np.full((1, 8), np.nan)
    tests, lenses = [], np.full((len(fit.views), 8), np.nan)
    for row, view in enumerate(fit.views):
        others = _without(fit, row)
        tests.append(_view_test(view, fit.used[row], others))
        if not isinstance(others, NoFit):
            lenses[row] = others.lens.as_vector()
    return tuple(tests), lenses


def view_factor(fit: LensFit, lenses: Array) -> float:
    """How much larger than stated the variance of the lens is, by leaving out each view (v, 8).

    Corners of one picture err together (a bent board, a lens of slightly another kind), which
    their own sigmas cannot show. The jackknife over pictures does (Efron, "The jackknife, the
    bootstrap and other resampling plans", 1982, eq. 3.4); it is compared in the focal lengths and
    the centre, which the boards and not the prior determine. 1 where the two agree within what so
    few pictures can tell.
    """
    lenses = lenses[np.isfinite(lenses).all(axis=1), :4]
    count = len(lenses)
    if count < FEWEST_VIEWS_TO_SPREAD:
        return 1.0
    off = lenses - lenses.mean(axis=0)
    spread = (count - 1) / count * off.T @ off
    ratio = float(np.trace(np.linalg.solve(fit.covariance[:4, :4], spread))) / 4
    chance = float(np.sqrt(2 / (4 * (count - 1))))
    return ratio if ratio > 1 + SPREAD_SCORE * chance else 1.0


def uncertainty_map(lens: Lens, covariance: Array) -> UncertaintyMap:
    """Sigma of the projection at cell centres of a grid over the picture."""
    u = (np.arange(MAP_COLUMNS) + 0.5) / MAP_COLUMNS * lens.width - 0.5
    v = (np.arange(MAP_ROWS) + 0.5) / MAP_ROWS * lens.height - 0.5
    pixels = np.stack(np.meshgrid(u, v), axis=-1)
    rays = lens.unproject(pixels)
    seen = np.isfinite(rays).all(axis=-1)
    seen &= np.arccos(np.clip(np.nan_to_num(rays[..., 2]), -1, 1)) <= FURTHEST_RAD
    sigma = np.full(seen.shape, np.nan)
    if seen.any():
        _, d_point, d_lens = lens.project_with_derivatives(rays[seen])
        turn = (d_point @ cross_matrix(rays[seen])).reshape(-1, 3)
        J: Array = d_lens.reshape(-1, 8)
        J = J - turn @ np.linalg.lstsq(turn, J, rcond=None)[0]
        J = J.reshape(-1, 2, 8)
        ellipse = J @ covariance @ np.swapaxes(J, 1, 2)
        sigma[seen] = np.sqrt(np.linalg.eigvalsh(ellipse)[:, -1])
    return UncertaintyMap(pixels_px=pixels, sigma_px=sigma)


def advice(fit: LensFit, sigma: UncertaintyMap) -> str:
    """One sentence: where to hold the board in the next picture, and why."""
    worst = np.nanmax(sigma.sigma_px)
    row, column = np.unravel_index(int(np.nanargmax(sigma.sigma_px)), sigma.sigma_px.shape)
    if worst <= GOOD_ENOUGH_PX:
        return f"the lens is known to {worst:.2f} px all over the picture: no more is needed"
    leaning = max(_lean(view, pose) for view, pose in zip(fit.views, fit.poses, strict=True))
    how = "leaning some 30 degrees" if leaning < UPRIGHT_RAD else "leaning another way than before"
    place = _zone(row / (MAP_ROWS - 1), column / (MAP_COLUMNS - 1))
    return (
        f"hold the board next {place}, filling a quarter of the picture and {how}: there the lens "
        f"is known to {worst:.2f} px only"
    )


def _zone(down: float, across: float) -> str:
    height = "top" if down < 0.3 else "bottom" if down > 0.7 else ""
    side = "left" if across < 0.3 else "right" if across > 0.7 else ""
    if height and side:
        return f"in the picture's {height} {side} corner"
    return f"at the picture's {height or side} edge" if height or side else "in mid-picture"


def _lean(view: BoardView, pose: Pose) -> float:
    """Angle between the board's normal and the sight to its middle, in [0, pi / 2]."""
    sight = pose.transform(view.board_m.mean(axis=0))
    cosine = abs(float(pose.R[:, 2] @ sight)) / max(float(np.linalg.norm(sight)), 1e-12)
    return float(np.arccos(min(1.0, cosine)))


def _without(fit: LensFit, row: int) -> LensFit | NoFit:
    keep = [each for each in range(len(fit.views)) if each != row]
    views = [fit.views[each] for each in keep]
    return refit(views, fit.prior, (fit.lens, tuple(fit.poses[each] for each in keep)))


def _view_test(view: BoardView, used: Flags, others: LensFit | NoFit) -> ViewTest:
    test = ViewTest(name=view.name, corners=len(view), used=int(used.sum()))
    if isinstance(others, NoFit):
        return test
    rms, everything = _left_over(view, others)
    part = everything
    if not used.all() and used.mean() >= LEAST_SHARE_USED:
        rms, part = _left_over(view.chosen(used), others)
    return replace(test, rms_px=rms, chi2_all=everything, chi2_used=part)


def _left_over(view: BoardView, fit: LensFit) -> tuple[float, float]:
    """RMS in px and chi-square over freedom of a view that took no part in `fit`."""
    poses, _ = poses_for(fit.lens, [view])
    pose = poses[0]
    pixels, d_point, d_lens = fit.lens.project_with_derivatives(pose.transform(view.board_m))
    if not np.isfinite(pixels).all():
        return float("inf"), float("inf")
    n = 2 * len(view)
    residual = (view.pixels_px - pixels).ravel()
    J = d_lens.reshape(n, 8)
    own = view.covariance_px2 + fit.extra_sigma_px**2 * np.eye(2)
    total = J @ fit.covariance @ J.T + block_diag(*own)
    root = np.linalg.inv(np.linalg.cholesky(total))
    A = root @ (d_point @ pose.d_point_d_pose(view.board_m)).reshape(n, 6)
    white = root @ residual
    white = white - A @ np.linalg.lstsq(A, white, rcond=None)[0]
    rms = float(np.sqrt(residual @ residual / len(view)))
    return rms, float(white @ white) / (n - 6)


def _halves(fit: LensFit) -> ViewTest:
    """Predict every other corner of the only view by a lens fitted to the rest."""
    view, used = fit.views[0], fit.used[0]
    square = np.zeros(2)
    for first in (0, 1):
        half = np.arange(len(view)) % 2 == first
        found = refit([view.chosen(half & used)], fit.prior, (fit.lens, fit.poses))
        if isinstance(found, NoFit):
            square += np.nan
            continue
        rest = view.chosen(~half & used)
        off = rest.pixels_px - found.lens.project(found.poses[0].transform(rest.board_m))
        square += np.array([np.square(off).sum(), len(rest)])
    rms = float(np.sqrt(square[0] / square[1]))
    return ViewTest(name=view.name, corners=len(view), used=int(used.sum()), rms_px=rms)


def _above(tests: Sequence[ViewTest], chi2: Sequence[float]) -> Array:
    """Each view's robust distance above its fellows, less the limit of the whole family."""
    if len(tests) < FEWEST_VIEWS_TO_TEST:
        return np.full(len(chi2), -np.inf)
    base = np.log(np.maximum([each.chi2_used for each in tests], 1e-9))
    base = base[np.isfinite(base)]
    middle = np.median(base)
    freedom = np.array([max(1, 2 * each.used - 6) for each in tests])
    spread = max(
        1.4826 * float(np.median(np.abs(base - middle))),
        LEAST_LOG_SPREAD,
        float(np.sqrt(2 / np.median(freedom))),
    )
    score = (np.log(np.maximum(chi2, 1e-9)) - middle) / spread
    score = np.where(np.isnan(score), -np.inf, score)
    limit = student_limit(1 - FAMILY_LEVEL / len(tests), max(1, len(tests) - 1))
    return np.asarray(score - limit)


def _named(tests: Sequence[ViewTest]) -> list[ViewTest]:
    """Say which of the views that take part have corners that are off."""
    above = _above(tests, [each.chi2_all for each in tests])
    return [
        replace(each, finding="corners" if high > 0 and each.used < each.corners else "")
        for each, high in zip(tests, above, strict=True)
    ]


def _tried_again(
    fit: LensFit, tests: Sequence[ViewTest], out: Sequence[BoardView]
) -> tuple[LensFit | None, list[ViewTest]]:
    """Fit again with those views that pass after all (None if none does); tests of the others."""
    left_out: list[ViewTest] = []
    back: list[BoardView] = []
    for view in out:
        test = _view_test(view, np.ones(len(view), dtype=bool), fit)
        if _above([*tests, test], [each.chi2_used for each in (*tests, test)])[-1] > 0:
            left_out.append(replace(test, used=0, finding="picture"))
        else:
            back.append(view)
    if not back:
        return None, left_out
    poses, _ = poses_for(fit.lens, back)
    again = refit([*fit.views, *back], fit.prior, (fit.lens, (*fit.poses, *poses)))
    return (None if isinstance(again, NoFit) else again), left_out

"""How good a fitted lens is: pictures that do not belong or do not fit, and held-out errors.

Each view is predicted by a lens fitted to all the others: only its pose and what its board is bent
are its own. What is left is compared with what the corners' sigmas and that lens's covariance
allow, so that a board held where no other was is not blamed for the lens's ignorance. A view is
named where it leaves much more than its fellows do, and enough to matter; where the pictures do not
agree with one lens at all, those that do are sought (`vision.calibration.lens_groups`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.calibration.board import BoardView
from vision.calibration.known import Place, UncertaintyMap, next_place, uncertainty_map
from vision.calibration.leave_out import LeftOut, leave_out
from vision.calibration.lens_fit import FEWEST_CORNERS, LensFit, fit_lens, refit
from vision.calibration.lens_groups import Grouping, Shapes, fits_well, grouped
from vision.calibration.model_error import ModelError, model_error
from vision.calibration.reach import FieldOfView, field_of_view, reach_rad
from vision.calibration.settings import LENS as TUNED
from vision.camera.pixel_shape import SQUARE
from vision.camera.solver import NoFit
from vision.camera.statistics import student_limit
from vision.units.arrays import Array, frozen_array
from vision.units.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewTest:
    """One picture against a lens fitted without it.

    `rms_px` of its residual lengths held out, `own_px` in the fit of all; NaN where there is no
    such figure. `finding`: '' (fits), 'corners' (some corners are off, the rest fits), 'picture'
    (left out: it fits worse than its fellows), 'foreign' (left out: another lens, or no board).
    """

    name: str
    corners: int
    used: int
    rms_px: float = np.nan
    own_px: float = np.nan
    finding: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LensReport:
    """A fitted lens and what there is to say of it; `tests` in the order of the pictures.

    `view_factor` is what the covariance of `fit` was multiplied by, 1 or more; see `view_factor`.
    `model_error` is None where the lens's polynomial is enough.
    """

    fit: LensFit
    tests: tuple[ViewTest, ...]
    held_out_px: float
    view_factor: float
    map: UncertaintyMap
    reach_rad: float
    field_of_view: FieldOfView | None
    model_error: ModelError | None
    next_place: Place | None


def lens_report(
    views: Sequence[BoardView], width: int, height: int, shapes: Shapes = (SQUARE,)
) -> LensReport | NoFit:
    """Fit a lens, leave out pictures that do not belong or fail their test, judge what remains.

    NoFit codes: 'too-few-boards', 'undetermined' where the boards leave the focal length open,
    'two-lenses' and 'no-one-lens' where the pictures are not those of one lens.
    """
    found = _of_one_lens(views, width, height, shapes)
    if isinstance(found, NoFit):
        return found
    fit, foreign = found
    fit, judged = _without_worst(fit)
    factor = view_factor(fit, judged.lenses)
    error = model_error(fit)
    covariance = fit.covariance * factor + (0.0 if error is None else error.covariance)
    fit = replace(fit, covariance=frozen_array(covariance, (8, 8), "covariance"))
    share = float(fit.sigma[0]) / fit.lens.fx
    if share > TUNED.largest_focal_sigma:
        return _open(share)
    reach = reach_rad(fit)
    sigma = uncertainty_map(fit.lens, fit.covariance, reach)
    kept = judged.rms_px[np.isfinite(judged.rms_px)]
    return LensReport(
        fit=fit,
        tests=_tests(views, fit, judged, foreign),
        held_out_px=float(np.sqrt(np.mean(kept**2))) if len(kept) else float("nan"),
        view_factor=factor,
        map=sigma,
        reach_rad=reach,
        field_of_view=field_of_view(fit.lens, fit.covariance),
        model_error=error,
        next_place=next_place(fit, sigma),
    )


def _open(share: float | None = None) -> NoFit:
    return NoFit(reason=Reason("undetermined", sigma_share=share))


def _of_one_lens(
    views: Sequence[BoardView], width: int, height: int, shapes: Shapes
) -> tuple[LensFit, tuple[str, ...]] | NoFit:
    """Fit all views, or where they do not agree those that do; names of those that do not."""
    fit = fit_lens(views, width, height, shapes)
    if isinstance(fit, NoFit) and fit.code == "too-few-boards":
        return fit
    foreign: tuple[str, ...] = ()
    usable = [view for view in views if len(view) >= FEWEST_CORNERS]
    if len(usable) > 2 and (isinstance(fit, NoFit) or not fits_well(fit)):
        groups = grouped(usable, width, height, shapes)
        first = [usable[each] for each in groups.first]
        some = fit_lens(first, width, height, shapes) if len(first) > 1 else _open()
        if isinstance(some, LensFit) and len(first) < len(usable) and _clearer(some, fit):
            if len(groups.second) >= TUNED.second_share * len(usable):
                return _two_lenses(usable, groups)
            names = {view.name for view in first}
            fit, foreign = some, tuple(view.name for view in usable if view.name not in names)
    if isinstance(fit, NoFit):
        few = len(usable) < TUNED.fewest_to_disagree
        return _open() if few else NoFit(reason=Reason("no-one-lens", extra_px=None))
    if fit.extra_sigma_px > TUNED.most_extra_px:
        return NoFit(reason=Reason("no-one-lens", extra_px=fit.extra_sigma_px))
    return fit, foreign


def _clearer(some: LensFit, fit: LensFit | NoFit) -> bool:
    """Whether some views fit one lens so much better than all that the others do not belong."""
    if isinstance(fit, NoFit) or fit.left_out:
        return True
    return some.extra_sigma_px < TUNED.better * fit.extra_sigma_px


def _two_lenses(views: Sequence[BoardView], groups: Grouping) -> NoFit:
    first, second = (
        tuple(views[each].name for each in group) for group in (groups.first, groups.second)
    )
    return NoFit(reason=Reason("two-lenses", first=first, second=second))


def _without_worst(fit: LensFit) -> tuple[LensFit, LeftOut]:
    """Leave out views that fail their test, the worst first; what passes after all comes back."""
    judged = leave_out(fit)
    out: list[BoardView] = []
    for _ in range(int(len(fit.views) * TUNED.largest_share_left_out)):
        above = _above(judged)
        worst = int(np.argmax(above))
        if above[worst] <= 0:
            break
        smaller = refit([*fit.views[:worst], *fit.views[worst + 1 :]], fit.prior, fit.lens)
        if isinstance(smaller, NoFit):
            break
        out.append(fit.views[worst])
        fit, judged = smaller, leave_out(smaller)
    for view in out:
        # A bad picture may have spoilt the lens by which a good one was judged.
        larger = refit([*fit.views, view], fit.prior, fit.lens)
        if isinstance(larger, NoFit) or len(larger.views) <= len(fit.views):
            continue
        again = leave_out(larger)
        if _above(again).max() <= 0:
            fit, judged = larger, again
    return fit, judged


def _above(judged: LeftOut) -> Array:
    """How far each view is beyond its fellows' spread and the floor; at most 0 where it is not."""
    views = len(judged.rms_px)
    if views < TUNED.fewest_views_to_test:
        return np.full(views, -np.inf)
    score = _score(judged.chi2_used, judged.chi2_used)
    return np.where(judged.rms_px > TUNED.least_named_px, score, -np.inf)


def _score(chi2: Array, usual: Array) -> Array:
    """Robust distance of logarithms above the usual ones, less the limit of the whole family."""
    base = np.log(np.maximum(usual, 1e-9))
    middle = np.median(base)
    mad = 1.4826 * float(np.median(np.abs(base - middle)))
    score = (np.log(np.maximum(chi2, 1e-9)) - middle) / max(mad, TUNED.least_log_spread)
    limit = student_limit(1 - TUNED.family_level / len(usual), max(1, len(usual) - 1))
    return np.asarray(score - limit)


def _tests(
    views: Sequence[BoardView], fit: LensFit, judged: LeftOut, foreign: tuple[str, ...]
) -> tuple[ViewTest, ...]:
    """What is said of every picture."""
    testing = len(fit.views) >= TUNED.fewest_views_to_test
    high = _score(judged.chi2_all, judged.chi2_used) > 0 if testing else np.ones(len(fit.views))
    own = fit.view_rms_px()
    place = {view.name: row for row, view in enumerate(fit.views)}
    tests = []
    for view in views:
        row = place.get(view.name)
        if row is None:
            finding = "foreign" if view.name in foreign else "picture"
            tests.append(ViewTest(name=view.name, corners=len(view), used=0, finding=finding))
            continue
        used = int(fit.used[row].sum())
        off = bool(high[row]) and used < len(view)
        tests.append(
            ViewTest(
                name=view.name,
                corners=len(view),
                used=used,
                rms_px=float(judged.rms_px[row]),
                own_px=float(own[row]),
                finding="corners" if off else "",
            )
        )
    return tuple(tests)


def view_factor(fit: LensFit, lenses: Array) -> float:
    """How much larger than stated the variance of the lens is, by leaving out each view (v, 8).

    Beyond bends, corners of one picture may err together in other ways (a lens of slightly another
    kind). The jackknife over pictures shows that (Efron, "The jackknife, the bootstrap and other
    resampling plans", 1982, eq. 3.4); it is compared in the focal lengths and the centre, which the
    boards and not the prior determine. 1 where the two agree within what so few pictures can tell.
    """
    count = len(lenses)
    if count < TUNED.fewest_views_to_spread:
        return 1.0
    off = lenses[:, :4] - lenses[:, :4].mean(axis=0)
    spread = (count - 1) / count * off.T @ off
    ratio = float(np.trace(np.linalg.solve(fit.covariance[:4, :4], spread))) / 4
    chance = float(np.sqrt(2 / (4 * (count - 1))))
    return ratio if ratio > 1 + TUNED.spread_score * chance else 1.0

"""Which pictures show boards through one lens, where not all of them do.

Lenses are fitted to a few pictures each, and every other picture is asked whether it agrees with
that lens, within what those few leave open of it and what boards bend. The lens with which most
agree is followed (consensus: Fischler and Bolles, "Random sample consensus", CACM 24, 1981). What
is left over is asked in the same way whether it shows a second lens. The floor is absolute, in
px: a scale taken from the pictures' own spread would let two lenses pass for one bad one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from vision.calibration.board import BoardView
from vision.calibration.bundle import seen_from
from vision.calibration.lens_fit import (
    AT_FIRST,
    CAUCHY_WIDTH,
    LensFit,
    fit_lens,
    flat_state,
    robust,
    whitened,
)
from vision.calibration.lens_start import poses_for
from vision.calibration.padded import padded
from vision.calibration.settings import LENS as TUNED
from vision.camera.lens import Lens
from vision.camera.pixel_shape import PixelShape
from vision.camera.solver import NoFit
from vision.camera.statistics import chi_square_limit
from vision.units.arrays import Array

Shapes = Sequence[PixelShape]
AGREEING_ROUNDS, PARTING_ROUNDS = 3, 3
CHI2_AGREES = chi_square_limit(0.9973, 2)
"""Three sigma, of two coordinates."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """A lens with its covariance as a prior of the next picture's: what `CurvePrior` is to any."""

    lens: Lens
    covariance: Array

    def rows(self, vector: Array) -> tuple[Array, Array]:
        """Whitened residuals (8,) of a lens (8,) and their derivative (8, 8)."""
        sigma = np.sqrt(np.diag(self.covariance))
        values, vectors = np.linalg.eigh(self.covariance / np.outer(sigma, sigma))
        rows = (vectors / np.sqrt(np.maximum(values, 1e-12))).T / sigma
        return rows @ (vector - self.lens.as_vector()), rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouping:
    """Indices of pictures: of the lens that most share, of a second one, and of neither."""

    first: tuple[int, ...]
    second: tuple[int, ...]
    neither: tuple[int, ...]


def grouped(views: Sequence[BoardView], width: int, height: int, shapes: Shapes) -> Grouping:
    """Sort views by the lens they show."""
    everybody = tuple(range(len(views)))
    first = _agreeing(views, everybody, width, height, shapes)
    rest = tuple(each for each in everybody if each not in first)
    second: tuple[int, ...] = ()
    if len(rest) >= TUNED.fewest_of_second:
        second = _agreeing(views, rest, width, height, shapes)
    if len(second) < TUNED.fewest_of_second:
        return Grouping(first=first, second=(), neither=rest)
    first, second = _parted(views, first, second, width, height, shapes)
    neither = tuple(each for each in rest if each not in second)
    return Grouping(first=first, second=second, neither=neither)


def _parted(
    views: Sequence[BoardView],
    first: tuple[int, ...],
    second: tuple[int, ...],
    width: int,
    height: int,
    shapes: Shapes,
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Give every view to the lens that explains it better: some tell too little to refuse any."""
    for _ in range(PARTING_ROUNDS):
        fits = [
            fit_lens([views[each] for each in group], width, height, shapes)
            for group in (first, second)
        ]
        costs = []
        for fit in fits:
            if isinstance(fit, NoFit):
                return first, second
            known = Known(lens=fit.lens, covariance=fit.covariance)
            both = (*first, *second)
            costs.append([_against(views[each], known, fit.extra_sigma_px).cost for each in both])
        nearer = [
            (each, one <= two) for each, one, two in zip(both, costs[0], costs[1], strict=True)
        ]
        parted = tuple(sorted(each for each, near in nearer if near))
        others = tuple(sorted(each for each, near in nearer if not near))
        if min(len(parted), len(others)) < 2 or (parted, others) == (first, second):
            break
        first, second = parted, others
    return (first, second) if len(first) >= len(second) else (second, first)


def _agreeing(
    views: Sequence[BoardView], among: tuple[int, ...], width: int, height: int, shapes: Shapes
) -> tuple[int, ...]:
    """The most views `among` those that agree with one lens; none where no two do."""
    best: tuple[int, ...] = ()
    for number, few in enumerate(_samples(among), start=1):
        found = _joined(views, few, among, width, height, shapes)
        if len(found) > len(best):
            best = found
        if len(best) == len(among):
            return best
        if number >= TUNED.fewest_samples and 2 * len(best) >= len(among):
            break
    # Once more by the lens of all that agree: it is known better, and in more of the picture.
    again = _joined(views, best, among, width, height, shapes) if best else ()
    return again if len(again) >= len(best) else best


def _joined(
    views: Sequence[BoardView],
    few: tuple[int, ...],
    among: tuple[int, ...],
    width: int,
    height: int,
    shapes: Shapes,
) -> tuple[int, ...]:
    """A few views that fit one lens well, and those others that agree with it."""
    fit = fit_lens([views[each] for each in few], width, height, shapes)
    if isinstance(fit, NoFit) or not fits_well(fit):
        return ()
    known = Known(lens=fit.lens, covariance=fit.covariance)
    return tuple(each for each in among if each in few or agrees(views[each], known))


def fits_well(fit: LensFit) -> bool:
    """Whether a lens explains its views within the floor, nearly all their corners."""
    share = sum(int(used.sum()) for used in fit.used) / sum(len(used) for used in fit.used)
    within = fit.extra_sigma_px <= TUNED.floor_px
    return within and not fit.left_out and share >= TUNED.least_share_agreeing


def agrees(view: BoardView, known: Known) -> bool:
    """Whether one view agrees with a lens, but for corners that are wrong by themselves."""
    return _against(view, known, TUNED.floor_px).share >= TUNED.least_share_agreeing


def _against(view: BoardView, known: Known, extra_px: float) -> _Against:
    """How one view looks by a lens known so well, its own pose and bends free."""
    boards = padded([view])
    poses, _ = poses_for(known.lens, boards)
    seen = seen_from(boards, flat_state(known.lens, poses))
    found = robust(boards, known, seen, AT_FIRST, AGREEING_ROUNDS, extra_px)
    if isinstance(found, NoFit):
        return _Against(share=0.0, cost=np.inf)
    _, length2 = whitened(boards, found, extra_px)
    off, _ = known.rows(found.state.lens)
    cost = float(np.log1p(length2 / CAUCHY_WIDTH**2).sum()) * CAUCHY_WIDTH**2 + float(off @ off)
    return _Against(share=float((length2 <= CHI2_AGREES).mean()), cost=cost)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Against:
    """Share of a view's corners within three sigma, and its robust sum of squares."""

    share: float
    cost: float


def _samples(among: tuple[int, ...]) -> list[tuple[int, ...]]:
    """Small sets of views to begin with: neighbours first, since cameras are taken in turn."""
    size = 2 if len(among) <= TUNED.pairs_up_to else 3
    runs = [among[i : i + size] for i in range(len(among) - size + 1)]
    if len(runs) > TUNED.most_samples // 2:
        chosen = np.linspace(0, len(runs) - 1, TUNED.most_samples // 2).round().astype(int)
        runs = [runs[each] for each in chosen]
    if len(among) <= 8:
        others = [each for each in combinations(among, size) if each not in runs]
    else:
        rng = np.random.default_rng(len(among))
        draws = (rng.choice(len(among), size, replace=False) for _ in range(TUNED.most_samples))
        others = [tuple(among[each] for each in sorted(draw)) for draw in draws]
    return [*runs, *others][: max(TUNED.most_samples, len(runs))]

"""Fit a lens to pictures of a board, with no guess to begin with.

What the corners' own covariance does not explain is carried by variances of its own, so that the
stated sigmas answer for it from one picture on: one more variance of every corner, and bends of the
board, those it has for good and those of one picture alone. They are estimated with the fit, from
what is believed of boards beforehand and what the pictures show (restricted maximum likelihood by
expectation and maximisation, with a scaled inverse chi-square prior: Harville, "Maximum likelihood
approaches to variance component estimation", JASA 72, 1977).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.calibration.board import BoardView
from vision.calibration.bundle import (
    LENS,
    OWN,
    POSE,
    LensBelief,
    Normal,
    Seen,
    Spread,
    State,
    Weighing,
    seen_from,
    settled,
)
from vision.calibration.curve_prior import CurvePrior, edge_rad
from vision.calibration.lens_start import poses_for, starts
from vision.calibration.padded import BENDS, SHARED, Padded, padded
from vision.calibration.settings import LENS as TUNED
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.pixel_shape import SQUARE, PixelShape
from vision.camera.solver import NoFit
from vision.camera.statistics import chi_square_limit, variance_factor
from vision.units.arrays import Array, Flags, frozen_array
from vision.units.reason import Reason

FEWEST_CORNERS = 8
STARTS_TRIED, VIEWS_TO_START = 3, 8
START_TOLERANCE, FIT_TOLERANCE = 1e-5, 1e-10
MOST_STEPS = 100
ROBUST_ROUNDS, REFITS = 4, 5
CAUCHY_WIDTH = 2.0
CHI2_REJECT = chi_square_limit(0.999, 2)
"""A corner beyond this, of its two coordinates, is left out."""

LEAST_SHARE_USED = 0.5
"""With fewer of its corners in use a picture tells of something else, and is left out."""

LARGEST_EXTRA_PX = 20.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution:
    """The network at its minimum: `kept` are indices of the views that take part."""

    boards: Padded
    kept: tuple[int, ...]
    seen: Seen
    normal: Normal
    weighing: Weighing
    covariance: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LensFit:
    """A lens with its covariance, from boards.

    `covariance` (8, 8) in the order of `vision.camera.lens.PARAMETERS`; `poses`
    (`camera_from_board`), and `used` flags (n,), `residual_px` (n, 2) measured minus predicted,
    one per view of `views`. `left_out` are views of which too little fits. `spread` is what had to
    be allowed for beside the corners' own sigmas, `variance_factor` chi-square over degrees of
    freedom after that. `rms_px` is of the used corners' lengths.
    """

    lens: Lens
    covariance: Array
    prior: CurvePrior
    views: tuple[BoardView, ...]
    left_out: tuple[BoardView, ...]
    poses: tuple[Pose, ...]
    used: tuple[Flags, ...]
    residual_px: tuple[Array, ...]
    spread: Spread
    variance_factor: float
    rms_px: float
    solution: Solution

    @property
    def sigma(self) -> Array:
        """One standard deviation of each parameter, (8,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def extra_sigma_px(self) -> float:
        """What had to be added to every corner's own sigma."""
        return self.spread.extra_px

    def view_rms_px(self) -> Array:
        """RMS of the used corners' residuals by view, (v,)."""
        pairs = zip(self.residual_px, self.used, strict=True)
        return np.array([np.sqrt(np.square(r[u]).sum(axis=-1).mean()) for r, u in pairs])


AT_FIRST = Spread(extra_px=0.0, bend=TUNED.bend, own_bend=TUNED.own_bend, stretch=TUNED.stretch)


def fit_lens(
    views: Sequence[BoardView],
    width: int,
    height: int,
    shapes: Sequence[PixelShape] = (SQUARE,),
) -> LensFit | NoFit:
    """Fit a lens for pictures of `width` x `height` to one or more views, from no guess.

    Of several shapes of a pixel that one is taken which suits the boards best. NoFit codes:
    'too-few-boards' and those of `vision.camera.solver.settle`.
    """
    usable = tuple(view for view in views if len(view) >= FEWEST_CORNERS)
    if not usable:
        return NoFit(reason=Reason("too-few-boards", needed=FEWEST_CORNERS))
    boards = padded(usable)
    spaced = np.linspace(0, len(usable) - 1, min(len(usable), VIEWS_TO_START))
    best = best_start(boards.only(np.round(spaced)), width, height, shapes)
    if isinstance(best, NoFit):
        return best
    lens, prior = best
    # The start's focal length is one of a few tried; the prior belongs to the lens now found.
    return refit(usable, replace(prior, edge_rad=edge_rad(lens)), lens)


def best_start(
    boards: Padded, width: int, height: int, shapes: Sequence[PixelShape]
) -> tuple[Lens, CurvePrior] | NoFit:
    """A lens that suits a few views best, with its prior, from no guess."""
    best: tuple[float, Lens, CurvePrior] | None = None
    last = NoFit(reason=Reason("not-converged"))
    for pixels in shapes:
        for start in starts(boards, width, height, pixels)[:STARTS_TRIED]:
            prior = CurvePrior(
                width=width, height=height, edge_rad=edge_rad(start.lens), pixels=pixels
            )
            seen = seen_from(boards, flat_state(start.lens, start.poses))
            found = robust(boards, prior, seen, AT_FIRST, 1)
            if isinstance(found, NoFit):
                last = found
                continue
            _, length2 = whitened(boards, found, 0.0)
            typical = float(np.median(length2[boards.there]))
            if best is None or typical < best[0]:
                best = typical, start.lens.with_vector(found.state.lens), prior
    return last if best is None else best[1:]


def flat_state(lens: Lens, poses: Array) -> State:
    """A state with flat and square boards at `poses` (v, 3, 4)."""
    return State(
        lens=lens.as_vector(),
        shape=np.zeros(SHARED),
        poses=poses,
        bends=np.zeros((len(poses), BENDS)),
    )


def refit(views: Sequence[BoardView], prior: CurvePrior, lens: Lens) -> LensFit | NoFit:
    """Fit from a lens that is near: robust rounds, then plain least squares on what passes."""
    boards = padded(views)
    poses, _ = poses_for(lens, boards)
    start = seen_from(boards, flat_state(lens, poses))
    near = robust(boards, prior, start, AT_FIRST, ROBUST_ROUNDS)
    if isinstance(near, NoFit):
        return near
    seen = near
    kept, spread = np.arange(len(views)), AT_FIRST
    for _ in range(REFITS):
        spread = replace(spread, extra_px=extra_sigma(boards, seen))
        full, length2 = whitened(boards, seen, spread.extra_px)
        passing = boards.there & (length2 <= CHI2_REJECT)
        enough = passing.sum(axis=1) >= np.maximum(
            FEWEST_CORNERS, LEAST_SHARE_USED * boards.there.sum(axis=1)
        )
        if not enough.any():
            return NoFit(reason=Reason("too-few-boards", needed=FEWEST_CORNERS))
        if not enough.all():
            boards, kept, passing = (
                boards.only(np.flatnonzero(enough)),
                kept[enough],
                passing[enough],
            )
            full, seen = full[enough], seen_from(boards, _only(seen.state, enough))
        weighing = Weighing(whiteners=np.where(passing[..., None, None], full, 0.0), spread=spread)
        found = settled(boards, weighing, prior, seen, FIT_TOLERANCE, MOST_STEPS)
        if isinstance(found, NoFit):
            return found
        seen, normal = found.state, found.linear
        covariance, spread = _components(normal, seen.state, spread)
    solution = Solution(
        boards=boards,
        kept=tuple(int(each) for each in kept),
        seen=seen,
        normal=normal,
        weighing=weighing,
        covariance=covariance,
    )
    return _as_fit(tuple(views), prior, lens, solution)


def _only(state: State, which: Flags) -> State:
    return replace(state, poses=state.poses[which], bends=state.bends[which])


def robust(
    boards: Padded,
    prior: LensBelief,
    seen: Seen,
    spread: Spread,
    rounds: int,
    extra_px: float | None = None,
) -> Seen | NoFit:
    """Rounds of least squares with Cauchy weights on each corner's whitened length.

    `extra_px` is added to the corners' own sigmas; as the residuals have it where it is None.
    """
    for _ in range(rounds):
        extra = extra_sigma(boards, seen) if extra_px is None else extra_px
        full, length2 = whitened(boards, seen, extra)
        weight = np.where(boards.there, 1 / (1 + length2 / CAUCHY_WIDTH**2), 0.0)
        weighing = Weighing(whiteners=full * np.sqrt(weight)[..., None, None], spread=spread)
        found = settled(boards, weighing, prior, seen, START_TOLERANCE, MOST_STEPS)
        if isinstance(found, NoFit):
            return found
        seen = found.state
    return seen


def whitened(boards: Padded, seen: Seen, extra_px: float) -> tuple[Array, Array]:
    """Whiteners (v, n, 2, 2), and squared whitened lengths (v, n), infinite where none is seen."""
    values, vectors = np.linalg.eigh(boards.covariance_px2)
    root = 1 / np.sqrt(values + extra_px**2)
    full = root[..., None] * vectors.swapaxes(-1, -2)
    length2 = np.square(full @ seen.off_px[..., None]).sum(axis=(2, 3))
    return full, np.where(np.isfinite(length2), length2, np.inf)


def extra_sigma(boards: Padded, seen: Seen) -> float:
    """Sigma to be added to each corner so that the typical residual is what is stated, px."""
    count = int(boards.there.sum())
    freedom = max(0.1, 1 - (LENS + OWN * len(boards)) / (2 * count))
    target = chi_square_limit(0.5, 2) * freedom
    known = boards.there & np.isfinite(seen.off_px).all(axis=-1)
    # In the axes of each corner's own ellipse the extra variance only adds to both.
    values, vectors = np.linalg.eigh(boards.covariance_px2[known])
    square = np.square((vectors.transpose(0, 2, 1) @ seen.off_px[known][..., None])[..., 0])

    def typical(extra_px: float) -> float:
        return float(np.median(np.sum(square / (values + extra_px**2), axis=1)))

    if typical(0.0) <= target:
        return 0.0
    low, high = 0.0, LARGEST_EXTRA_PX
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if typical(middle) > target else (low, middle)
    return high


def _components(normal: Normal, state: State, spread: Spread) -> tuple[Array, Spread]:
    """Covariance of the kept unknowns, and the bends' variances one step further."""
    matrices, _, _, inverse = normal.reduced()
    prior = normal.kept - normal.by_view.sum(axis=0)
    covariance = np.linalg.inv(matrices.sum(axis=0) + prior)
    gain = inverse @ normal.cross.transpose(0, 2, 1)
    own = np.einsum("vaa->va", inverse + gain @ covariance @ gain.transpose(0, 2, 1))
    seen_own = np.square(state.bends).sum() + own[:, POSE:].sum()
    bent = slice(LENS, LENS + BENDS)
    seen = np.square(state.shape[:BENDS]).sum() + np.diag(covariance)[bent].sum()
    say, own_say = TUNED.bend_say, TUNED.own_bend_say
    bend2 = (say * TUNED.bend**2 + seen) / (say + BENDS)
    own2 = (own_say * TUNED.own_bend**2 + seen_own) / (own_say + state.bends.size)
    return covariance, replace(spread, bend=float(np.sqrt(bend2)), own_bend=float(np.sqrt(own2)))


def _as_fit(
    views: tuple[BoardView, ...], prior: CurvePrior, like: Lens, solution: Solution
) -> LensFit:
    state, passing, kept = solution.seen.state, solution.weighing.used, solution.kept
    sizes = [len(views[each]) for each in kept]
    used = tuple(passing[row, :n].copy() for row, n in enumerate(sizes))
    residual = tuple(-solution.seen.off_px[row, :n] for row, n in enumerate(sizes))
    for array in (*used, *residual):
        array.setflags(write=False)
    freedom = 2 * int(passing.sum()) - POSE * len(kept)
    lens = solution.covariance[:LENS, :LENS] * variance_factor(solution.normal.chi2, freedom)
    off = np.concatenate([r[u] for r, u in zip(residual, used, strict=True)])
    return LensFit(
        lens=like.with_vector(state.lens),
        covariance=frozen_array((lens + lens.T) / 2, (LENS, LENS), "covariance"),
        prior=prior,
        views=tuple(views[each] for each in kept),
        left_out=tuple(view for row, view in enumerate(views) if row not in kept),
        poses=tuple(state.pose(row) for row in range(len(kept))),
        used=used,
        residual_px=residual,
        spread=solution.weighing.spread,
        variance_factor=solution.normal.chi2 / max(1, freedom),
        rms_px=float(np.sqrt(np.square(off).sum(axis=-1).mean())),
        solution=solution,
    )

"""By what odds a pose is right: what each planned mark shows, weighed as it was counted.

Where a mark ought to be, the picture shows one of a few things: the mark, more or less alike and
more or less in its place; bare ground, as beside it; tape without a mark; or something else, which
may have covered it. How often each happens where a pose is right, and how often at poses that are
wrong, was counted (`odds_table`); the logarithm of the ratio is what one mark says. Something else
says little, bare ground much.

Marks do not speak independently: the rows of a strip repeat, so a pose one mark on sees most of
them. The rivals to beat are then the same picture named otherwise, and a row of another layout that
shows what the naming's best strip shows, and nothing else that the naming asks for: unlikely before
anybody looks, and more so where another camera of the job is identified. What a lead is worth, and
what a sum is worth against no naming at all, was chosen on some hundred draws with known truth:
stated odds do not hold yet, they are too high (`python -m tests.accuracy.odds_draws`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.identification.odds_table import BACKGROUND, SEEN_HOW, TAPE_BACKGROUND, TAPE_SEEN
from vision.identification.settings import SETTINGS
from vision.marks.measure.matching import Matches
from vision.units.arrays import Array, Flags

TUNED = SETTINGS.odds


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shown:
    """What n marks show at one pose.

    `nats` (n,) is the logarithm of the odds that each adds, 0 where nothing can be said; `seen`
    (n,) says which are alike enough and in place, `bare` (n,) where there is ground or tape alone.
    """

    nats: Array
    seen: Flags
    bare: Flags


def shown(matches: Matches, off_px: Array, size_px: Array, light: Flags, used: Flags) -> Shown:
    """Weigh what matching saw of n marks at a pose.

    `off_px` (n,) is how far from its prediction each was found, `size_px` (n,) its narrowest
    width, `light` (n,) which have light ink on dark tape, and `used` (n,) those that the pose rests
    on: the ground beside them is what ground looks like. What cannot be tried says nothing.
    """
    tried = np.isfinite(matches.correlation)
    size, cell = cells(matches, off_px, size_px, light, used)
    nats = np.log(SEEN_HOW[size, cell] / BACKGROUND[size, cell])
    nats = np.where(tried, np.minimum(nats, TUNED.most_nats), 0.0)
    return Shown(
        nats=nats, seen=tried & (nats > TUNED.seen_nats), bare=tried & (nats < -TUNED.seen_nats)
    )


def cells(
    matches: Matches, off_px: Array, size_px: Array, light: Flags, used: Flags
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Row and column (n,) of the table for what each mark shows; arguments as for `shown`."""
    correlation = np.nan_to_num(matches.correlation, nan=-1.0)
    alike = np.digitize(correlation, TUNED.correlations)
    place = np.digitize(np.nan_to_num(off_px, nan=np.inf), TUNED.offsets_px)
    places = len(TUNED.offsets_px) + 1
    missing = len(TUNED.correlations) * places + _nothing(matches, light, used)
    cell = np.where(alike > 0, (alike - 1) * places + place, missing)
    return np.digitize(size_px, TUNED.sizes_px), np.asarray(cell)


def _nothing(matches: Matches, light: Flags, used: Flags) -> NDArray[np.intp]:
    """What is there where no mark is seen (n,): 24 kinds of ground, tape and things."""
    step = np.where(light, -matches.step, matches.step)
    kind = np.where(np.abs(step) < TUNED.no_step, 0, np.where(step > TUNED.tape_step, 1, 2))
    spreads = len(TUNED.spreads) + 1
    lively = np.digitize(matches.spread, TUNED.spreads)
    # The ground as it is beside the used marks nearest in the picture.
    apart = np.linalg.norm(matches.found_px[:, None] - matches.found_px[None, used], axis=-1)
    nearest = np.argsort(np.nan_to_num(apart, nan=np.inf), axis=1)[:, : TUNED.nearest]
    ground = matches.ground[used]
    beside = np.median(ground[nearest], axis=1) if len(ground) else np.full(len(step), np.nan)
    with np.errstate(invalid="ignore"):
        other = (matches.level < beside - TUNED.darker) | (matches.level > beside + TUNED.lighter)
    return np.asarray((other * 3 + kind) * spreads + lively)


def tape_nats(steps: Array) -> Array:
    """Weigh the steps from ground to tape half-way between marks, (m,)."""
    cell = tape_cells(steps)
    return np.asarray(TUNED.tape_worth * np.log(TAPE_SEEN[cell] / TAPE_BACKGROUND[cell]))


def tape_cells(steps: Array) -> NDArray[np.intp]:
    """Column (m,) of the table for each step."""
    return np.digitize(np.nan_to_num(steps, nan=-np.inf), TUNED.tape_steps)


def summed(nats: Array, weight: Array) -> float:
    """What n signs add up to that are due with weights 0 to 1: as if absent with the rest.

    A sign that is hardly due is not missed, but where it is seen it counts.
    """
    return float(np.log(weight * np.exp(nats) + 1.0 - weight).sum())


def log10_odds(
    nats: float,
    rivals: Sequence[float],
    row_nats: float = -np.inf,
    *,
    lot_known: bool = False,
) -> float:
    """Odds of a naming against every other and against none, as a power of ten.

    `nats` is what all its marks add up to, `rivals` the same of the namings of the same picture
    that differ. `row_nats` is what its best strip adds up to: a row of another layout, over which
    that strip could be laid, would show as much; `lot_known` where another picture of the lot shows
    this layout.
    """
    against = [TUNED.lead_worth * (nats - rival) for rival in rivals]
    against.append(TUNED.sum_worth * (nats - TUNED.sum_of_none))
    unlikely = TUNED.other_layout_nats + TUNED.same_lot_nats * lot_known
    against.append(TUNED.lead_worth * (nats - row_nats + unlikely))
    return float(-np.logaddexp.reduce(-np.array(against)) / np.log(10))

"""Verdicts on strips and single marks: is what was laid where the plan says, and if not, move what.

Ways are those of somebody with a tape measure beside the vehicle: a strip lies too far out or in,
seen from the body, or too far forward, back, left or right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, assert_never

import numpy as np

from vision.adjustment.adjusted import AdjustedMark, AdjustedStrip
from vision.inspection.settings import SETTINGS
from vision.inspection.verdict.rule import (
    COVERAGE,
    Action,
    Judgement,
    deciding,
    judge,
    length_and_sigma,
    reasons_for,
    worst_of,
)
from vision.job.job import SingleMark, Strip, Tolerances
from vision.units.arrays import Array
from vision.units.plain import written
from vision.units.reason import Reason

LayingWord = Literal["re-measure", "not-judged", "keep"]

BOX_CORNER_NOT_FOUND = "box-corner-not-found"
BOX_CORNER_NOT_JUDGED = "box-corner-not-judged"
MAY_BE_MISSING = frozenset({BOX_CORNER_NOT_FOUND, BOX_CORNER_NOT_JUDGED})
"""Codes that do not hold up a job: a carton's corner helps where it is clear, and may miss."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayingVerdict:
    """The verdict on a strip or a single mark; `name` is its own."""

    name: str = written()
    verdict: LayingWord = written()
    reasons: tuple[Reason, ...] = written(default=())
    actions: tuple[Action, ...] = written(default=())


Way = Literal["forward", "back", "to-the-left", "to-the-right", "out", "in", "up", "down"]
OPPOSITE_WAYS: dict[Way, Way] = {
    "forward": "back",
    "to-the-left": "to-the-right",
    "out": "in",
    "up": "down",
}
OPPOSITE_WAYS |= {against: along for along, against in OPPOSITE_WAYS.items()}

Part = tuple[Way, float, float]
"""Of a shift: which way, how far in m (never negative), and its sigma."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Axis:
    """A direction (2,) with the way along it."""

    direction: Array
    along: Way


FORWARD = _Axis(direction=np.array([1.0, 0.0]), along="forward")
LEFT = _Axis(direction=np.array([0.0, 1.0]), along="to-the-left")


Looks = tuple[tuple[str, Reason], ...]
"""The cameras in whose pictures something lies that none could tell, and why each could not."""


def strip_verdict(
    strip: Strip, adjusted: AdjustedStrip, tolerances: Tolerances, *, looks: Looks = ()
) -> LayingVerdict:
    """Judge one strip by the shift of every mark on it that was seen."""
    if not adjusted.seen or not adjusted.mark_ids:
        reason = Reason("not-seen", strip=strip.name, looks=looks)
        return LayingVerdict(name=strip.name, verdict="not-judged", reasons=(reason,))
    figures = [
        length_and_sigma(shift, covariance)
        for shift, covariance in zip(
            adjusted.mark_shift_m, adjusted.mark_shift_covariance_m2, strict=True
        )
    ]
    words = [judge(length, sigma, tolerances.strip_m) for length, sigma in figures]
    found = worst_of(words)
    worst = deciding(found, figures, words)
    reasons = _shift_reasons(found, figures[worst], tolerances, mark=adjusted.mark_ids[worst])
    actions: tuple[Action, ...] = ()
    if found == "beyond":
        actions = _strip_actions(strip, adjusted, words, tolerances)
    return LayingVerdict(name=strip.name, verdict=_word(found), reasons=reasons, actions=actions)


def mark_verdict(
    mark: SingleMark, adjusted: AdjustedMark, tolerances: Tolerances, *, looks: Looks = ()
) -> LayingVerdict:
    """Judge one single or raised mark by its shift in x, y and z.

    A carton's corner may go unfound, or be found but not sure: it is then not judged with a code of
    its own, which does not hold up the job.
    """
    if not adjusted.seen:
        code = BOX_CORNER_NOT_FOUND if mark.shape.may_be_missing else "not-seen"
        reason = Reason(code, mark=mark.name, looks=looks)
        return LayingVerdict(name=mark.name, verdict="not-judged", reasons=(reason,))
    figure = length_and_sigma(adjusted.shift_m, adjusted.covariance_m2)
    word = judge(*figure, tolerances.strip_m)
    reasons = _shift_reasons(word, figure, tolerances, single=mark.name)
    if word == "not-judged" and mark.shape.may_be_missing:
        reasons = tuple(Reason(BOX_CORNER_NOT_JUDGED, **each.arguments) for each in reasons)
    actions: tuple[Action, ...] = ()
    if word == "beyond":
        sigma = np.sqrt(np.diag(adjusted.covariance_m2))
        ways: tuple[Way, ...] = ("forward", "to-the-left", "up")
        parts = tuple(
            _part(way, float(off), float(s))
            for way, off, s in zip(ways, adjusted.shift_m, sigma, strict=True)
            if abs(off) > max(COVERAGE * s, SETTINGS.worth_moving_m)
        )
        what = Reason("measure-again", mark=mark.name, parts=parts, off=figure)
        actions = (_move(what, adjusted.shift_m, adjusted.covariance_m2),)
    return LayingVerdict(name=mark.name, verdict=_word(word), reasons=reasons, actions=actions)


def _word(found: Judgement) -> LayingWord:
    match found:
        case "beyond":
            return "re-measure"
        case "within":
            return "keep"
        case "not-judged":
            return "not-judged"
        case _:
            assert_never(found)


def _shift_reasons(
    found: Judgement, figure: tuple[float, float], tolerances: Tolerances, **what: object
) -> tuple[Reason, ...]:
    """The reason for the mark that decides, whose shift and its sigma are `figure`."""
    length, sigma = figure
    return tuple(
        reasons_for(
            found,
            "shift",
            real=length > SETTINGS.significant_sigmas * sigma,
            off_m=length,
            sigma_m=sigma,
            limit_m=tolerances.strip_m,
            **what,
        )
    )


def _strip_actions(
    strip: Strip, adjusted: AdjustedStrip, words: list[Judgement], tolerances: Tolerances
) -> tuple[Action, ...]:
    """Marks that lie off their own strip by themselves, then the strip as a whole or its ends."""
    ends = adjusted.ends_m - np.array([strip.from_m, strip.to_m])
    # How far along its strip each mark lies, 0 at `from` and 1 at `to`.
    indices = [mark_id.index for mark_id in adjusted.mark_ids if mark_id.index is not None]
    shares = strip.at_m[indices][:, None] / strip.length_m
    own = adjusted.mark_shift_m - ((1 - shares) * ends[0] + shares * ends[1])
    actions, displaced = [], []
    rows = zip(adjusted.mark_ids, own, adjusted.mark_shift_covariance_m2, strict=True)
    for mark_id, off, covariance in rows:
        found = judge(*length_and_sigma(off, covariance), tolerances.strip_m / 2) == "beyond"
        displaced.append(found)
        if found:
            what = Reason("lay-again", mark=mark_id, parts=_parts(strip, off, covariance))
            actions.append(_move(what, off, covariance))
    rest = ~np.array(displaced)
    if not actions or any(w == "beyond" for w, kept in zip(words, rest, strict=True) if kept):
        moves = _end_moves(strip, adjusted, ends, tolerances)
        moved = np.sum([shift for _, shift, _ in moves], axis=0)
        lies = adjusted.mark_shift_m - ((1 - shares) * moved[0] + shares * moved[1])
        then = _word_of(lies[rest], adjusted.mark_shift_covariance_m2[rest], tolerances)
        actions += [_strip_move(strip, *move, then) for move in moves]
    return tuple(actions)


def _word_of(shifts: Array, covariances: Array, tolerances: Tolerances) -> Judgement:
    """The word for marks (n) of a strip that lie off by `shifts` (n, 2)."""
    pairs = zip(shifts, covariances, strict=True)
    return worst_of(judge(*length_and_sigma(s, c), tolerances.strip_m) for s, c in pairs)


EndMove = tuple[str | None, Array, Array]
"""Which end, None for the whole strip; how far off both ends (2, 2) lie by it; the covariance."""


def _end_moves(
    strip: Strip, adjusted: AdjustedStrip, ends: Array, tolerances: Tolerances
) -> list[EndMove]:
    """One move for a strip that is shifted, one for each end of a strip that is turned."""
    swing = abs(adjusted.turn_rad) * strip.length_m
    turned = abs(adjusted.turn_rad) > SETTINGS.significant_sigmas * adjusted.turn_sigma_rad
    half = np.hstack([np.eye(2), np.eye(2)]) / 2
    whole = np.tile(ends.mean(axis=0), (2, 1)), half @ adjusted.covariance_m2 @ half.T
    if not turned or swing <= tolerances.strip_m / 2:
        return [(None, *whole)]
    moves: list[EndMove] = []
    for index, name in enumerate(_end_names(strip)):
        block = slice(2 * index, 2 * index + 2)
        covariance = adjusted.covariance_m2[block, block]
        length, sigma = length_and_sigma(ends[index], covariance)
        if length > max(COVERAGE * sigma, tolerances.strip_m / 3):
            moves.append((name, np.where(np.arange(2)[:, None] == index, ends, 0.0), covariance))
    return moves or [(None, *whole)]


def _strip_move(
    strip: Strip, end: str | None, shift: Array, covariance: Array, then: Judgement
) -> Action:
    """Move a strip or its end back by its shift.

    `then` is the word for the strip's marks once it lies so, judged as they are now, so that step
    and prediction are one.
    """
    # An end's move has a row of zeros for the other end.
    by = shift[0] if end is None else shift.sum(axis=0)
    parts = _parts(strip, by, covariance)
    what = Reason("move-strip", strip=strip.name, end=end, parts=parts, then=then)
    return _move(what, by, covariance)


def _move(what: Reason, shift: Array, covariance: Array) -> Action:
    move = tuple(float(-amount) + 0.0 for amount in shift)
    sigma = tuple(float(value) for value in np.sqrt(np.diag(covariance)))
    return Action(what=what, move_m=move, move_sigma_m=sigma)


def _part(along: Way, amount_m: float, sigma_m: float) -> Part:
    return along if amount_m > 0 else OPPOSITE_WAYS[along], abs(amount_m), sigma_m


def _axes(strip: Strip) -> tuple[_Axis, _Axis]:
    """Square to the strip, away from the body, and along it."""
    lengthways = abs(strip.along[0]) >= abs(strip.along[1])
    along = FORWARD if lengthways else LEFT
    axis = strip.along * (1.0 if strip.along @ along.direction > 0 else -1.0)
    square = np.array([-axis[1], axis[0]])
    offset = float(square @ strip.from_m)
    if abs(offset) > SETTINGS.beside_body_m:
        across = _Axis(direction=square * np.sign(offset), along="out")
    else:
        plain = LEFT if lengthways else FORWARD
        sign = 1.0 if square @ plain.direction > 0 else -1.0
        across = _Axis(direction=square * sign, along=plain.along)
    return across, _Axis(direction=axis, along=along.along)


def _end_names(strip: Strip) -> tuple[str, str]:
    """What to call the first and the last mark's end."""
    if abs(strip.along[0]) >= abs(strip.along[1]):
        return ("rear", "front") if strip.along[0] > 0 else ("front", "rear")
    return ("right", "left") if strip.along[1] > 0 else ("left", "right")


def _parts(strip: Strip, shift: Array, covariance: Array) -> tuple[Part, ...]:
    """The parts of a shift worth saying, largest first, each with its sigma."""
    every = []
    for axis in _axes(strip):
        sigma = float(np.sqrt(np.maximum(axis.direction @ covariance @ axis.direction, 0.0)))
        every.append(_part(axis.along, float(axis.direction @ shift), sigma))
    every.sort(key=lambda part: -part[1])
    worth = [p for p in every[1:] if p[1] > max(COVERAGE * p[2], SETTINGS.worth_moving_m)]
    return (*every[:1], *worth)

"""Verdicts on strips and single marks: is what was laid where the plan says, and if not, move what.

Words are those of somebody with a tape measure beside the vehicle: a strip lies too far out or in,
seen from the body, or too far forward, back, left or right.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, assert_never

import numpy as np

from vision.adjustment.adjusted import AdjustedMark, AdjustedStrip
from vision.inspection.verdict.rule import (
    COVERAGE,
    SIGNIFICANT,
    Action,
    Judgement,
    Reason,
    judge,
    length_and_sigma,
    reasons_for,
    worst_of,
)
from vision.job.job import BoxCorner, SingleMark, Strip, Tolerances
from vision.units.arrays import Array
from vision.units.length_words import METRIC, LengthWords

LayingWord = Literal["re-measure", "not-judged", "keep"]

BESIDE_BODY_M = 0.3
"""A strip whose line passes nearer than this to the middle of the body has no out and in."""
WORTH_MOVING_M = 0.005
"""Nobody moves tape by less: smaller parts of a move are left out of the words."""
BOX_CORNER_NOT_FOUND = "box-corner-not-found"
BOX_CORNER_NOT_JUDGED = "box-corner-not-judged"
"""Codes that do not hold up a job: a carton's corner helps where it is clear, and may miss."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayingVerdict:
    """The verdict on a strip or a single mark; `name` is its own."""

    name: str
    verdict: LayingWord
    reasons: tuple[Reason, ...] = ()
    actions: tuple[Action, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Way:
    """A direction with the words for going along it and against it."""

    direction: Array
    along: str
    against: str

    def word(self, amount_m: float) -> str:
        return self.along if amount_m > 0 else self.against


FORWARD = _Way(direction=np.array([1.0, 0.0]), along="forward", against="back")
LEFT = _Way(direction=np.array([0.0, 1.0]), along="to the left", against="to the right")


def strip_verdict(
    strip: Strip,
    adjusted: AdjustedStrip,
    tolerances: Tolerances,
    lengths: LengthWords = METRIC,
) -> LayingVerdict:
    """Judge one strip by the shift of every mark on it that was seen."""
    if not adjusted.seen or not adjusted.mark_ids:
        text = f"no camera saw the {strip.name} strip; a picture that shows it would decide"
        reason = Reason(code="not-seen", text=text)
        return LayingVerdict(name=strip.name, verdict="not-judged", reasons=(reason,))
    figures = [
        length_and_sigma(shift, covariance)
        for shift, covariance in zip(
            adjusted.mark_shift_m, adjusted.mark_shift_covariance_m2, strict=True
        )
    ]
    words = [judge(length, sigma, tolerances.strip_m) for length, sigma in figures]
    found = worst_of(words)
    names = [f"mark {mark_id}" for mark_id in adjusted.mark_ids]
    narrow = "a tape reading to it, or its marks seen by a second camera, would narrow it"
    reasons = _shift_reasons(found, figures, words, names, tolerances, narrow, lengths)
    actions: tuple[Action, ...] = ()
    if found == "beyond":
        actions = _strip_actions(strip, adjusted, words, tolerances, lengths)
    return LayingVerdict(name=strip.name, verdict=_word(found), reasons=reasons, actions=actions)


def mark_verdict(
    mark: SingleMark,
    adjusted: AdjustedMark,
    tolerances: Tolerances,
    lengths: LengthWords = METRIC,
) -> LayingVerdict:
    """Judge one single or raised mark by its shift in x, y and z.

    A carton's corner may go unfound, or be found but not sure: it is then not judged with a code of
    its own, which does not hold up the job.
    """
    if not adjusted.seen:
        code = BOX_CORNER_NOT_FOUND if isinstance(mark.shape, BoxCorner) else "not-seen"
        reason = Reason(code=code, text=f"no camera saw {mark.name}")
        return LayingVerdict(name=mark.name, verdict="not-judged", reasons=(reason,))
    figure = length_and_sigma(adjusted.shift_m, adjusted.covariance_m2)
    word = judge(*figure, tolerances.strip_m)
    narrow = "a second camera that sees it, or a tape reading to it, would narrow it"
    reasons = _shift_reasons(word, [figure], [word], [mark.name], tolerances, narrow, lengths)
    if word == "not-judged" and isinstance(mark.shape, BoxCorner):
        reasons = tuple(replace(each, code=BOX_CORNER_NOT_JUDGED) for each in reasons)
    actions: tuple[Action, ...] = ()
    if word == "beyond":
        sigma = np.sqrt(np.diag(adjusted.covariance_m2))
        ways = (("forward", "back"), ("to the left", "to the right"), ("up", "down"))
        parts = [
            f"{lengths.cm(abs(d), s)} too far {ways[axis][int(d < 0)]}"
            for axis, (d, s) in enumerate(zip(adjusted.shift_m, sigma, strict=True))
            if abs(d) > max(COVERAGE * s, WORTH_MOVING_M)
        ] or [f"{lengths.cm(*figure)} off"]
        text = f"measure the place of {mark.name} again: it lies {' and '.join(parts)}"
        move, spread = tuple(-adjusted.shift_m.astype(float) + 0.0), tuple(sigma.astype(float))
        actions = (Action(text=text, move_m=move, move_sigma_m=spread),)
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
    found: Judgement,
    figures: list[tuple[float, float]],
    words: list[Judgement],
    names: list[str],
    tolerances: Tolerances,
    narrow: str,
    lengths: LengthWords,
) -> tuple[Reason, ...]:
    """The reason for the mark that decides: the worst of those with the verdict's own word."""
    side = -COVERAGE if found == "beyond" else COVERAGE
    deciding = [index for index, word in enumerate(words) if word == found]
    worst = max(deciding, key=lambda index: figures[index][0] + side * figures[index][1])
    length, sigma = figures[worst]
    reasons = reasons_for(
        found,
        "shift",
        f"{names[worst]} lies {lengths.cm(length, sigma)} from its planned place",
        limit=lengths.cm(tolerances.strip_m),
        span=lengths.span(length, COVERAGE * sigma),
        narrow=narrow,
        real=length > SIGNIFICANT * sigma,
    )
    return tuple(reasons)


def _strip_actions(
    strip: Strip,
    adjusted: AdjustedStrip,
    words: list[Judgement],
    tolerances: Tolerances,
    lengths: LengthWords,
) -> tuple[Action, ...]:
    """Marks that lie off their own strip by themselves, then the strip as a whole or its ends."""
    ends = adjusted.ends_m - np.array([strip.from_m, strip.to_m])
    # How far along its strip each mark lies, 0 at `from` and 1 at `to`.
    indices = [mark_id.index for mark_id in adjusted.mark_ids if mark_id.index is not None]
    shares = strip.at_m[indices][:, None] / strip.length_m
    own = adjusted.mark_shift_m - ((1 - shares) * ends[0] + shares * ends[1])
    actions, strays = [], set()
    rows = zip(adjusted.mark_ids, own, adjusted.mark_shift_covariance_m2, strict=True)
    for mark_id, stray, covariance in rows:
        if judge(*length_and_sigma(stray, covariance), tolerances.strip_m / 2) == "beyond":
            strays.add(mark_id)
            phrase = _phrase(strip, stray, covariance, lengths)
            text = f"lay mark {mark_id} again: it lies {phrase} against its own strip"
            actions.append(_move(text, stray, covariance))
    left = [
        mark_id
        for mark_id, word in zip(adjusted.mark_ids, words, strict=True)
        if word == "beyond" and mark_id not in strays
    ]
    if left or not actions:
        actions += _strip_moves(strip, adjusted, ends, tolerances, lengths)
    return tuple(actions)


def _strip_moves(
    strip: Strip,
    adjusted: AdjustedStrip,
    ends: Array,
    tolerances: Tolerances,
    lengths: LengthWords,
) -> list[Action]:
    """One move for a strip that is shifted, one for each end of a strip that is turned."""
    swing = abs(adjusted.turn_rad) * strip.length_m
    turned = abs(adjusted.turn_rad) > SIGNIFICANT * adjusted.turn_sigma_rad
    if not turned or swing <= tolerances.strip_m / 2:
        half = np.hstack([np.eye(2), np.eye(2)]) / 2
        covariance = half @ adjusted.covariance_m2 @ half.T
        whole, shift = f"the {strip.name} strip", ends.mean(axis=0)
        return [_move_text(whole, strip, shift, covariance, tolerances, lengths)]
    moves = []
    for index, name in enumerate(_end_names(strip)):
        block = slice(2 * index, 2 * index + 2)
        covariance = adjusted.covariance_m2[block, block]
        length, sigma = length_and_sigma(ends[index], covariance)
        if length > max(COVERAGE * sigma, tolerances.strip_m / 3):
            what = f"the {name} end of the {strip.name} strip"
            moves.append(_move_text(what, strip, ends[index], covariance, tolerances, lengths))
    return moves


def _move_text(
    what: str,
    strip: Strip,
    shift: Array,
    covariance: Array,
    tolerances: Tolerances,
    lengths: LengthWords,
) -> Action:
    """`the right strip lies 5.0 cm (+-0.6) too far out: move it 5.0 cm in; then ...`."""
    _, sigma = length_and_sigma(shift, covariance)
    parts = _parts(strip, shift, covariance)
    back = " and ".join(
        f"{lengths.cm(abs(amount))} {way.word(-amount)}" for way, amount, _ in parts
    )
    sure = judge(0.0, sigma, tolerances.strip_m) == "within"
    result = "lies within tolerance" if sure else "is still not certain to lie within tolerance"
    text = (
        f"{what} lies {_phrase(strip, shift, covariance, lengths)}: move it {back};"
        f" then it {result} ({lengths.span(0.0, sigma, nested=True)})"
    )
    return _move(text, shift, covariance)


def _move(text: str, shift: Array, covariance: Array) -> Action:
    move = tuple(float(-amount) + 0.0 for amount in shift)
    sigma = tuple(float(value) for value in np.sqrt(np.diag(covariance)))
    return Action(text=text, move_m=move, move_sigma_m=sigma)


def _ways(strip: Strip) -> tuple[_Way, _Way]:
    """Square to the strip, away from the body, and along it."""
    lengthways = abs(strip.along[0]) >= abs(strip.along[1])
    along = FORWARD if lengthways else LEFT
    axis = strip.along * (1.0 if strip.along @ along.direction > 0 else -1.0)
    square = np.array([-axis[1], axis[0]])
    offset = float(square @ strip.from_m)
    if abs(offset) > BESIDE_BODY_M:
        across = _Way(direction=square * np.sign(offset), along="out", against="in")
    else:
        plain = LEFT if lengthways else FORWARD
        sign = 1.0 if square @ plain.direction > 0 else -1.0
        across = _Way(direction=square * sign, along=plain.along, against=plain.against)
    return across, _Way(direction=axis, along=along.along, against=along.against)


def _end_names(strip: Strip) -> tuple[str, str]:
    """What to call the first and the last mark's end."""
    if abs(strip.along[0]) >= abs(strip.along[1]):
        return ("rear", "front") if strip.along[0] > 0 else ("front", "rear")
    return ("right", "left") if strip.along[1] > 0 else ("left", "right")


def _parts(strip: Strip, shift: Array, covariance: Array) -> list[tuple[_Way, float, float]]:
    """The parts of a shift worth saying, largest first, each with its sigma."""
    every = []
    for way in _ways(strip):
        sigma = float(np.sqrt(np.maximum(way.direction @ covariance @ way.direction, 0.0)))
        every.append((way, float(way.direction @ shift), sigma))
    every.sort(key=lambda part: -abs(part[1]))
    worth = [p for p in every[1:] if abs(p[1]) > max(COVERAGE * p[2], WORTH_MOVING_M)]
    return every[:1] + worth


def _phrase(strip: Strip, shift: Array, covariance: Array, lengths: LengthWords) -> str:
    return " and ".join(
        f"{lengths.cm(abs(amount), sigma)} too far {way.word(amount)}"
        for way, amount, sigma in _parts(strip, shift, covariance)
    )

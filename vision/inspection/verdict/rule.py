"""The one decision rule for every tolerance, and what a verdict is made of.

After JCGM 106 (from memory) with guard bands of two sigma on both sides: beyond where even the
kindest reading is too much, within where even the harshest is not, otherwise not judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.camera.geometry import ANGLES
from vision.units.arrays import Array
from vision.units.plain import written
from vision.units.reason import Reason

Judgement = Literal["beyond", "within", "not-judged"]
Angles = tuple[float, float, float]
"""Of pan, tilt and roll."""

COVERAGE = 2.0
"""Sigmas on each side of a figure: about 95 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """What to do; for a camera also the change to apply, for a strip or mark the move.

    `turn_rad` and `sigma_rad`: change of (pan, tilt, roll) and its sigmas. `move_m` and
    `move_sigma_m`: how far to move, in ground x, y (and z for a raised mark), and its sigmas.
    """

    what: Reason = written(key="text", text=True)
    turn_rad: Angles | None = written(4, degrees=True, names=ANGLES, default=None)
    sigma_rad: Angles | None = written(4, degrees=True, names=ANGLES, default=None)
    move_m: tuple[float, ...] | None = None
    move_sigma_m: tuple[float, ...] | None = None


def judge(deviation: float, sigma: float, tolerance: float) -> Judgement:
    """Judge |deviation| with its sigma against a largest allowed value; all in one unit.

    A figure or sigma that is not a number is not judged.
    """
    size = abs(deviation)
    if size - COVERAGE * sigma > tolerance:
        return "beyond"
    return "within" if size + COVERAGE * sigma <= tolerance else "not-judged"


def judge_minimum(value: float, sigma: float, minimum: float) -> Judgement:
    """Judge a value with its sigma against a smallest allowed value: `judge` turned round."""
    if value + COVERAGE * sigma < minimum:
        return "beyond"
    return "within" if value - COVERAGE * sigma >= minimum else "not-judged"


def length_and_sigma(vector: Array, covariance: Array) -> tuple[float, float]:
    """Length of a vector (n,) and the standard deviation along it, from covariance (n, n).

    The direction of a vector no longer than its largest principal sigma is noise; that sigma is
    then the one to answer for. NaN for both where anything is not finite.
    """
    if not (np.isfinite(vector).all() and np.isfinite(covariance).all()):
        return float("nan"), float("nan")
    length = float(np.linalg.norm(vector))
    largest = float(np.sqrt(max(np.linalg.eigvalsh(covariance)[-1], 0.0)))
    if length <= max(largest, 1e-12):
        return length, largest
    along = np.asarray(vector) / length
    return length, float(np.sqrt(np.maximum(along @ covariance @ along, 0.0)))


def worst_of(judgements: Iterable[Judgement]) -> Judgement:
    """Beyond if any is, within if there are some and all are, else not judged."""
    every = tuple(judgements)
    if "beyond" in every:
        return "beyond"
    return "within" if every and "not-judged" not in every else "not-judged"


def deciding(
    verdict: Judgement, figures: Sequence[tuple[float, float]], words: Sequence[Judgement]
) -> int:
    """Which figure (length, sigma) decides: of those with the verdict's own word the worst.

    The one farthest from acceptance, sigma included.
    """
    side = -COVERAGE if verdict == "beyond" else COVERAGE
    own = [index for index, word in enumerate(words) if word == verdict]
    return max(own, key=lambda index: figures[index][0] + side * figures[index][1])


def reasons_for(word: Judgement, of: str, *, real: bool, **figures: object) -> list[Reason]:
    """Why a figure is judged so: it is beyond, or straddles what is allowed.

    `of` says what kind of figure it is, `figures` what it is and what is allowed; `real` is whether
    it is worth saying though it is within.
    """
    if word != "within":
        return [Reason(f"{of}-{word}", **figures)]
    return [Reason("significant-within", of=of, **figures)] if real else []

"""Whether each thing is as it was stated: sound, wrong, one of several, or it cannot be told.

That no test failed is no proof. Sound is only what the data refute a usual slip of: a strip laid
off by its tolerance, a mounting measured to the wrong edge, a tape read an inch wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, assert_never

import numpy as np

from vision.adjustment.adjusted import Adjustment, GroupTest
from vision.adjustment.groups import FaultKind, Group, GroupKind
from vision.inspection.verdict.causes import stated
from vision.inspection.verdict.rule import degrees
from vision.job.job import AngleReading, Job
from vision.units.length_words import METRIC, LengthWords

StandingWord = Literal["wrong", "one-of-several", "cannot-tell", "sound"]

MOUNTING_SLIP_M = 0.05
LENGTH_SLIP_M = 0.0254
ANGLE_SLIP_RAD = float(np.radians(1.0))
LENS_SLIP = 0.1
"""Slips that happen: another edge of a housing, an inch, a degree on a gauge, a lens of another
type by a tenth of its scale; common practice, no source. What is laid has its own tolerance."""

SUSPECT = 0.05
MOST_SAID = 3
"""A sentence names no more than these, of those that a sound job would have one in twenty of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultSize:
    """One way to be wrong: m for a shift, rad for a turn, a share for a lens's scale.

    `possible` is the size up to which the data leave it possible (99 %), `sure` the size from which
    on it would be named, and nothing else, in 98 of 100 jobs, `slip` a usual slip. Infinite where
    nothing shows it.
    """

    kind: FaultKind
    possible: float
    sure: float
    slip: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How one group of the adjustment stands; `what` says it in words, `sizes` by kind of fault."""

    group: Group
    what: str
    word: StandingWord
    sizes: tuple[FaultSize, ...]
    p_value: float


def standings(job: Job, adjustment: Adjustment) -> tuple[Standing, ...]:
    """How every group stands: first what is wrong, then what may be, the least likely last."""
    order: tuple[StandingWord, ...] = ("wrong", "one-of-several", "cannot-tell", "sound")
    every = [_standing(job, adjustment, test) for test in adjustment.groups.values()]
    return tuple(sorted(every, key=lambda each: (order.index(each.word), each.p_value)))


def doubts(every: tuple[Standing, ...]) -> str | None:
    """One sentence on what cannot be told, and where to look first; None where all is known."""
    open_ = [each for each in every if each.word == "cannot-tell"]
    if not open_:
        return None
    text = (
        f"cannot tell of {len(open_)} of {len(every)} stated things whether a usual slip hides in"
        " them: no test failed, and nothing here refutes it; the report says how far off each may"
        " be, and [[reading]] tables narrow it"
    )
    suspects = [each for each in open_ if each.p_value < SUSPECT]
    if not suspects:
        return text
    return f"{text}. Look first at {'; '.join(each.what for each in suspects[:MOST_SAID])}"


def open_words(every: tuple[Standing, ...], lengths: LengthWords = METRIC) -> tuple[str, ...]:
    """What cannot be told, a sentence for each kind of thing, with the most it may be off by."""
    kinds: dict[GroupKind, list[Standing]] = {}
    for each in every:
        if each.word == "cannot-tell":
            kinds.setdefault(each.group.kind, []).append(each)
    return tuple(
        f"cannot tell whether a usual slip hides in {_together(kind, each)}: by all the rest"
        f" {'it' if len(each) == 1 else 'each'} may be off by {_most(each, lengths)}"
        for kind, each in kinds.items()
    )


def _together(kind: GroupKind, every: list[Standing]) -> str:
    """Things of one kind in a row: `the front and rear strips`."""
    if len(every) == 1:
        return every[0].what
    names = [each.group.name for each in every]
    if kind == "reading":
        names.sort(key=int)
    row = f"{', '.join(names[:-1])} and {names[-1]}"
    return f"readings {row}" if kind == "reading" else f"the {row} {kind}s"


def _most(every: list[Standing], lengths: LengthWords) -> str:
    """The most that any of them may be off by: `up to 3.9 cm, 0.8 degrees`."""
    most: dict[FaultKind, float] = {}
    for size in (size for each in every for size in each.sizes if size.possible >= size.slip):
        most[size.kind] = max(most.get(size.kind, 0.0), size.possible)
    if any(np.isinf(size) for size in most.values()):
        return "any amount"
    return "up to " + ", ".join(amount_text(kind, size, lengths) for kind, size in most.items())


def amount_text(kind: FaultKind, amount: float, lengths: LengthWords = METRIC) -> str:
    """An amount of a kind of fault for a sentence."""
    match kind:
        case "shift":
            return lengths.cm(amount)
        case "turn":
            return degrees(amount)
        case "scale":
            return f"{100 * amount:.0f} % of its scale"
        case _:
            assert_never(kind)


def _standing(job: Job, adjustment: Adjustment, test: GroupTest) -> Standing:
    sizes = tuple(
        FaultSize(
            kind=kind,
            possible=fault.possible,
            sure=fault.named,
            slip=_slip(job, test.group, kind),
        )
        for kind, fault in test.faults.items()
    )
    word: StandingWord = "sound"
    if test.group in adjustment.freed:
        word = "wrong"
    elif any(test.group in tie for tie in adjustment.freed_alternatives):
        word = "one-of-several"
    elif any(size.possible >= size.slip for size in sizes):
        word = "cannot-tell"
    return Standing(
        group=test.group,
        what=stated(job, test.group),
        word=word,
        sizes=sizes,
        p_value=test.p_value,
    )


def _slip(job: Job, group: Group, kind: FaultKind) -> float:
    """A usual slip of this kind, in the unit of the kind."""
    what, name = group
    match what:
        case "strip" if kind == "turn":
            return 2 * job.tolerances.strip_m / job.strip(name).length_m
        case "strip" | "bow" | "mark":
            return job.tolerances.strip_m
        case "mounting":
            return MOUNTING_SLIP_M
        case "lens" | "lens-type":
            return LENS_SLIP
    turned = isinstance(job.readings[group.reading], AngleReading)
    return ANGLE_SLIP_RAD if turned else LENGTH_SLIP_M

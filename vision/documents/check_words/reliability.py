"""Words for how each stated thing stands: by how much it may be off, and what cannot be told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import assert_never

import numpy as np

from vision.adjustment.groups import FaultKind, GroupKind
from vision.documents.check_words.saying import Say, degrees
from vision.inspection.verdict.reliability import Reliability
from vision.units.length_words import LengthWords


def open_words(every: Sequence[Reliability], say: Say) -> tuple[str, ...]:
    """What cannot be told, a sentence for each kind of thing, with the most it may be off by."""
    kinds: dict[GroupKind, list[Reliability]] = {}
    for each in every:
        if each.word == "cannot-tell":
            kinds.setdefault(each.group.kind, []).append(each)
    return tuple(
        f"cannot tell whether a usual slip hides in {_together(kind, each, say)}: by all the rest"
        f" {'it' if len(each) == 1 else 'each'} may be off by {_most(each, say.lengths)}"
        for kind, each in kinds.items()
    )


def _together(kind: GroupKind, every: list[Reliability], say: Say) -> str:
    """Things of one kind in a row: `the front and rear strips`."""
    if len(every) == 1:
        return say(every[0].what)
    names = [each.group.name for each in every]
    if kind == "reading":
        names.sort(key=int)
    row = f"{', '.join(names[:-1])} and {names[-1]}"
    return f"readings {row}" if kind == "reading" else f"the {row} {kind}s"


def _most(every: list[Reliability], lengths: LengthWords) -> str:
    """The most that any of them may be off by: `up to 3.9 cm, 0.8 degrees`."""
    most: dict[FaultKind, float] = {}
    for size in (size for each in every for size in each.sizes if size.possible >= size.slip):
        most[size.kind] = max(most.get(size.kind, 0.0), size.possible)
    if any(np.isinf(size) for size in most.values()):
        return "any amount"
    return "up to " + ", ".join(amount_text(kind, size, lengths) for kind, size in most.items())


def amount_text(kind: FaultKind, amount: float, lengths: LengthWords) -> str:
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

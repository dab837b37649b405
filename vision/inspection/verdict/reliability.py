"""Whether each thing is as it was stated: sound, wrong, one of several, or it cannot be told.

That no test failed is no proof. Sound is only what the data refute a usual slip of: a strip laid
off by its tolerance, a mounting measured to the wrong edge, a tape read an inch wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.adjustment.adjusted import Adjustment, GroupTest
from vision.adjustment.groups import FaultKind, Group
from vision.inspection.settings import SETTINGS
from vision.inspection.verdict.causes import stated
from vision.job.job import AngleReading, Job, LevelReading
from vision.units.plain import also_written, written
from vision.units.reason import Reason

ReliabilityWord = Literal["wrong", "one-of-several", "cannot-tell", "sound"]

NOT_SHOWN = "not-shown"
"""The code of why a size is infinite: nothing measured shows such a fault."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultSize:
    """One way to be wrong: m for a shift, rad for a turn, a share for a lens's scale.

    `possible` is the size up to which the data leave it possible (99 %), `sure` the size from which
    on it would be named, and nothing else, in 98 of 100 jobs, `slip` a usual slip. Infinite where
    nothing shows it.
    """

    kind: FaultKind = written()
    possible: float
    sure: float
    slip: float

    @property
    @also_written()
    def unit(self) -> str:
        """The unit that figures are written in."""
        return {"turn": "deg", "shift": "m", "scale": "share"}[self.kind]

    @property
    @also_written(3, significant=True, key="possible", missing=NOT_SHOWN)
    def possible_in_unit(self) -> float:
        """`possible` in that unit, as the two below."""
        return self._in_unit(self.possible)

    @property
    @also_written(3, significant=True, key="surely_named", missing=NOT_SHOWN)
    def sure_in_unit(self) -> float:
        """`sure`."""
        return self._in_unit(self.sure)

    @property
    @also_written(3, significant=True, key="usual_slip")
    def slip_in_unit(self) -> float:
        """`slip`."""
        return self._in_unit(self.slip)

    def _in_unit(self, amount: float) -> float:
        return float(np.degrees(amount)) if self.kind == "turn" else amount


@dataclass(frozen=True, slots=True, kw_only=True)
class Reliability:
    """How one group of the adjustment stands; `what` names it, `sizes` by kind of fault."""

    group: Group = written(key="what")
    what: Reason = written(key="text", text=True)
    word: ReliabilityWord = written(key="standing")
    p_value: float = written(3, significant=True)
    sizes: tuple[FaultSize, ...] = written(key="faults")


def reliabilities(job: Job, adjustment: Adjustment) -> tuple[Reliability, ...]:
    """How every group stands: first what is wrong, then what may be, the least likely last."""
    order: tuple[ReliabilityWord, ...] = ("wrong", "one-of-several", "cannot-tell", "sound")
    every = [_reliability(job, adjustment, test) for test in adjustment.groups.values()]
    return tuple(sorted(every, key=lambda each: (order.index(each.word), each.p_value)))


def doubts(every: tuple[Reliability, ...]) -> Reason | None:
    """What cannot be told, and where to look first; None where all is known."""
    open_ = [each for each in every if each.word == "cannot-tell"]
    if not open_:
        return None
    suspects = [each.what for each in open_ if each.p_value < SETTINGS.suspect_p]
    first = tuple(suspects[: SETTINGS.most_suspects])
    # That ground is even is taken for granted: nobody stated it.
    things, of = (sum(each.group.kind != "ground" for each in some) for some in (open_, every))
    return Reason("cannot-tell", things=things, of=of, first=first)


def _reliability(job: Job, adjustment: Adjustment, test: GroupTest) -> Reliability:
    sizes = tuple(
        FaultSize(
            kind=kind,
            possible=fault.possible,
            sure=fault.named,
            slip=_slip(job, test.group, kind),
        )
        for kind, fault in test.faults.items()
    )
    word: ReliabilityWord = "sound"
    if test.group in adjustment.freed:
        word = "wrong"
    elif any(test.group in tie for tie in adjustment.freed_alternatives):
        word = "one-of-several"
    elif any(size.possible >= size.slip for size in sizes):
        word = "cannot-tell"
    return Reliability(
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
        case "ground":
            return SETTINGS.slips.height_m
        case "mounting":
            return SETTINGS.slips.mounting_m
        case "lens" | "lens-type":
            return SETTINGS.slips.lens_share
    turned = isinstance(job.readings[group.reading], AngleReading | LevelReading)
    return SETTINGS.slips.angle_rad if turned else SETTINGS.slips.length_m

"""Single gross faults to try on simulated jobs, and what an adjustment makes of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.accuracy.simulation import Faults, Hump, Truth
from vision.adjustment.adjusted import Adjustment, GroupTest
from vision.adjustment.groups import Group
from vision.inspection.verdict.reliability import Reliability, reliabilities
from vision.job.job import Job
from vision.units.arrays import Array

RIGHT = Group("strip", "right")
LEFT_LENS = Group("lens", "left")


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One gross fault: a group shifted some way or turned, another field of view, or a hump."""

    label: str = ""
    cause: Group | None = None
    shift_m: float = 0.0
    turn_rad: float = 0.0
    field_rad: float | None = None
    numbers: int = 3
    hump_m: tuple[float, float] | None = None
    reach_m: tuple[float, float] = (1.0, 3.0)

    def drawn(self, rng: np.random.Generator) -> Faults:
        """The fault in one job, some way or other."""
        direction = rng.normal(size=self.numbers)
        shift = self.shift_m * direction / np.linalg.norm(direction)
        turn_rad = self.turn_rad * float(rng.choice([-1, 1]))
        if self.cause is None:
            return Faults()
        if self.hump_m is not None:
            height_m = float(rng.uniform(*self.hump_m) * rng.choice([-1, 1]))
            reach_m, middle_m = rng.uniform(*self.reach_m), rng.uniform(3.0, 9.0)
            hump = Hump(middle_m=middle_m, reach_m=reach_m, height_m=height_m)
            return Faults(shift={self.cause: np.array([height_m])}, humps={self.cause: hump})
        fields = {} if self.field_rad is None else {self.cause: self.field_rad}
        return Faults(shift={self.cause: shift}, turn_rad={self.cause: turn_rad}, field_rad=fields)

    def times(self, test: GroupTest, shift_m: Array, truth: Truth) -> float:
        """How many times its minimal detectable bias the fault is."""
        assert self.cause is not None
        if self.hump_m is not None:
            return abs(float(shift_m[0])) / test.faults["shift"].detectable()
        if self.turn_rad:
            return self.turn_rad / test.faults["turn"].detectable()
        bias, numbers = np.zeros(len(test.rows.redundancy)), shift_m
        if self.field_rad is not None:
            name = self.cause.name
            seen = next(each for each in truth.observations if each.name == name)
            numbers = seen.prior.residuals(truth.lenses[name])[0][: len(bias)]
        elif self.cause.kind == "strip":
            numbers = np.tile(shift_m, 2)
        bias[: len(numbers)] = numbers
        return test.times_detectable(bias)

    def surely_named(self, test: GroupTest, shift_m: Array) -> bool | None:
        """Whether the job says that it surely names the fault alone; None where it says nothing."""
        if self.hump_m is not None:
            return None
        if self.turn_rad:
            return self.turn_rad >= test.faults["turn"].named
        kind = next(iter(test.faults))
        if kind == "scale":
            return None
        size, numbers = float(np.linalg.norm(shift_m)), len(test.faults[kind].estimate)
        return size >= test.faults[kind].named_along(shift_m[:numbers] / size)


NO_FAULT = Fault()
GROUND = Group("ground", "right")

FAULTS = (
    Fault(label="strip 3 cm", cause=RIGHT, shift_m=0.03, numbers=2),
    Fault(
        label="strip 0.5 degree",
        cause=RIGHT,
        turn_rad=float(np.radians(0.5)),
        numbers=2,
    ),
    Fault(label="mounting 8 cm", cause=Group("mounting", "left"), shift_m=0.08),
    Fault(
        label="knocked 1 degree",
        cause=Group.of_reading(14),
        shift_m=float(np.radians(1)),
        numbers=2,
    ),
    Fault(label="raised mark 5 cm", cause=Group("mark", "left_carton"), shift_m=0.05),
    Fault(label="length an inch wrong", cause=Group.of_reading(5), shift_m=0.0254, numbers=1),
    Fault(label="lens of another type", cause=LEFT_LENS, field_rad=float(np.radians(160))),
)
"""The seven that are wanted."""

MORE_FAULTS = (
    Fault(label="strip 6 cm", cause=RIGHT, shift_m=0.06, numbers=2),
    Fault(label="front strip 6 cm", cause=Group("strip", "front"), shift_m=0.06, numbers=2),
    Fault(
        label="strip 1 degree",
        cause=RIGHT,
        turn_rad=float(np.radians(1)),
        numbers=2,
    ),
    Fault(label="mounting 25 cm", cause=Group("mounting", "left"), shift_m=0.25),
    Fault(
        label="knocked 4 degrees",
        cause=Group.of_reading(14),
        shift_m=float(np.radians(4)),
        numbers=2,
    ),
    Fault(label="raised mark 12 cm", cause=Group("mark", "left_carton"), shift_m=0.12),
    Fault(label="length 3 inches wrong", cause=Group.of_reading(5), shift_m=0.0762, numbers=1),
    Fault(label="offset a foot wrong", cause=Group.of_reading(10), shift_m=0.3048, numbers=1),
    Fault(label="lens of 140 degrees", cause=LEFT_LENS, field_rad=float(np.radians(140))),
)
"""The same kinds, mostly beyond what can just be detected."""


HUMPS = (
    Fault(label="hump of 2 to 4 cm", cause=GROUND, hump_m=(0.02, 0.04)),
    Fault(label="hump of 6 to 10 cm", cause=GROUND, hump_m=(0.06, 0.1)),
)
"""Under one strip, at any place of it, higher or lower than the rest."""


def outcome(job: Job, result: Adjustment, cause: Group | None) -> str:
    """In one word, what was said where `cause` is at fault (None for nothing).

    'open' where nothing was named and the cause is among what cannot be told; 'missed' where it was
    taken for sound.
    """
    freed, ties = result.freed, result.freed_alternatives
    if not freed and not ties:
        if not cause:
            return "none"
        open_ = any(each.group == cause for each in undecided(job, result))
        return "open" if open_ else "missed"
    if any(g != cause for g in freed) or any(cause not in tie for tie in ties):
        return "wrong"
    return "right" if freed else "tie"


def undecided(job: Job, result: Adjustment) -> list[Reliability]:
    """Groups of which it cannot be told whether they are as stated."""
    return [each for each in reliabilities(job, result) if each.word == "cannot-tell"]

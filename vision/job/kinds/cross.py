"""Two lines of tape that cross at right angles."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np

from vision.job.coverage import Blurred, Drawn
from vision.job.kinds.mark_shape import (
    Feature,
    FilterName,
    Floats,
    Line,
    MarkShape,
    Polygon,
    WriteLength,
    rectangle,
)
from vision.units.arrays import Flags
from vision.units.tables import LENGTH, Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Cross(MarkShape):
    """Two lines; from the centre to the line's end along and across the strip, and line width.

    Keys: `arm`, one length for both ways or [along, across], above 0; `line`, a length below
    twice the shorter arm. Both are required.
    """

    kind: ClassVar[str] = "cross"
    keys: ClassVar[tuple[str, ...]] = ("arm", "line")
    filter_name: ClassVar[FilterName] = "cross"

    arm_along_m: float
    arm_across_m: float
    line_m: float

    @classmethod
    def read(cls, table: Table) -> Self:
        """A cross whose lines are longer than wide."""
        arms: tuple[float, ...] = ()
        words = f"{LENGTH}; or [along, across]"
        if isinstance(table.values.get("arm"), list):
            arms = table.lengths("arm", (2,), words)
            arms = tuple(table.above_zero("arm", arm) for arm in arms)
        elif table.needs("arm", words):
            arms = (table.length("arm"),) * 2
        line = table.length("line")
        along, across = arms or (math.nan, math.nan)
        if line >= 2 * min(along, across):
            table.wrong(
                "line-too-wide",
                "line",
                "a line thinner than its arms are long",
                "measure from the centre",
            )
        return cls(arm_along_m=along, arm_across_m=across, line_m=line)

    def written(self, length: WriteLength) -> dict[str, object]:
        """One length for arms that are alike."""
        arms = [self.arm_along_m, self.arm_across_m]
        arm = length(arms[0]) if arms[0] == arms[1] else [length(each) for each in arms]
        return {"arm": arm, "line": length(self.line_m)}

    @property
    def half_extent_m(self) -> tuple[float, float]:
        """From the centre to the lines' ends."""
        return self.arm_along_m, self.arm_across_m

    def ink(self, at: Blurred) -> Drawn:
        """The line along, and what the line across has beside it."""
        half = self.line_m / 2
        across = at.band("s", half)
        beside = at.band("q", self.arm_across_m) - (line := at.band("q", half))
        return at.corner(at.band("s", self.arm_along_m), line) + at.corner(across, beside)

    @property
    def polygons(self) -> tuple[Polygon, ...]:
        """The two lines, which overlap."""
        half, along, across = self.line_m / 2, self.arm_along_m, self.arm_across_m
        return rectangle(-along, along, -half, half), rectangle(-half, half, -across, across)

    def inked(self, s: Floats, q: Floats) -> Flags:
        """On either line."""
        half = self.line_m / 2
        along = (np.abs(s) < self.arm_along_m) & (np.abs(q) < half)
        across = (np.abs(q) < self.arm_across_m) & (np.abs(s) < half)
        return np.asarray(along | across)

    @property
    def stroke_m(self) -> float:
        """The lines' width."""
        return self.line_m

    @property
    def lines(self) -> tuple[Line, ...]:
        """The line along and the line across."""
        return (
            Line("along", 2 * self.arm_along_m, self.line_m),
            Line("across", 2 * self.arm_across_m, self.line_m),
        )

    @property
    def features(self) -> tuple[Feature, ...]:
        """Ends of the lines, and the four inner corners."""
        along, across, half = self.arm_along_m, self.arm_across_m, self.line_m / 2
        return (
            Feature("arm-end", along, 0, "ahead"),
            Feature("arm-end", -along, 0, "behind"),
            Feature("arm-end", 0, across, "left"),
            Feature("arm-end", 0, -across, "right"),
            *(Feature("inner-corner", s, q, None) for s in (-half, half) for q in (-half, half)),
        )

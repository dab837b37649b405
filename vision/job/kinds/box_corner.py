"""A carton's top corner: no ink, but three edges that meet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np

from vision.job.coverage import Blurred, Drawn
from vision.job.kinds.mark_shape import MarkShape, Polygon, Stand, WriteLength
from vision.job.settings import SETTINGS
from vision.units.arrays import Array
from vision.units.tables import LENGTH, Table


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxCorner(MarkShape):
    """A carton's top corner, the one nearest the camera it was set up for.

    Keys, both optional: `size`, [long, short], each a length above 0; `turn_deg`, of the long side
    from x, -360 to 360. A carton stands on something: its z is above 0.
    """

    kind: ClassVar[str] = "box_corner"
    keys: ClassVar[tuple[str, ...]] = ("size", "turn_deg")
    on_strips: ClassVar[bool] = False
    drawn: ClassVar[bool] = False
    may_be_missing: ClassVar[bool] = True

    size_m: tuple[float, float] | None = None
    turn_rad: float | None = None

    @classmethod
    def read(cls, table: Table) -> Self:
        """What is known of the carton."""
        size: tuple[float, float] | None = None
        if table.has("size"):
            sides = table.lengths("size", (2,), f"[long, short], each {LENGTH}")
            sides = tuple(table.above_zero("size", side) for side in sides)
            if sides:
                size = (sides[0], sides[1])
                if sides[0] < sides[1]:
                    step = "swap the two; turn_deg is of the long side"
                    table.wrong("wrong-order", "size", "[long, short]", step)
        turn = table.number("turn_deg", -360, 360) if table.has("turn_deg") else None
        return cls(size_m=size, turn_rad=None if turn is None else math.radians(turn))

    def written(self, length: WriteLength) -> dict[str, object]:
        """What is known of the carton."""
        keys: dict[str, object] = {}
        if self.size_m is not None:
            keys["size"] = [length(each) for each in self.size_m]
        if self.turn_rad is not None:
            keys["turn_deg"] = math.degrees(self.turn_rad)
        return keys

    @property
    def half_extent_m(self) -> tuple[float, float]:
        """Nothing is drawn."""
        return 0.0, 0.0

    def ink(self, at: Blurred) -> Drawn:
        """None anywhere."""
        return at.whole().times(0.0)

    @property
    def polygons(self) -> tuple[Polygon, ...]:
        """None."""
        return ()

    def stand(self, at_m: Array, towards_m: Array) -> Stand:
        """The carton, which stands away from its camera on both axes; of a usual size untold."""
        size, turn = self.size_m or SETTINGS.carton_size_m, self.turn_rad or 0.0
        axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        middle = np.array(at_m[:2])
        for axis, length in zip(axes, size, strict=True):
            towards = axis @ (towards_m - at_m)[:2]
            middle -= (1 if towards > 0 else -1) * axis * length / 2
        return Stand(middle_m=middle, size_m=size, turn_rad=turn)

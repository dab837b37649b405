"""Two opposite quarters of a disc, as they are printed for photogrammetry."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np

from vision.job.coverage import Blurred, Drawn
from vision.job.kinds.mark_shape import (
    Feature,
    Floats,
    MarkShape,
    Polygon,
    WriteLength,
    quarter_disc,
)
from vision.units.arrays import Flags
from vision.units.tables import Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Quadrant(MarkShape):
    """Two opposite sectors of a disc: ahead-left and behind-right, looking along the strip.

    Key: `radius`, a length above 0, required.
    """

    kind: ClassVar[str] = "quadrant"
    keys: ClassVar[tuple[str, ...]] = ("radius",)

    radius_m: float

    @classmethod
    def read(cls, table: Table) -> Self:
        """A disc of this radius."""
        return cls(radius_m=table.length("radius"))

    def written(self, length: WriteLength) -> dict[str, object]:
        """The radius."""
        return {"radius": length(self.radius_m)}

    @property
    def half_extent_m(self) -> tuple[float, float]:
        """The radius both ways."""
        return self.radius_m, self.radius_m

    def ink(self, at: Blurred) -> Drawn:
        """Two quarter planes within the disc."""
        return at.both(at.disc(self.radius_m), at.opposite_quarters())

    @property
    def polygons(self) -> tuple[Polygon, ...]:
        """The two sectors, their arcs in chords."""
        return quarter_disc(self.radius_m, 0), quarter_disc(self.radius_m, 2)

    def inked(self, s: Floats, q: Floats) -> Flags:
        """In the disc, and in one of its dark quarters."""
        return np.asarray((s * s + q * q < self.radius_m**2) & (s * q > 0))

    @property
    def features(self) -> tuple[Feature, ...]:
        """Where the disc's edge meets the strip's own directions."""
        r = self.radius_m
        return (
            Feature("disc-edge", r, 0, "ahead"),
            Feature("disc-edge", -r, 0, "behind"),
            Feature("disc-edge", 0, r, "left"),
            Feature("disc-edge", 0, -r, "right"),
        )

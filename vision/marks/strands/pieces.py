"""Pieces of lasting edge as values: a short curve each, with the profile across it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.marks.strands.settings import SETTINGS
from vision.units.arrays import Array, freeze

OFFSETS_PX = np.arange(-SETTINGS.reach_px, SETTINGS.reach_px + 1e-9, SETTINGS.step_px)
"""Where along its normal a profile is known."""

PLACES = int(np.ceil(SETTINGS.piece_px / SETTINGS.every_px)) + 1
"""Places along a piece at which light is looked at."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """Pieces (n,) of edge in one picture turned back.

    `middle_px` (n, 2); `normal_rad` (n,) the direction across, from u towards v, to the brighter
    side; `bend` (n,) curvature in 1/px, positive where the curve bends to the normal's side;
    `length_px` (n,); `profile` (n, k) the light's slope along the normal at `OFFSETS_PX`, its
    largest value 1; `strand` (n,) which linked edge each was cut from: what spoils one piece of a
    strand spoils its others.
    """

    middle_px: Array
    normal_rad: Array
    bend: Array
    length_px: Array
    profile: Array
    strand: NDArray[np.int64]

    def __post_init__(self) -> None:
        n = len(self.middle_px)
        freeze(self, middle_px=(n, 2), normal_rad=(n,), bend=(n,), length_px=(n,))
        freeze(self, profile=(n, len(OFFSETS_PX)))

    def __len__(self) -> int:
        return len(self.middle_px)

    def only(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Pieces:
        """Those of the pieces."""
        return Pieces(
            middle_px=self.middle_px[which],
            normal_rad=self.normal_rad[which],
            bend=self.bend[which],
            length_px=self.length_px[which],
            profile=self.profile[which],
            strand=self.strand[which],
        )

    def profile_at(self, scale: float) -> Array:
        """The profiles (n, k) that a picture `scale` times the size shows at `OFFSETS_PX`.

        There the gradient is taken under the same Gaussian in px, so it is wider on the body.
        """
        if abs(scale - 1) < 0.01:
            return self.profile
        at = OFFSETS_PX / scale
        out = np.stack([np.interp(at, OFFSETS_PX, row, 0.0, 0.0) for row in self.profile])
        wider = SETTINGS.scale_px**2 * (1 - scale**2)
        if wider > 0:
            weight = np.exp(-0.5 * np.square(OFFSETS_PX[:, None] - OFFSETS_PX) / wider)
            out = out @ (weight / weight.sum(axis=0))
        return np.asarray(out)

    def places(self, count: int = PLACES) -> Array:
        """Places along each piece (n, m, 2), from one end to the other."""
        along = np.linspace(-0.5, 0.5, count) * self.length_px[:, None]
        normal, tangent = self.axes
        across = 0.5 * self.bend[:, None] * along**2
        return np.asarray(
            self.middle_px[:, None]
            + along[..., None] * tangent[:, None]
            + across[..., None] * normal[:, None]
        )

    @property
    def axes(self) -> tuple[Array, Array]:
        """Unit vectors across and along each piece, (n, 2) both."""
        cos, sin = np.cos(self.normal_rad), np.sin(self.normal_rad)
        return np.stack([cos, sin], axis=-1), np.stack([-sin, cos], axis=-1)


def normals_of(places_px: Array, like: Array | None = None) -> Array:
    """Unit normals (n, m, 2) of curves through places (n, m, 2).

    The tangent turned by a quarter from v to u, which for `Pieces.places` is their own normal.
    """
    tangent = np.gradient(places_px, axis=1)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=-1, keepdims=True), 1e-12)
    return np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)

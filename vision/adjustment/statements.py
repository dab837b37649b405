"""What was stated of things: rows against the unknowns, how sure, and how each can be wrong.

A statement is a group of the network: of a place, of a lens, of a length that was read
(`readings`), of what stays between two checks (`vision.comparison.ties`). It knows which columns it
touches, its rows there, its stated sigma, the sigma that is useless against what is looked for and
still holds the solver, and in which ways the thing can be wrong as a whole. Everything that a
network does with a group, it does with these.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from vision.adjustment.groups import FaultKind, Group
from vision.adjustment.settings import SETTINGS
from vision.adjustment.state import LENS, Indices, State
from vision.camera.lens_prior import LensPrior, centre_sigma_px
from vision.camera.settings import SETTINGS as CAMERA_SETTINGS
from vision.job.job import Strip
from vision.units.arrays import Array

CENTRE_ROWS = 2
"""Of a lens prior on the curve, the last two rows hold the centre: no matter of the lens's type."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Statement(ABC):
    """What was stated of a group.

    `columns` (c,) are those that its rows touch; `sigma` of each row and `freed_sigma` once it is
    set free are in m, for an angle in rad, for what is whitened as it is 1. `degrees` is how many
    independent numbers were stated.
    """

    group: Group
    columns: Indices
    degrees: int
    sigma: float = 1.0
    freed_sigma: float = SETTINGS.freed.place_m

    @abstractmethod
    def rows(self, state: State) -> tuple[Array, Array]:
        """How far the group lies from what was stated (k,), and its derivative (k, c)."""

    def whitened(self, state: State, sigma: float) -> tuple[Array, Array]:
        """Its rows in the network, the group's own by this sigma."""
        off, jacobian = self.rows(state)
        return off / sigma, jacobian / sigma

    def ways(self, state: State) -> dict[FaultKind, Array]:
        """How its rows move with a unit of each fault it can have as a whole, (k, j)."""
        del state
        return {"shift": np.eye(self.degrees)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Held(Statement):
    """Unknowns that were stated one by one: a mounting, a strip's ends or bow, a mark's place.

    `stated` (k,) by column. `planned_m` is the place, or places in turn, that the unknowns are of
    or deviate from; None where they are no place. `strip` is that whose ends they are.
    """

    stated: Array
    planned_m: Array | None = None
    strip: Strip | None = None

    def rows(self, state: State) -> tuple[Array, Array]:
        """Unknown minus stated."""
        return state.x[self.columns] - self.stated, np.eye(len(self.columns))

    def ways(self, state: State) -> dict[FaultKind, Array]:
        """A strip is shifted, both ends alike, or turned about its middle."""
        if self.strip is None:
            return Statement.ways(self, state)
        across = 0.5 * self.strip.length_m * np.array([-self.strip.along[1], self.strip.along[0]])
        turn = np.concatenate([-across, across])[:, None]
        return {"shift": np.vstack([np.eye(2), np.eye(2)]), "turn": turn}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Even(Held):
    """That the ground under a strip is even, by heights at knots; `shares` (k,) along the strip."""

    shares: Array

    def ways(self, state: State) -> dict[FaultKind, Array]:
        """A hump, or a dip, so high in the middle of the strip."""
        del state
        return {"shift": (4 * self.shares * (1 - self.shares))[:, None]}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OnTurnedBody(Statement):
    """A mounting on a body that is turned against the ground by unknown angles.

    `columns` are those of its place (3,), then of the angles; `stated` (3,) is its place on the
    body, `by_stance` (3, s) how that goes with the angles. `planned_m` as of `Held`.
    """

    stated: Array
    by_stance: Array
    planned_m: Array

    def rows(self, state: State) -> tuple[Array, Array]:
        """Where it is minus where the body, as turned, has it."""
        place, turn = np.split(state.x[self.columns], [3])
        off = place - self.stated - self.by_stance @ turn
        return off, np.concatenate([np.eye(3), -self.by_stance], axis=1)


class LensRows(Protocol):
    """A prior on a lens."""

    def rows(self, vector: Array) -> tuple[Array, Array]:
        """Whitened residuals (m,) of a lens (8,), and their derivative (m, 8)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OfLens(Statement):
    """The prior on a lens, or on a type of lens that several cameras share; whitened as it is."""

    prior: LensRows
    degrees: int = LENS

    def rows(self, state: State) -> tuple[Array, Array]:
        """All rows of the prior."""
        return self.prior.rows(state.x[self.columns])

    def ways(self, state: State) -> dict[FaultKind, Array]:
        """A lens is of another scale."""
        focal = state.x[self.columns[:2]]
        return {"scale": (self.rows(state)[1][:, :2] @ focal)[:, None]}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OfCurve(OfLens):
    """A lens that is stated by its field of view, or, with `shared`, by its type.

    The group is then the curve alone: whatever the type, the centre is a matter of the camera and
    keeps its rows. `columns` of a shared one are its own, then its type's.
    """

    prior: LensPrior
    shared: bool = False

    def _all(self, state: State) -> tuple[Array, Array]:
        x = state.x[self.columns]
        if not self.shared:
            return self.prior.rows(x)
        r, by_own, by_shared = self.prior.rows_against(x[:LENS], x[LENS:])
        return r, np.concatenate([by_own, by_shared], axis=1)

    def rows(self, state: State) -> tuple[Array, Array]:
        """The rows on the curve and the aspect."""
        r, jacobian = self._all(state)
        return r[:-CENTRE_ROWS], jacobian[:-CENTRE_ROWS]

    def whitened(self, state: State, sigma: float) -> tuple[Array, Array]:
        """All rows, of which those on the centre keep their own sigma."""
        r, jacobian = self._all(state)
        weight = np.full(len(r), 1 / sigma)
        weight[-CENTRE_ROWS:] = 1.0
        return weight * r, weight[:, None] * jacobian


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OfFitted(OfLens):
    """A fitted lens, centre and all; where its file is not believed, the picture's middle holds."""

    prior: LensPrior
    _middle: Array = field(init=False)

    def __post_init__(self) -> None:
        guess = self.prior.guess
        object.__setattr__(self, "_middle", 0.5 * np.array([guess.width - 1, guess.height - 1]))

    def whitened(self, state: State, sigma: float) -> tuple[Array, Array]:
        """All rows, and, once it is less than believed, two that hold the centre."""
        r, jacobian = OfLens.whitened(self, state, sigma)
        if sigma <= 1:
            return r, jacobian
        sigma_px = centre_sigma_px(self.prior.guess.width)
        off = (state.x[self.columns[2:4]] - self._middle) / sigma_px
        by_centre = np.eye(CENTRE_ROWS, LENS, 2) / sigma_px
        return np.concatenate([r, off]), np.concatenate([jacobian, by_centre])


def of_lens(group: Group, columns: Indices, prior: LensPrior, *, shared: bool = False) -> OfLens:
    """A camera's lens as it was stated, or as one of its type."""
    freed = SETTINGS.freed.lens_share / (
        CAMERA_SETTINGS.fitted_sigma if shared else prior.scale_sigma
    )
    if prior.fitted and not shared:
        return OfFitted(group=group, columns=columns, prior=prior, freed_sigma=freed)
    return OfCurve(group=group, columns=columns, prior=prior, freed_sigma=freed, shared=shared)

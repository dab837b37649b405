"""Groups: what can be wrong, or can have changed, as a whole and be set free."""

from __future__ import annotations

from typing import Literal, NamedTuple

GroupKind = Literal[
    "strip",
    "bow",
    "ground",
    "mounting",
    "mark",
    "lens",
    "lens-type",
    "reading",
    "turn",
    "shift",
    "move",
    "exchange",
    "stance",
]


FaultKind = Literal["shift", "turn", "scale"]
"""How a thing can be wrong as a whole."""


class Group(NamedTuple):
    """A kind of thing and what it is called; as text `strip right`.

    A strip's ends, a strip's bow, the height of the ground under it, a camera's mounting, a single
    mark's place, a camera's lens, a type of lens that several cameras share, a reading (by its
    number, counted from 1 in the file's order); between two checks also a camera's turn and its
    shift on the vehicle, its exchange for another with a lens of its own, the move of a strip's
    ends, and how the vehicle stands.
    """

    kind: GroupKind
    name: str

    def __str__(self) -> str:
        return f"{self.kind} {self.name}"

    @classmethod
    def of_reading(cls, number: int) -> Group:
        """The group of the reading of this number, counted from 1."""
        return cls("reading", str(number))

    @property
    def reading(self) -> int:
        """Which of a job's readings this is, counted from 0."""
        return int(self.name) - 1

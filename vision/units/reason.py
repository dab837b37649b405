"""Why something is as it is: a code and its figures, of which words are made at the exit."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType


class Reason:
    """A code for scripts and what goes into its words: `Reason("tilt-beyond", off_rad=0.09)`.

    Arguments are plain values: numbers in SI units with the unit in their name, names, ids,
    tuples of these, and other reasons. They hold no sentence. Two reasons are equal where code
    and arguments are; arrays are therefore no arguments.
    """

    __slots__ = ("arguments", "code")

    code: str
    arguments: Mapping[str, object]

    def __init__(self, code: str, **arguments: object) -> None:
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "arguments", MappingProxyType(arguments))

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"a Reason is not changed: {name}")

    def __repr__(self) -> str:
        said = "".join(f", {name}={value!r}" for name, value in self.arguments.items())
        return f"Reason({self.code!r}{said})"

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Reason):
            return NotImplemented
        return self.code == other.code and dict(self.arguments) == dict(other.arguments)

    def __hash__(self) -> int:
        return hash((self.code, tuple(sorted(self.arguments))))

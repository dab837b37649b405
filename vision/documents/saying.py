"""How a reason becomes a sentence: its code names the words, its figures go into them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from vision.units.length_words import LengthWords
from vision.units.reason import Reason

Arguments = Mapping[str, Any]
Words = Callable[[Arguments, "Say"], str]
"""The sentence of a code from a reason's arguments; no full stop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Say:
    """Makes the sentence of a reason, its lengths written as `lengths`.

    KeyError for a code without words.
    """

    lengths: LengthWords
    table: Mapping[str, Words]

    def __call__(self, reason: Reason) -> str:
        """The sentence, without its full stop."""
        return self.table[reason.code](reason.arguments, self)

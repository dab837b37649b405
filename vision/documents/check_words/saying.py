"""How a reason becomes a sentence: its code names the words, its figures go into them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

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


def plain(text: str) -> Words:
    """Words that take no figure."""
    return lambda _, __: text


def degrees(angle_rad: float, sigma_rad: float | None = None) -> str:
    """An angle for a sentence: `5.2 degrees (+-0.4)`, the bracket being one sigma."""
    said = f"{np.degrees(angle_rad):.1f} degrees"
    return said if sigma_rad is None else f"{said} (+-{np.degrees(sigma_rad):.1f})"


def blur(a: Arguments) -> str:
    """`2.4 px (+-0.2)`."""
    return f"{a['blur_px']:.1f} px (+-{a['sigma_px']:.1f})"


JudgedWords = Callable[[str, Arguments, Say], str]
"""The sentence of a judged figure: its judgement, the arguments of its reason."""


def judged(word: str, figure: str, *, limit: str, span: str, narrow: str) -> str:
    """What is said of a figure: `span` is it with two sigma, `narrow` what would make them less."""
    match word:
        case "beyond":
            return f"{figure}; {limit} allowed"
        case "not-judged":
            return f"{figure}: {span} straddles the {limit} allowed; {narrow}"
    return f"{figure}: a real difference, but within the {limit} allowed"


def judgements(of: str, words: JudgedWords) -> dict[str, Words]:
    """The words of `OF-beyond` and `OF-not-judged`."""
    return {
        f"{of}-beyond": lambda a, say: words("beyond", a, say),
        f"{of}-not-judged": lambda a, say: words("not-judged", a, say),
    }

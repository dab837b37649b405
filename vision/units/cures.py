"""What to do about a value that is not what was expected, where a usual slip explains it."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection


def nearest(typed: str, known: Collection[str]) -> str | None:
    """The known word that was probably meant, in whatever case; None where none is near."""
    plain = {each.casefold(): each for each in known}
    near = difflib.get_close_matches(typed.casefold(), plain, n=1)
    return plain[near[0]] if near else None


def nearest_step(typed: str, known: Collection[str], otherwise: str) -> str:
    """What to do about a word that is not known: the one that was meant, or something else."""
    near = nearest(typed, known)
    return f"did you mean `{near}`?" if near else otherwise


_TYPED_NUMBER = re.compile(r"\s*([-+]?[0-9]+)(?:[.,]([0-9]+))?\s*(?:°|º|deg|degrees)?\s*")


def number_step(name: str, value: object, *, whole: bool = False) -> str:
    """What to do about a number that was typed as a text, or whole with a decimal point."""
    typed = _TYPED_NUMBER.fullmatch(value) if isinstance(value, str) else None
    if typed is not None and not (whole and typed[2]):
        number = typed[1] + (f".{typed[2]}" if typed[2] else "")
        return f"write `{name} = {number}`: a number without quotes"
    if whole and isinstance(value, float) and value.is_integer():
        return f"write `{name} = {value:.0f}`: without a decimal point"
    return "correct the value"


def list_step(name: str, value: object, count: int) -> str:
    """What to do about a list of lengths that is none, or has too few or too many."""
    if isinstance(value, str) and value.count(",") + 1 == count:
        parts = [each.strip() for each in value.strip("[]() ").split(",")]
        written = (each if _TYPED_NUMBER.fullmatch(each) else f'"{each}"' for each in parts)
        return f"write `{name} = [{', '.join(written)}]`: a list, without quotes round it"
    if isinstance(value, list) and count < len(value) <= 2 * count:
        return "write a point, not a comma, before decimals"
    if isinstance(value, list) and 0 < len(value) < count <= 3:
        return f"add the {'second' if len(value) == 1 else 'third'}"
    return "correct the value"

"""Sums of lengths, and the slip that explains one that does not add up.

Exact, like `lengths`: 0.1 m and 0.2 m are 0.3 m. Only a total in the other system of units is
allowed its rounding.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from vision.units.lengths import (
    LONGEST_TEXT,
    UNITS,
    Length,
    LengthError,
    decimal_text,
    metric,
    parse_length,
    read_length,
)

ROUNDING_M = UNITS["in"] / 32
"""Half of 1/16 in: the most that a total in the other system of units may be rounded by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sum:
    """Lengths to add, with the total that somebody expects (None where nobody does)."""

    terms: tuple[Length, ...]
    stated: Length | None

    @property
    def total_m(self) -> Fraction:
        """What the terms add up to, in metres."""
        return sum((term.metres for term in self.terms), Fraction(0))

    @property
    def off_m(self) -> Fraction:
        """Stated total minus true total, in metres; 0 where none is stated."""
        return self.stated.metres - self.total_m if self.stated else Fraction(0)

    @property
    def allowance_m(self) -> Fraction:
        """How far the total may be off: 0 in one system of units, else its rounding.

        3 m cannot be written exactly in inches and 64ths; a total in the other system is right
        when it is the nearest that its last place can say, and that place is fine enough.
        """
        if self.stated is None or all(t.imperial == self.stated.imperial for t in self.terms):
            return Fraction(0)
        return min(self.stated.place_m / 2, ROUNDING_M)

    @property
    def adds_up(self) -> bool:
        """Whether the stated total is the total."""
        return abs(self.off_m) <= self.allowance_m

    def explained(self, change_m: Fraction) -> bool:
        """Whether the sum adds up once its terms make so much more, or its total so much less."""
        return abs(change_m - self.off_m) <= self.allowance_m


def parse_sum(text: str) -> Sum:
    """Read `a + b + c` or `a + b + c = total`, every length with its unit.

    Raises LengthError.
    """
    if len(text) > 10 * LONGEST_TEXT:
        raise LengthError(f"{len(text)} characters", "a sum of lengths", "check fewer at a time")
    left, *right = text.split("=")
    if len(right) > 1:
        raise LengthError(repr(text), "one `=` at most", "check one sum at a time")
    stated = read_length(right[0]) if right else None
    return Sum(terms=tuple(read_length(term) for term in left.split("+")), stated=stated)


MOST_SLIPS = 3


def judgement(checked: Sum) -> str:
    """Whether a sum adds up, by how much not, and the slip that would explain it."""
    assert checked.stated is not None
    size = metric(abs(checked.off_m))
    direction = "long" if checked.off_m > 0 else "short"
    if checked.adds_up:
        rounding = f", rounded: {size} too {direction}" if checked.off_m else ""
        return f"adds up to the stated {checked.stated.text}{rounding}"
    lines = [f"does not add up: the stated {checked.stated.text} is {size} too {direction}"]
    named = slips(checked)
    lines += [f"slip: {slip}" for slip in named[:1]] + [f"or: {slip}" for slip in named[1:]]
    if not named:
        lines.append("no one slip explains it: measure or add again")
    return "\n".join(lines)


def slips(checked: Sum) -> tuple[str, ...]:
    """Single slips that would explain why a sum does not add up, the likeliest first.

    Empty when the sum adds up or no one slip explains it; at most `MOST_SLIPS`.
    """
    if checked.stated is None or checked.adds_up:
        return ()
    found = dict.fromkeys(
        (*_term_slips(checked), *_inch_slips(checked), *_digit_slips(checked),
         *_unit_slips(checked), *_step_slips(checked))
    )  # fmt: skip
    return tuple(found)[:MOST_SLIPS]


def _term_slips(checked: Sum) -> Iterator[str]:
    for term in checked.terms if len(checked.terms) > 1 else ():
        if term.metres and checked.explained(-term.metres):
            yield f"`{term.text}` is left out of the total"
        if term.metres and checked.explained(term.metres):
            yield f"`{term.text}` is counted twice in the total"


def _step_slips(checked: Sum) -> Iterator[str]:
    for name, unit in (("foot", "ft"), ("inch", "in"), ("metre", "m"), ("centimetre", "cm")):
        for sign, words in ((1, "too many"), (-1, "too few")):
            if checked.explained(sign * UNITS[unit]):
                yield f"the total has one {name} {words}"


def _decimal_feet_as_inches(length: Length) -> Fraction | None:
    """Metres of `9.10 ft` read as 9 ft 10 in; None where the length is not decimal feet."""
    part = length.parts[0]
    feet, _, inches = part.text.partition(".")
    if len(length.parts) > 1 or part.unit != "ft" or not inches or int(inches) > 11:
        return None
    return int(feet or 0) * UNITS["ft"] + int(inches) * UNITS["in"]


def _inches_as_decimal_feet(length: Length) -> Fraction | None:
    """Metres of `9 ft 10 in` read as 9.10 ft; None where it is not whole feet and inches."""
    if [part.unit for part in length.parts] != ["ft", "in"] or not length.parts[1].text.isdigit():
        return None
    return Fraction(f"{length.parts[0].text.rstrip('.')}.{length.parts[1].text}") * UNITS["ft"]


def _inch_slips(checked: Sum) -> Iterator[str]:
    assert checked.stated is not None
    for read, words in (
        (_decimal_feet_as_inches, "decimal feet are taken for feet and inches"),
        (_inches_as_decimal_feet, "feet and inches are taken for decimal feet"),
    ):
        others = [(term, read(term)) for term in checked.terms]
        changed = [(term, other) for term, other in others if other is not None]
        moves = [other - term.metres for term, other in changed]
        if changed and checked.explained(sum(moves, Fraction(0))):
            yield f"{words}: {', '.join(f'`{term.text}`' for term, _ in changed)}"
        for (term, _), move in zip(changed, moves, strict=True) if len(changed) > 1 else ():
            if checked.explained(move):
                yield f"{words}: `{term.text}`"
        total = read(checked.stated)
        if total is not None and checked.explained(checked.stated.metres - total):
            yield f"{words}: the total `{checked.stated.text}`"
    units = [{part.unit: part.value for part in term.parts} for term in checked.terms]
    if all(set(unit) <= {"ft", "in"} for unit in units):
        feet = sum((unit.get("ft", Fraction(0)) for unit in units), Fraction(0))
        tens, inches = divmod(sum((unit.get("in", Fraction(0)) for unit in units), Fraction(0)), 10)
        carried = (feet + tens) * UNITS["ft"] + inches * UNITS["in"]
        if tens and checked.explained(carried - checked.total_m):
            yield "inches are carried at ten instead of twelve"


def _read_again(text: str) -> Fraction | None:
    try:
        return parse_length(text)
    except LengthError:
        return None


def _edited(text: str) -> Iterator[tuple[str, str]]:
    """Texts that differ from `text` by a swap of two digits or by one digit left out."""
    for i, character in enumerate(text):
        following = text[i + 1 : i + 2]
        if character.isdigit() and following.isdigit() and following != character:
            yield text[:i] + following + character + text[i + 2 :], "two digits are swapped"
        if character.isdigit():
            yield text[:i] + text[i + 1 :], "a digit is left out"


def _digit_slips(checked: Sum) -> Iterator[str]:
    assert checked.stated is not None
    # A digit missing from the total is found by leaving one out of the right total as written in
    # the stated unit; a total in parts has no one way of writing it.
    if len(checked.stated.parts) == 1:
        unit = checked.stated.parts[0].unit
        right = f"{decimal_text(checked.total_m / UNITS[unit], 6)} {unit}"
        for text, words in _edited(right):
            again = _read_again(text)
            if again is not None and checked.explained(again - checked.total_m):
                yield f"{words} in the total: `{right}` became `{checked.stated.text}`"
    for term in checked.terms:
        for text, words in _edited(term.text):
            again = _read_again(text)
            if again is not None and checked.explained(again - term.metres):
                yield f"{words} in a term: `{term.text}` was added as `{text}`"


def _unit_slips(checked: Sum) -> Iterator[str]:
    assert checked.stated is not None
    for power, words in ((10, "right"), (Fraction(1, 10), "left")):
        if checked.total_m and checked.explained(checked.total_m * (power - 1)):
            yield f"the decimal point of the total is one place too far to the {words}"
    for term in checked.terms if len(checked.terms) > 1 else ():
        for unit in UNITS:
            other = term.parts[0].value * UNITS[unit]
            if len(term.parts) == 1 and checked.explained(other - term.metres):
                yield f"`{term.text}` was added as if it were in {unit}"
    for unit in UNITS:
        other = checked.stated.parts[0].value * UNITS[unit]
        if len(checked.stated.parts) == 1 and checked.explained(checked.stated.metres - other):
            yield f"the total `{checked.stated.text}` would be right in {unit}"

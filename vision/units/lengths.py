"""Lengths as people type and read them: metric, feet, inches and fractions.

Everything is exact: a length is a `fractions.Fraction` of metres until somebody asks for a float.
The inch is 25.4 mm and the foot 0.3048 m, exactly (NIST SP 811, appendix B.8).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from vision.units.cures import nearest

UNITS = {
    "mm": Fraction(1, 1000),
    "cm": Fraction(1, 100),
    "m": Fraction(1),
    "in": Fraction(254, 10000),
    "ft": Fraction(3048, 10000),
}
"""Metres in one of each unit; also the units that a job file may name."""

SPELLINGS = {
    **{unit: unit for unit in UNITS},
    **{f"{name}{end}": unit
       for name, unit in (("millimet", "mm"), ("centimet", "cm"), ("met", "m"))
       for end in ("re", "res", "er", "ers")},
    **dict.fromkeys(("inch", "inches", "ins", '"', "''"), "in"),
    **dict.fromkeys(("foot", "feet", "'"), "ft"),
}  # fmt: skip

METRIC = ("m", "cm", "mm")
IMPERIAL = ("ft", "in")
FRACTIONS = (1, 2, 4, 8, 16, 32, 64)
"""Denominators that tapes carry."""

LONGEST_TEXT = 200
"""Characters; a longer text is no length, and its digits could be a way to stall the reader."""

LONGEST_M = 1_000_000
"""Metres; beyond it a unit or a digit is wrong, and a float would lose tenths of a millimetre."""

EXAMPLES = "`3 m`, `90 cm`, `9 ft 10 7/64 in` or `9'10 7/64\"`"

_LOOKALIKES = str.maketrans(
    {
        **dict.fromkeys("\u2032\u2018\u2019", "'"),
        **dict.fromkeys("\u2033\u201c\u201d", '"'),
        **dict.fromkeys("\u2212\u2013", "-"),
        **dict.fromkeys("\u00a0\u2007\u2009\u202f", " "),
        **{"\u2044": "/", "\u00bc": " 1/4", "\u00bd": " 1/2", "\u00be": " 3/4"},
        **{"\u215b": " 1/8", "\u215c": " 3/8", "\u215d": " 5/8", "\u215e": " 7/8"},
    }
)
"""Primes, curly quotes, dashes, hard blanks and ready-made fractions, as phones type them."""

_PART = re.compile(
    r"(?:(?P<whole>[0-9]+)(?:\s+|\s*-\s*))??(?P<over>[0-9]+)\s*/\s*(?P<under>[0-9]+)"
    r"|(?P<decimal>[0-9]+\.?[0-9]*|\.[0-9]+)"
)
_UNIT = re.compile(r"\s*(?P<unit>''|['\"]|[a-z]+)\.?", re.IGNORECASE)
_FRACTION_AFTER = re.compile(r"(?:\s*|\s+and\s+)(?P<fraction>[0-9]+\s*/\s*[0-9]+)$", re.IGNORECASE)
"""What is said last of a tape in inches, after the sign for inches: 9' 10" 7/64."""

_BETWEEN = re.compile(r"\s*(?:,(?![0-9])|-|and\b)?\s*", re.IGNORECASE)


class LengthError(ValueError):
    """A text or number that is no length; says what would have been one, and what to do."""

    def __init__(self, found: str, expected: str, next_step: str) -> None:
        self.found, self.expected, self.next_step = found, expected, next_step
        super().__init__(f"found {found}; expected {expected}; {next_step}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One number with its unit, as typed: `text` is the number alone."""

    text: str
    value: Fraction
    unit: str
    place: Fraction

    @property
    def metres(self) -> Fraction:
        """The part in metres."""
        return self.value * UNITS[self.unit]


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """A length as typed, in metres and as its parts, largest unit first."""

    text: str
    metres: Fraction
    parts: tuple[Part, ...]

    @property
    def imperial(self) -> bool:
        """Whether it was given in feet or inches."""
        return self.parts[0].unit in IMPERIAL

    @property
    def place_m(self) -> Fraction:
        """What one step in the last written place is worth, in metres."""
        return self.parts[-1].place * UNITS[self.parts[-1].unit]


def read_length(text: str, default_unit: str | None = None) -> Length:
    """Read one length; a number without a unit is in `default_unit`, or refused without one.

    Accepted: a number (decimal, fraction, or whole number and fraction) with one of the units
    mm cm m in ft, their names or ' and "; metres with centimetres or feet with inches together,
    where the last number after feet may leave its unit out, and a fraction may follow whole inches
    (9' 10" 7/64). A sign may come first.

    Raises
    ------
    LengthError
        When the text is no length, is not finite or is beyond `LONGEST_M`.
    """
    if len(text) > LONGEST_TEXT:
        raise LengthError(f"{len(text)} characters", f"a length such as {EXAMPLES}", "shorten it")
    plain = text.translate(_LOOKALIKES).strip()
    sign = -1 if plain.startswith("-") else 1
    body = plain[1:].lstrip() if plain[:1] in ("-", "+") else plain
    if not body or any(ord(character) < 32 and character != "\t" for character in text):
        raise _no_length(text)
    parts = tuple(_parts(text, body, default_unit))
    _check_order(text, parts)
    metres = sign * sum((part.metres for part in parts), Fraction(0))
    return Length(text=text.strip(), metres=_in_range(metres, repr(text)), parts=parts)


def parse_length(text: str, default_unit: str | None = None) -> Fraction:
    """Metres of one length as typed; see `read_length`."""
    return read_length(text, default_unit).metres


def length_from_number(number: float, unit: str) -> Fraction:
    """Metres of a bare number in `unit`; the decimal digits count, not the binary float.

    Raises LengthError for NaN, infinity and numbers beyond `LONGEST_M`.
    """
    if not math.isfinite(number):
        raise LengthError(str(number), "a finite number", "write the length that was measured")
    if abs(number) > LONGEST_M * 1000:
        raise _too_long(f"{number:.3g} {unit}")
    return _in_range(Fraction(str(number)) * UNITS[unit], f"{number} {unit}")


def _no_length(text: str) -> LengthError:
    commas = len(re.findall(r"(?<=[0-9]),(?=[0-9])", text))
    if commas:
        dotted, joined = (re.sub(r"(?<=[0-9]),(?=[0-9])", each, text.strip()) for each in (".", ""))
        if commas > 1 or "." in text:
            step = f"write `{joined}`: no commas between thousands"
        elif re.search(r"[0-9],[0-9]{3}(?![0-9])", text):
            step = f"write `{dotted}` where the comma stood before decimals, else `{joined}`"
        else:
            step = f"write `{dotted}`: a point, not a comma, before the decimals"
        return LengthError(repr(text), "a decimal point", step)
    return LengthError(repr(text), f"a length such as {EXAMPLES}", "write a number and its unit")


def _no_unit(text: str, found: str) -> LengthError:
    if found.lower() in ("nan", "inf", "infinity", "e"):
        return _no_length(text)
    near = nearest(found, SPELLINGS)
    step = f"did you mean `{SPELLINGS[near]}`?" if near else f"replace `{found}`"
    return LengthError(repr(text), f"a unit among {', '.join(UNITS)}", step)


def _too_long(found: str) -> LengthError:
    return LengthError(found, f"a length below {LONGEST_M} m", "check the digits and the unit")


def _in_range(metres: Fraction, found: str) -> Fraction:
    if abs(metres) > LONGEST_M:
        raise _too_long(found)
    return metres


def _parts(text: str, body: str, default_unit: str | None) -> Iterator[Part]:
    at, before = 0, None
    while at < len(body):
        number = _PART.match(body, at)
        if number is None:
            raise _no_length(text)
        unit = _UNIT.match(body, number.end())
        if unit is not None and unit["unit"].lower() == "and":
            unit = None
        if unit is not None:
            spelled = SPELLINGS.get(unit["unit"].lower())
            if spelled is None:
                raise _no_unit(text, unit["unit"])
            at = unit.end()
        elif before == "ft":
            spelled, at = "in", number.end()
        elif before is None and number.end() == len(body):
            if default_unit is None:
                step = f"say the unit, as in `{text.strip()} m`"
                raise LengthError(repr(text), "a number and its unit", step)
            spelled, at = default_unit, len(body)
        else:
            raise _no_length(text)
        after = _FRACTION_AFTER.match(body, at) if spelled == "in" else None
        if after is not None and unit is not None and number.group().isdecimal():
            at = len(body)
            number = _PART.fullmatch(f"{number.group()} {after['fraction']}")
            assert number is not None
        yield _part(text, number, spelled)
        before = spelled
        between = _BETWEEN.match(body, at)
        if between is not None:
            if between.end() == len(body) and between.group().strip():
                raise _no_length(text)
            at = between.end()


def _part(text: str, number: re.Match[str], unit: str) -> Part:
    if number["decimal"] is not None:
        decimals = len(number["decimal"].partition(".")[2])
        place = Fraction(1, 10**decimals)
        value = Fraction(number["decimal"].rstrip("."))
        return Part(text=number.group(), value=value, unit=unit, place=place)
    over, under = int(number["over"]), int(number["under"])
    if under == 0:
        raise LengthError(repr(text), "a fraction", "replace the zero below the line")
    if number["whole"] is not None and over >= under:
        step = "write the whole number and a fraction below 1"
        raise LengthError(repr(text), "a fraction below 1 after a whole number", step)
    value = int(number["whole"] or 0) + Fraction(over, under)
    return Part(text=number.group(), value=value, unit=unit, place=Fraction(1, under))


def _check_order(text: str, parts: tuple[Part, ...]) -> None:
    units = [part.unit for part in parts]
    system = IMPERIAL if units[0] in IMPERIAL else METRIC
    if units != [unit for unit in system if unit in units]:
        expected = "each unit once, the largest first, all metric or all feet and inches"
        raise LengthError(repr(text), expected, "join lengths with + in a sum")
    for part in parts[:-1]:
        if part.value.denominator != 1 or "." in part.text:
            step = f"write `{part.text} {part.unit}` alone, or whole {part.unit} and the rest"
            raise LengthError(repr(text), f"whole {part.unit} before {units[-1]}", step)


# ---------------------------------------------------------------------------------------- format


@dataclass(frozen=True, slots=True, kw_only=True)
class FeetInches:
    """A length as a tape in inches shows it, and by how much that is too long (metres)."""

    text: str
    error_m: Fraction


def feet_inches(length_m: Fraction | float, fraction: int = 16) -> FeetInches:
    """`length_m` in feet, inches and a fraction no finer than 1/`fraction` in.

    The error is what is shown minus what is meant. Raises ValueError for a fraction that no tape
    has (`FRACTIONS`) and for lengths that are not finite.
    """
    if fraction not in FRACTIONS:
        raise ValueError(f"fraction: expected one of {FRACTIONS}, found {fraction}")
    exact = Fraction(length_m)
    steps = round(abs(exact) / UNITS["in"] * fraction)
    feet, inches = divmod(Fraction(steps, fraction), 12)
    whole, rest = divmod(inches, 1)
    words = []
    if feet:
        words.append(f"{feet} ft")
    if rest:
        words.append(f"{whole} {rest} in" if whole else f"{rest} in")
    elif whole or not feet:
        words.append(f"{whole} in")
    shown = Fraction(steps, fraction) * UNITS["in"] * (-1 if exact < 0 else 1)
    text = ("-" if exact < 0 and steps else "") + " ".join(words)
    return FeetInches(text=text, error_m=shown - exact)


def decimal_text(value: Fraction | float, decimals: int) -> str:
    """`value` rounded to at most `decimals` decimals, without trailing zeros."""
    scaled = round(Fraction(value) * 10**decimals)
    whole, rest = divmod(abs(scaled), 10**decimals)
    digits = f"{rest:0{decimals}d}".rstrip("0") if decimals else ""
    return ("-" if scaled < 0 else "") + str(whole) + (f".{digits}" if digits else "")


def metric(length_m: Fraction | float, decimals_mm: int = 3) -> str:
    """`length_m` in the metric unit a person would use: m from one metre on, else cm or mm."""
    size = abs(Fraction(length_m))
    if size >= 1:
        return f"{decimal_text(length_m, decimals_mm + 3)} m"
    if size >= Fraction(1, 100):
        return f"{decimal_text(Fraction(length_m) * 100, decimals_mm + 1)} cm"
    return f"{decimal_text(Fraction(length_m) * 1000, decimals_mm)} mm"


def rounding_text(error_m: Fraction) -> str:
    """Put the rounding error in words, `exact` where there is none."""
    if error_m == 0:
        return "exact"
    size = abs(error_m) * 1000
    text = decimal_text(size, 3) if size >= Fraction(1, 2000) else "less than 0.001"
    return f"{text} mm too {'long' if error_m > 0 else 'short'}"


def both_systems(length_m: Fraction | float, fraction: int = 16) -> str:
    """One line: metres, millimetres, then feet and inches with their rounding error."""
    tape = feet_inches(length_m, fraction)
    exact = Fraction(length_m)
    mm = decimal_text(exact * 1000, 3)
    about = "" if Fraction(mm) == exact * 1000 else "about "
    m = decimal_text(exact, 6)
    outward = tape.error_m * (-1 if exact < 0 else 1)
    return f"{about}{m} m = {mm} mm = {tape.text} ({rounding_text(outward)})"

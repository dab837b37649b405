"""Tables of a file that a person wrote: hands out checked values and notes every fault.

Every reader answers a harmless stand-in (NaN, an empty text) after noting its fault, so that one
pass meets all of them; nothing may be made of a table before its faults are looked at.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Collection
from dataclasses import dataclass
from typing import TypeGuard

import numpy as np

from vision.units.arrays import Array
from vision.units.cures import list_step, nearest, nearest_step, number_step
from vision.units.errors import Fault, fault_of
from vision.units.lengths import UNITS, LengthError, length_from_number, parse_length

LENGTH = "a length: a number in job.units, or text with its unit such as `3 m`"


def has_control(text: str) -> bool:
    """Tell whether a text holds line breaks or other control characters."""
    return any(unicodedata.category(character) in ("Cc", "Cs", "Zl", "Zp") for character in text)


def describe(value: object) -> str:
    """Put a value in a few words, never deep: a list may hold a hundred thousand lists."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return repr(value if len(value) <= 60 else value[:57] + "...")
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        plain = all(isinstance(each, (int, float, str)) for each in value)
        if plain and len(value) <= 6:
            return "[" + ", ".join(describe(each) for each in value) + "]"
        return f"a list of {len(value)}"
    if isinstance(value, int) and abs(value) >= 10**20:
        return "a whole number of more than 20 digits"
    return str(value)


@dataclass(slots=True)
class Units:
    """The unit of bare lengths, and whether its absence has been reported."""

    name: str | None = None
    reported: bool = False


class Table:
    """One table of the file: hands out checked values and notes what is wrong with the rest."""

    def __init__(
        self, faults: list[Fault], file: str, path: str, values: dict[str, object], units: Units
    ) -> None:
        self.faults, self.file, self.path, self.values = faults, file, path, values
        self.units = units
        self.known: list[str] = []
        self.lacks: dict[str, Fault] = {}

    def key(self, name: str) -> str:
        """Give the full key of `name`, as a message gives it."""
        return f"{self.path}.{name}" if self.path else name

    def fault(self, code: str, name: str, found: str, expected: str, next_step: str) -> None:
        """Note a fault of the key `name`, or of the table itself when that is empty."""
        key = self.key(name) if name else self.path
        self.faults.append(fault_of(code, self.file, found, expected, next_step, key=key))

    def wrong(
        self, code: str, name: str, expected: str, next_step: str = "correct the value"
    ) -> None:
        """Note that what stands at `name` is not what was expected."""
        self.fault(code, name, describe(self.values.get(name)), expected, next_step)

    def has(self, name: str) -> bool:
        """Whether the key is there; naming it makes it a known key."""
        self.known.append(name)
        return name in self.values

    def needs(self, name: str, expected: str) -> bool:
        """Whether the key is there; a fault when it is not."""
        if self.has(name):
            return True
        self.lacking("missing", name, "nothing", expected, f"add `{name}`")
        return False

    def lacking(self, code: str, name: str, found: str, expected: str, next_step: str) -> None:
        """Note that a key is not there: a fault that a key which was meant for it takes back."""
        self.fault(code, name, found, expected, next_step)
        self.lacks[name] = self.faults[-1]

    def close(self) -> None:
        """Note every key that nobody asked for.

        One that was probably meant for a key that is lacking is one slip, and one fault.
        """
        unknown = [name for name in self.values if name not in self.known]
        for name in unknown:
            meant = nearest(name, self.known)
            step = f"did you mean `{meant}`?" if meant else "remove it"
            if meant is None and len(unknown) == len(self.lacks) == 1:
                meant = next(iter(self.lacks))
                step = f"did you mean `{meant}`, which is lacking?"
            if meant in self.lacks:
                self.faults.remove(self.lacks.pop(meant))
            known = ", ".join(dict.fromkeys(self.known))
            self.fault("unknown-key", name, "an unknown key", f"one of {known}", step)

    def text(self, name: str, expected: str) -> str:
        """Text of one line that is not blank; empty after noting a fault."""
        if self.needs(name, expected):
            value = self.values[name]
            if isinstance(value, str) and value.strip() and not has_control(value):
                return value
            self.wrong("wrong-text", name, expected)
        return ""

    def choice(self, name: str, choices: tuple[str, ...], default: str | None = None) -> str:
        """One of a few words; empty after noting a fault."""
        expected = "one of " + ", ".join(choices)
        if default is not None and not self.has(name):
            return default
        if default is None and not self.needs(name, expected):
            return ""
        value = self.values[name]
        if isinstance(value, str) and value in choices:
            return value
        step = nearest_step(str(value), choices, "correct the value")
        self.wrong("unknown-choice", name, expected, step)
        return ""

    def flag(self, name: str) -> bool:
        """Read true or false; false where the key is missing."""
        if not self.has(name):
            return False
        value = self.values[name]
        if not isinstance(value, bool):
            step = "write it in small letters, without quotes"
            self.wrong("wrong-kind", name, "true or false", step)
        return value is True

    def number(
        self,
        name: str,
        low: float,
        high: float,
        default: float | None = None,
        *,
        exclusive: bool = False,
    ) -> float:
        """Read a number from low to high; with `exclusive` the ends themselves are refused."""
        ends = ("above", "below") if exclusive else ("from", "to")
        upper = f"{' and' if exclusive else ''} {ends[1]} {high:g}"
        expected = f"a number {ends[0]} {low:g}" + (upper if math.isfinite(high) else "")
        if default is not None and not self.has(name):
            return default
        if default is None and not self.needs(name, expected):
            return math.nan
        value = self.values[name]
        if is_number(value):
            number = float(value)
            if low < number < high or (not exclusive and number in (low, high)):
                return number
        self.wrong("out-of-range", name, expected, number_step(name, value))
        return math.nan

    def whole(self, name: str, low: int, high: int, default: int | None = None) -> int:
        """Read a whole number; `low` after noting a fault."""
        expected = f"a whole number from {low} to {high}"
        if default is not None and not self.has(name):
            return default
        if default is None and not self.needs(name, expected):
            return low
        value = self.values[name]
        if isinstance(value, int) and not isinstance(value, bool) and low <= value <= high:
            return value
        self.wrong("out-of-range", name, expected, number_step(name, value, whole=True))
        return low

    def metres(self, name: str, value: object) -> float:
        """One length; NaN after noting a fault."""
        try:
            if isinstance(value, str):
                return float(parse_length(value, self.units.name))
            if is_number(value, finite=False):
                return float(length_from_number(value, self._unit()))
        except (LengthError, OverflowError) as error:
            found = getattr(error, "found", describe(value))
            expected = getattr(error, "expected", LENGTH)
            step = getattr(error, "next_step", "correct the value")
            self.fault("not-a-length", name, found, expected, step)
            return math.nan
        self.fault("not-a-length", name, describe(value), LENGTH, "correct the value")
        return math.nan

    def _unit(self) -> str:
        if self.units.name is not None:
            return self.units.name
        if not self.units.reported:
            self.units.reported = True
            step = f"say which unit bare lengths such as {self.path}'s are in"
            expected = "one of " + ", ".join(UNITS)
            self.faults.append(
                fault_of("no-unit", self.file, "nothing", expected, step, key="job.units")
            )
        return "m"

    def length(self, name: str, default_m: float | None = None) -> float:
        """Read a length above zero; NaN after noting a fault."""
        if default_m is not None and not self.has(name):
            return default_m
        if default_m is None and not self.needs(name, LENGTH):
            return math.nan
        return self.above_zero(name, self.metres(name, self.values[name]))

    def above_zero(self, name: str, metres: float) -> float:
        """Answer the length itself, or NaN after noting that it is not above zero."""
        if metres <= 0:
            self.wrong(
                "not-above-zero", name, "a length above zero", "write the length that was measured"
            )
            return math.nan
        return metres

    def lengths(self, name: str, sizes: tuple[int, ...], words: str) -> tuple[float, ...]:
        """Read a list of as many lengths as `sizes` allows; empty after noting a fault."""
        if not self.needs(name, words):
            return ()
        value = self.values[name]
        if not isinstance(value, list) or len(value) not in sizes:
            self.wrong("wrong-lengths", name, words, list_step(name, value, max(sizes)))
            return ()
        found = tuple(self.metres(f"{name}[{i}]", each) for i, each in enumerate(value))
        return () if any(math.isnan(each) for each in found) else found

    def numbers(self, name: str, count: int) -> tuple[float, ...]:
        """Read a list of `count` finite numbers; empty after noting a fault."""
        expected = f"a list of {count} finite numbers"
        if not self.needs(name, expected):
            return ()
        value = self.values[name]
        if isinstance(value, list) and len(value) == count and all(map(is_number, value)):
            return tuple(float(each) for each in value)
        self.wrong("wrong-numbers", name, expected)
        return ()

    def point(self, name: str, dimensions: int) -> Array | None:
        """Read a place in metres, (dimensions,); None after noting a fault."""
        words = "[x, y]" if dimensions == 2 else "[x, y, z]"
        found = self.lengths(name, (dimensions,), f"{words}, each {LENGTH}")
        return np.array(found) if found else None

    def tables(self, name: str, known: Collection[str] | None = None) -> list[tuple[str, Table]]:
        """Read the named tables below one section, such as each [camera.NAME].

        Names are free, or one of those `known`: tables of any other are left out.
        """
        if not self.has(name):
            return []
        section = self.values[name]
        if not isinstance(section, dict):
            self.wrong("wrong-kind", name, f"tables [{name}.NAME]")
            return []
        found = []
        unnamed = [each for each, values in section.items() if not isinstance(values, dict)]
        if unnamed:
            said = f"{', '.join(unnamed[:4])} without a name between"
            step = f"give it a name: [{name}.front]" if name == "camera" else "give it a name"
            self.fault("wrong-kind", name, said, f"a table [{name}.NAME]", step)
        for each, values in section.items():
            if each in unnamed:
                continue
            path = f"{name}.{each if len(each) <= 60 else each[:57] + '...'}"
            table = Table(self.faults, self.file, path, {}, self.units)
            if known is not None and each not in known:
                step = nearest_step(each, known, "name one of the job's")
                expected = f"a {name} of the job"
                table.fault("unknown-name", "", "a name that the job does not have", expected, step)
                continue
            if known is None and _breaks_ids(each):
                expected = "a name without `/`, control characters or blanks at its ends"
                table.path = f"{name}.{each!r}"
                table.fault("breaks-ids", "", "a name that would break ids", expected, "rename it")
            table.values = values
            found.append((each, table))
        return found

    def table(self, name: str, *, required: bool) -> Table:
        """One section such as [vehicle]; an empty one where it is missing.

        What a missing one lacks is no fault beside that.
        """
        values: object = {}
        key = self.key(name)
        there = self.needs(name, f"a table [{key}]") if required else self.has(name)
        if there:
            values = self.values[name]
        if not isinstance(values, dict):
            self.wrong("wrong-kind", name, f"a table [{key}]")
            there, values = False, {}
        faults = self.faults if there else []
        return Table(faults, self.file, key, values, self.units)


def _breaks_ids(name: str) -> bool:
    return not name.strip() or name != name.strip() or "/" in name or has_control(name)


def is_number(value: object, *, finite: bool = True) -> TypeGuard[float]:
    """Whether a value is a number; true and false are none."""
    return (
        isinstance(value, (int, float))
        and not isinstance(value, bool)
        and (not finite or (abs(value) < 1e300))
    )

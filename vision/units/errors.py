"""Exceptions, and nothing else.

Bad input is reported whole: a reader collects every `Fault` it meets and raises them together, so
that somebody in a car park corrects a job file once and not five times.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is wrong with something a person gave us.

    `code` is its kind, for scripts and tests. Every other field is a phrase for a person: the
    file's name, the key inside it (empty when the whole file is at fault), what was found, what was
    expected and what to do next. `line` of the file is known where it is a text that somebody
    typed.
    """

    code: str
    file: str
    key: str
    found: str
    expected: str
    next_step: str
    line: int | None = None

    def __str__(self) -> str:
        where = self.file if self.line is None else f"{self.file}, line {self.line}"
        where = f"{where}: {self.key}" if self.key else where
        return f"{where}: found {self.found}; expected {self.expected}; {self.next_step}"


class SeamtrueError(Exception):
    """Base of every exception that this project raises on purpose."""


class BadInputError(SeamtrueError):
    """Input that cannot be used: holds every fault, in the order in which they were met."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        if not self.faults:
            raise ValueError("a BadInputError needs at least one fault")
        super().__init__("\n".join(str(fault) for fault in self.faults))


def fault_of(
    code: str, file: str, found: str, expected: str, next_step: str, *, key: str = ""
) -> Fault:
    """A `Fault` of these fields, by default of a whole file."""
    return Fault(code=code, file=file, key=key, found=found, expected=expected, next_step=next_step)


def bad_input(
    code: str, file: str, found: str, expected: str, next_step: str, *, key: str = ""
) -> BadInputError:
    """The error of one fault, whose fields are those of `Fault`."""
    return BadInputError([fault_of(code, file, found, expected, next_step, key=key)])

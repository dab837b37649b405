"""A kept check as a value: what the record remembers, and how a check of it is chosen.

A check is kept whole: the result file's contents, the program's version, the job and its lens files
as they were, the pictures' names and hashes, and the time. A digest over all of it tells, years
later, whether a row is still what was written.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, NamedTuple

from vision.marks.picture import Picture
from vision.units.errors import Fault, bad_input

COLUMNS = (
    "number",
    "taken",
    "program",
    "job",
    "verdict",
    "job_file",
    "job_text",
    "lens_files",
    "pictures",
    "result",
    "digest",
)
"""Columns of the table `checks`, in order; all but the number are text."""

CHOICES = "`first`, `previous`, a number or a date such as 2026-03-03"


class KeptPicture(NamedTuple):
    """The picture that a camera was checked with: its file's name and SHA-256 in hexadecimal."""

    camera: str
    file: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptCheck:
    """One check as kept.

    `number` counts from 1 in its record, 0 before it is kept; `taken` is the time in ISO 8601 with
    its offset from UTC; `lens_files` holds the text of each lens file that the job names; `result`
    is the contents of the result file. `body` is the text of what is kept of the body's edges,
    empty for a check that kept none.
    """

    number: int = 0
    taken: str
    job_file: str
    job_text: str
    lens_files: Mapping[str, str]
    pictures: tuple[KeptPicture, ...]
    result: Mapping[str, Any]
    body: str = ""

    @property
    def time(self) -> datetime:
        """When it was taken, with the offset from UTC of where it was taken."""
        return datetime.fromisoformat(self.taken)

    @property
    def day(self) -> date:
        """The day on which it was taken, where it was taken."""
        return self.time.date()


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Every check of a record that can be read, by number, and what is wrong with the rest."""

    checks: tuple[KeptCheck, ...]
    faults: tuple[Fault, ...] = ()


def kept_check(
    job_file: str,
    texts: tuple[bytes, Mapping[str, bytes]],
    pictures: Sequence[Picture],
    result: Mapping[str, Any],
    *,
    taken: str,
    body: Sequence[Mapping[str, Any]] = (),
) -> KeptCheck:
    """The check that gave `result`, from the job's and its lens files' `texts` and the pictures.

    `body` is what is kept of the body's edges, as plain data.
    """
    job_text, lens_files = texts
    return KeptCheck(
        taken=taken,
        job_file=job_file,
        job_text=job_text.decode("utf-8-sig"),
        lens_files={name: text.decode("utf-8-sig") for name, text in lens_files.items()},
        pictures=tuple(
            KeptPicture(camera=each.name, file=each.file, sha256=each.sha256) for each in pictures
        ),
        result=result,
        body=_json(list(body)) if body else "",
    )


def row_of(check: KeptCheck) -> tuple[str, ...]:
    """The check as text, in the order of `COLUMNS` without the number."""
    texts = (
        check.taken,
        str(check.result.get("program", "")),
        str(check.result.get("job", "")),
        str(check.result.get("verdict", "")),
        check.job_file,
        check.job_text,
        _json(dict(check.lens_files)),
        _json(check.pictures),
        _json(dict(check.result)),
    )
    return (*texts, _digest(texts))


def check_of(number: int, row: Sequence[object]) -> KeptCheck | None:
    """The check that `row_of` wrote; None where anything of it is not as it was written."""
    texts = [each for each in row if isinstance(each, str)]
    if len(texts) != len(COLUMNS) - 1 or len(row) != len(texts) or _digest(texts[:-1]) != texts[-1]:
        return None
    taken, _, _, _, job_file, job_text, lens_files, pictures, result, _ = texts
    return KeptCheck(
        number=number,
        taken=taken,
        job_file=job_file,
        job_text=job_text,
        lens_files=json.loads(lens_files),
        pictures=tuple(KeptPicture(*each) for each in json.loads(pictures)),
        result=json.loads(result),
    )


def body_row_of(check: KeptCheck) -> tuple[str, str]:
    """What is kept of the body's edges with its digest, which the check's own digest enters."""
    return check.body, _digest([row_of(check)[-1], check.body])


def with_body(check: KeptCheck, row: Sequence[object]) -> KeptCheck | None:
    """The check with what `body_row_of` wrote; None where anything is not as it was written."""
    text = row[0] if len(row) == 2 else None
    if not isinstance(text, str) or _digest([row_of(check)[-1], text]) != row[1]:
        return None
    return replace(check, body=text)


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True)


def _digest(texts: Sequence[str]) -> str:
    # As a JSON list, since plain text on end would let one column's end pass for another's start.
    return hashlib.sha256(_json(list(texts)).encode("utf-8", "surrogatepass")).hexdigest()


def chosen(checks: Sequence[KeptCheck], which: str, file: str) -> KeptCheck:
    """The check that `which` names; `checks` in order are those before the one that asks.

    A date means the last check of that day. BadInputError where there is none.
    """
    found: KeptCheck | None = None
    if which in ("first", "previous"):
        found = next(iter(checks if which == "first" else reversed(checks)), None)
    elif which.isdecimal():
        found = next((each for each in checks if each.number == int(which)), None)
    else:
        found = next((each for each in reversed(checks) if str(each.day) == which), None)
    if found is not None:
        return found
    kept = ", ".join(f"{each.number} of {each.day}" for each in checks[-8:])
    found_so = f"no earlier check that is {which!r}"
    expected = f"{CHOICES}; kept of this job: {kept or 'none'}"
    step = f"name one of them; `seamtrue record {file}` lists all"
    raise bad_input("no-such-check", file, found_so, expected, step)

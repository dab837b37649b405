"""Many checks on one page: a row for each job, as a table, as CSV and as lines of JSON."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

COLUMNS = ("job", "name", "verdict", "exit_code", "as_before", "to_do", "report")
FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet would take for a formula when a cell begins with it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedJob:
    """What became of one job of many.

    `job` and `report` are paths as typed; `verdict` is None where there is none, and `faults` then
    say why. `as_before`: nothing had changed, and the result is the one that was there.
    """

    job: str
    exit_code: int
    report: str = ""
    name: str = ""
    verdict: str | None = None
    to_do: tuple[str, ...] = ()
    as_before: bool = False
    faults: tuple[str, ...] = ()

    @property
    def first(self) -> str:
        """What to do first, or what is wrong, in one line."""
        return next(iter((*self.faults, *self.to_do)), "")

    @property
    def outcome(self) -> str:
        """The verdict, or why there is none."""
        return self.verdict or ("crashed" if self.exit_code == 1 else "not read")


def checked_job(
    job: str, report: str, result: Mapping[str, Any], exit_code: int, *, as_before: bool
) -> CheckedJob:
    """The row of a job with a result."""
    return CheckedJob(
        job=job,
        report=report,
        exit_code=exit_code,
        name=str(result["job"]),
        verdict=str(result["verdict"]),
        to_do=tuple(str(each["text"]) for each in result["actions"]),
        as_before=as_before,
    )


def summary_rows(jobs: Sequence[CheckedJob]) -> tuple[tuple[str, ...], ...]:
    """Job, outcome and what to do first, of each."""
    return tuple((each.job, each.outcome, each.first) for each in jobs)


def summary_line(jobs: Sequence[CheckedJob]) -> str:
    """How many there are, how many of each outcome, and how many were as before."""
    counts = Counter(each.outcome for each in jobs)
    said = ", ".join(f"{count} {outcome}" for outcome, count in sorted(counts.items()))
    again = sum(each.as_before for each in jobs)
    line = f"{len(jobs)} {'job' if len(jobs) == 1 else 'jobs'}: {said}"
    return line + (f"; {again} unchanged since, and not done again" if again else "")


def summary_csv(jobs: Sequence[CheckedJob]) -> str:
    """A row for each job under its heads; what to do is one cell, its steps parted by line ends."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(COLUMNS)
    for each in jobs:
        steps = "\n".join((*each.faults, *each.to_do))
        flags = (str(each.exit_code), "yes" if each.as_before else "no")
        row = (each.job, each.name, each.outcome, *flags, steps, each.report)
        table.writerow(map(plain_cell, row))
    return out.getvalue()


def plain_cell(text: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(FORMULA) else text


def summary_json_lines(jobs: Sequence[CheckedJob]) -> str:
    """An object for each job in a line of its own."""
    lines = [
        {
            "job": each.job,
            "name": each.name or None,
            "verdict": each.verdict,
            "exit_code": each.exit_code,
            "as_before": each.as_before,
            "to_do": list(each.to_do),
            "faults": list(each.faults),
            "report": each.report or None,
        }
        for each in jobs
    ]
    return "".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines)

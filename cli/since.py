"""What changed since the last kept check of the same job, as lines to print."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cli.printing import say
from vision.units.errors import BadInputError

if TYPE_CHECKING:
    from vision.comparison.record import KeptCheck


def last_kept(record: Path, job_file: str) -> KeptCheck | None:
    """The last check of a job file that a record holds; None without one.

    What is wrong with the record is said, and is no trouble of a check that only reads it.
    """
    if not record.exists():
        return None
    from vision.files.record_file import read_record  # most jobs have no record

    try:
        kept = read_record(record)
    except BadInputError as error:
        say(*map(str, error.faults), err=True)
        return None
    say(*map(str, kept.faults), err=True)
    return next((each for each in reversed(kept.checks) if each.job_file == job_file), None)


def since_lines(then: KeptCheck, result: Mapping[str, Any]) -> list[str]:
    """A line that names the kept check, and one for each thing that changed since."""
    from vision.documents.progress import changes

    found = changes(then.result, result)
    when = f"since check {then.number}, kept {then.time:%Y-%m-%d %H:%M}"
    return [f"{when}:", *(f"  {line}" for line in found)] if found else [f"{when}: no change"]

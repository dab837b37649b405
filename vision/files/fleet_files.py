"""The checks that lie in a folder: result files and records, read for what a fleet shows."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from vision.comparison.fleet import FleetCheck, fleet_check
from vision.files.record_file import RECORD_NAME, read_record
from vision.units.errors import BadInputError

RESULT_NAME = "inspection.json"
RESULT_SCHEMA = "seamtrue.inspection/1"
MARKS, MARKS_END = '\n   "marks": [\n', "\n   ]"
TAIL = '\n "stated": ['
"""Marks, and all from here on, are nine tenths of a result and nothing that a fleet shows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadChecks:
    """The checks of one file, and what is wrong with it."""

    checks: tuple[FleetCheck, ...] = ()
    faults: tuple[str, ...] = ()


def check_files(folder: Path) -> tuple[Path, ...]:
    """Every result file and record in a folder and below, by path."""
    found = []
    for place, folders, names in os.walk(folder):
        folders[:] = sorted(each for each in folders if not each.startswith("."))
        wanted = (n for n in names if n in (RESULT_NAME, RECORD_NAME))
        found += [Path(place, name) for name in sorted(wanted)]
    return tuple(found)


def read_checks(files: Sequence[Path], folder: Path) -> Iterator[ReadChecks]:
    """What each file holds; vehicles without a name of their own go by their job's place."""
    for file in files:
        try:
            if file.name == RECORD_NAME:
                yield _of_record(file, folder)
            else:
                yield ReadChecks(checks=(_of_result(file, folder),))
        except BadInputError as error:
            yield ReadChecks(faults=tuple(map(str, error.faults)))
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            what = f"{file}: no result of a check that can be read ({type(error).__name__})"
            yield ReadChecks(faults=(what,))


def without_bulk(text: str) -> str:
    """A result's text without what is long and not needed, as our own files are laid out.

    A line that begins with so many blanks and a key can only be that key: text within quotes has no
    line ends. In a file that is laid out otherwise nothing is found, and all of it is parsed.
    """
    tail = text.rfind(TAIL)
    if tail > 0:
        text = text[:tail].rstrip().removesuffix(",") + "}"
    first, *parts = text.split(MARKS)
    kept = [first]
    for part in parts:
        end = part.find(MARKS_END)
        kept.append(f'"marks": null{part[end + len(MARKS_END) :]}' if end >= 0 else MARKS + part)
    return "".join(kept)


def _of_result(file: Path, folder: Path) -> FleetCheck:
    result = json.loads(without_bulk(file.read_text("utf-8")))
    if result["schema"] != RESULT_SCHEMA:
        raise ValueError(f"schema: expected {RESULT_SCHEMA}")
    day = _day_of_pictures(result) or date.fromtimestamp(file.stat().st_mtime)
    return fleet_check(result, job=_place(file.parent, folder), day=day, source=str(file))


def _of_record(file: Path, folder: Path) -> ReadChecks:
    kept = read_record(file)
    checks = tuple(
        fleet_check(
            each.result,
            job=_place(file.parent / Path(each.job_file).stem, folder),
            day=each.day,
            source=f"{file}, check {each.number}",
        )
        for each in kept.checks
    )
    return ReadChecks(checks=checks, faults=tuple(map(str, kept.faults)))


def _day_of_pictures(result: dict[str, Any]) -> date | None:
    """The last day that a picture notes; None where one does not say."""
    sources = [s for c in result["cameras"] for s in c["picture"].get("sources", ())]
    times = [each.get("time") for each in sources]
    if not times or None in times:
        return None
    return max(datetime.fromisoformat(each).date() for each in times)


def _place(path: Path, folder: Path) -> str:
    """Where a job lies from the folder; the folder of a report is not a place of its own."""
    parts = path.relative_to(folder).parts
    kept = [each for each in parts if each not in ("seamtrue-report", "job")]
    return "/".join(kept) or folder.resolve().name

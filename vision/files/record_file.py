"""The record on disk: one SQLite file, to which checks are only ever added.

A check is one row, added in one transaction: whoever is interrupted leaves the row whole or not at
all, and SQLite's own locks keep writers apart. The rollback journal is used rather than a log
beside the file, so that a record at rest is one file that may be copied like any other.
"""

from __future__ import annotations

import contextlib
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from vision.comparison.record import (
    COLUMNS,
    KeptCheck,
    Record,
    body_row_of,
    check_of,
    row_of,
    with_body,
)
from vision.files import disk, salvage
from vision.units.errors import BadInputError, bad_input

RECORD_NAME = "seamtrue-record.sqlite"
APPLICATION_ID = 0x5EA47B0E
VERSION = 1
WAIT_S = 60.0
"""How long to wait for somebody else who is writing: adding a check takes milliseconds."""

MAGIC = b"SQLite format 3\x00"
HEADER_BYTES = 100
EXPECTED = "a record of checks that `seamtrue check` wrote"

_TABLE = (
    "CREATE TABLE checks (number INTEGER PRIMARY KEY, "
    + ", ".join(f"{name} TEXT NOT NULL" for name in COLUMNS[1:])
    + ")"
)
_ADD = f"INSERT INTO checks ({', '.join(COLUMNS[1:])}) VALUES ({', '.join('?' * 10)})"


_BODIES = (
    "CREATE TABLE IF NOT EXISTS bodies "
    "(number INTEGER PRIMARY KEY, edges TEXT NOT NULL, digest TEXT NOT NULL)"
)
_ADD_BODY = "INSERT INTO bodies (number, edges, digest) VALUES (?, ?, ?)"
"""What is kept of the body's edges has a table of its own: records of before stay what they are."""


def add_to_record(path: Path | str, check: KeptCheck) -> int:
    """Add a check and return its number; the record is made where there is none.

    It is on the disk when this returns. Raises BadInputError where the record cannot be added to.
    """
    path = Path(path)
    record_ready(path)
    with _reported(path), contextlib.closing(_opened(path)) as base:
        return _added(base, [check])[0]


def rescue_record(path: Path | str, checks: Sequence[KeptCheck]) -> tuple[int, ...]:
    """Put checks into a new record, in their order; BadInputError where the file is there."""
    path = Path(path)
    if path.exists():
        raise bad_input(
            "file-exists", path.name, "a file", "a new file", "name one that is not there"
        )
    with _reported(path), contextlib.closing(_opened(path)) as base:
        return _added(base, checks)


def record_ready(path: Path | str) -> None:
    """Raise BadInputError where a check could not be added to the record, so that none is lost.

    A record that is not there yet is fine where its folder is.
    """
    path = Path(path)
    if not path.exists():
        if not path.parent.is_dir():
            raise bad_input(
                "no-such-folder",
                path.name,
                "no such folder",
                "a folder that is there",
                "make the folder",
            )
        return
    _is_a_record(path)
    with _reported(path), contextlib.closing(_opened(path)) as base:
        complaint = str(base.execute("PRAGMA quick_check(1)").fetchone()[0])
    if complaint != "ok":
        raise _damaged(path, "a damaged file")


def read_record(path: Path | str) -> Record:
    """Read every check of a record that is still as it was written.

    What cannot be read is named in the record's faults. Raises BadInputError for a file that is no
    record, or of which nothing can be read.
    """
    path = Path(path)
    _is_a_record(path)
    rows, whole = _rows(path)
    checks: dict[int, KeptCheck] = {}
    lost: set[int] = set()
    _sort(rows, checks, lost)
    if not whole or lost:
        _sort(_salvaged(path), checks, lost)
        if not checks:
            raise _damaged(path, "a damaged file of which nothing can be read")
    last = max(checks, default=0)
    # Numbers follow one another, so a gap is a lost check; a page that is not ours names any.
    missing = {n for n in range(1, last + len(lost) + 1) if n not in checks}
    lost = {n for n in missing if n < last or n in lost}
    bodies = _bodies(path)
    ordered = tuple(_whole(checks[number], bodies.get(number)) for number in sorted(checks))
    if whole and not lost:
        return Record(checks=ordered)
    found = f"a damaged file: {len(ordered)} checks can be read"
    if lost:
        found += f", not {', '.join(str(each) for each in sorted(lost))}"
    return Record(checks=ordered, faults=_damaged(path, found).faults)


def _rows(path: Path) -> tuple[list[tuple[int, Sequence[object]]], bool]:
    """Every row that SQLite itself hands out, and whether the file is whole."""
    rows: list[tuple[int, Sequence[object]]] = []
    try:
        with contextlib.closing(_opened(path, for_reading=True)) as base:
            for number, *row in base.execute("SELECT * FROM checks ORDER BY number"):
                rows.append((int(number), row))
            whole = str(base.execute("PRAGMA quick_check(1)").fetchone()[0]) == "ok"
    except sqlite3.OperationalError as error:
        if any(word in str(error) for word in ("locked", "busy", "unable to open")):
            raise _unusable(path, error) from None
        # A record that was made and never added to has no table yet, and no page.
        whole = "no such table" in str(error) and path.stat().st_size == 0
    except (sqlite3.DatabaseError, ValueError, TypeError):
        # A name of a column or a number that damage has made no text, or no number, any more.
        whole = False
    return rows, whole


def _bodies(path: Path) -> dict[int, tuple[object, ...]]:
    """What is kept of the body's edges, by the number of its check, as far as it can be read."""
    found: dict[int, tuple[object, ...]] = {}
    with (
        contextlib.suppress(sqlite3.DatabaseError, ValueError, TypeError),
        contextlib.closing(_opened(path, for_reading=True)) as base,
    ):
        for number, *row in base.execute("SELECT number, edges, digest FROM bodies"):
            found[int(number)] = tuple(row)
    return found


def _whole(check: KeptCheck, body: tuple[object, ...] | None) -> KeptCheck:
    """The check with its body's edges; without, where they are not as they were written."""
    return check if body is None else with_body(check, body) or check


def _salvaged(path: Path) -> list[salvage.Row]:
    """Every row that can be read of a damaged record."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / RECORD_NAME
        rescue_record(copy, ())
        return list(salvage.rows(path.read_bytes(), copy))


def _sort(
    rows: Sequence[tuple[int, Sequence[object]]], checks: dict[int, KeptCheck], lost: set[int]
) -> None:
    """Sort rows into checks as they were written, and the numbers of those that are not."""
    for number, row in rows:
        check = check_of(number, row)
        if check is not None:
            checks.setdefault(number, check)
        elif number > 0:
            lost.add(number)


def _opened(path: Path, *, for_reading: bool = False) -> sqlite3.Connection:
    """Open a record, which rolls back what an interrupted writer left; waits for other writers."""
    uri = path.absolute().as_uri()
    if for_reading:
        # Rolling back needs leave to write; where there is none, as on a read-only disk, only read.
        with contextlib.suppress(sqlite3.OperationalError):
            base = sqlite3.connect(f"{uri}?mode=rw", uri=True, timeout=WAIT_S, isolation_level=None)
            with contextlib.suppress(sqlite3.DatabaseError):
                base.execute("PRAGMA user_version")
            return base
        return sqlite3.connect(f"{uri}?mode=ro", uri=True, timeout=WAIT_S, isolation_level=None)
    base = sqlite3.connect(f"{uri}?mode=rwc", uri=True, timeout=WAIT_S, isolation_level=None)
    # The folder's entry is synced too: a check that was reported as kept survives a power cut.
    base.execute("PRAGMA synchronous = EXTRA")
    base.execute(f"PRAGMA page_size = {salvage.PAGE_SIZE}")
    return base


def _added(base: sqlite3.Connection, checks: Sequence[KeptCheck]) -> tuple[int, ...]:
    numbers = []
    base.execute("BEGIN IMMEDIATE")
    try:
        if not base.execute("SELECT 1 FROM sqlite_master WHERE name = 'checks'").fetchone():
            base.execute(_TABLE)
            base.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            base.execute(f"PRAGMA user_version = {VERSION}")
        for check in checks:
            number = int(base.execute(_ADD, row_of(check)).lastrowid or 0)
            if check.body:
                base.execute(_BODIES)
                base.execute(_ADD_BODY, (number, *body_row_of(check)))
            numbers.append(number)
        base.execute("COMMIT")
    except BaseException:
        with contextlib.suppress(sqlite3.Error):
            base.execute("ROLLBACK")
        raise
    return tuple(numbers)


def _is_a_record(path: Path) -> None:
    """Refuse what is no record at all, and one of a later version."""
    step = "name the record, or keep a first check with --record"
    head = disk.read_bytes(path, EXPECTED, step, HEADER_BYTES)
    ours = head.startswith(MAGIC) and head[68:72] == APPLICATION_ID.to_bytes(4, "big")
    if ours and int.from_bytes(head[60:64], "big") > VERSION:
        raise bad_input(
            "later-version", path.name, "a record of a later version", EXPECTED, "update seamtrue"
        )
    if ours or not head:
        return
    # Without those signs it may still be a record whose first page is damaged.
    if not any(check_of(number, row) for number, row in _salvaged(path)):
        raise bad_input(
            "not-a-record", path.name, "no record of checks", EXPECTED, "name the record"
        )


@contextlib.contextmanager
def _reported(path: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.OperationalError as error:
        raise _unusable(path, error) from None
    except sqlite3.DatabaseError:
        raise _damaged(path, "a damaged file") from None


def _unusable(path: Path, error: sqlite3.Error) -> BadInputError:
    step = "see whether another program holds it, whether the disk is full, and its permissions"
    return bad_input(
        "record-in-use", path.name, f"a record that cannot be used now ({error})", EXPECTED, step
    )


def _damaged(path: Path, found: str) -> BadInputError:
    step = f"put what can be read into a new one: seamtrue record {path.name} --rescue NEW.sqlite"
    return bad_input("damaged", path.name, found, "a record as it was written", step)

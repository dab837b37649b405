"""Rows of a damaged record, read by SQLite itself, leaf by leaf.

A row lies in a leaf page of the table's tree; what does not fit there follows in a chain of
overflow pages. Damage to the first page, or higher up in the tree, hides leaves that are whole. So
a copy is made under the first page of an empty record, and each leaf in turn is put where the tree
begins: SQLite then takes that leaf for the whole table. Layout of the pages: "Database File
Format", the SQLite project. Nothing here judges whether a row is right: the caller has a digest for
that.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

PAGE_SIZE = 4096
LEAF = 0x0D
"""First byte of a page that holds rows."""
PAGES_AT = 28
"""Where the first page tells how many pages there are, in four bytes."""

Row = tuple[int, list[object]]


def rows(data: bytes, copy: Path) -> Iterator[Row]:
    """Every row that can be read, with its number, in the order of the pages; may repeat.

    `copy` is an empty record, whose table begins in its last page; the copy is made over it.
    """
    starts = range(0, len(data), PAGE_SIZE)
    leaves = [start for start in starts if data[start] == LEAF]
    if not leaves:
        return
    head = bytearray(copy.read_bytes())
    head[PAGES_AT : PAGES_AT + 4] = len(starts).to_bytes(4, "big")
    copy.write_bytes((head + data[len(head) :]).ljust(len(starts) * PAGE_SIZE, b"\0"))
    for start in leaves:
        with copy.open("r+b") as stream:
            stream.seek(len(head) - PAGE_SIZE)
            stream.write(data[start : start + PAGE_SIZE].ljust(PAGE_SIZE, b"\0"))
        with contextlib.closing(sqlite3.connect(f"{copy.as_uri()}?mode=ro", uri=True)) as base:
            yield from _each(base)


def _each(base: sqlite3.Connection) -> Iterator[Row]:
    """Rows one by one: one that cannot be read does not end the reading."""
    with contextlib.suppress(sqlite3.DatabaseError):
        (count,) = base.execute("SELECT count(*) FROM checks").fetchone()
        for index in range(count):
            # Counting to a row does not look into those before it.
            with contextlib.suppress(sqlite3.DatabaseError, MemoryError, ValueError, TypeError):
                found = base.execute("SELECT * FROM checks LIMIT 1 OFFSET ?", (index,))
                for number, *row in found:
                    yield int(number), row

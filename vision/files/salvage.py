"""Rows of a table out of the pages of a damaged SQLite file, whatever its index says.

A row lies in a leaf page of the table's tree; what does not fit there follows in a chain of
overflow pages. Each leaf names its own rows, so every leaf that is whole can be read without the
tree above it. Layout of pages, cells and records: "Database File Format", the SQLite project.
Nothing here judges whether a row is right: the caller has a digest for that.
"""

from __future__ import annotations

from collections.abc import Iterator

PAGE_SIZE = 4096
LEAF = 0x0D
HEADER_BYTES = 100
"""Of the file's own header, in front of the first page's."""

INTEGER_BYTES = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
Row = tuple[object, ...]


def rows(data: bytes) -> Iterator[tuple[int, Row]]:
    """Every row that can be read, with its number, in the order of the pages; may repeat."""
    for page in range(len(data) // PAGE_SIZE + 1):
        start = page * PAGE_SIZE
        head = start + (HEADER_BYTES if page == 0 else 0)
        if len(data) < head + 8 or data[head] != LEAF:
            continue
        count = int.from_bytes(data[head + 3 : head + 5], "big")
        for index in range(min(count, PAGE_SIZE // 4)):
            at = head + 8 + 2 * index
            cell = start + int.from_bytes(data[at : at + 2], "big")
            try:
                yield _cell(data, cell)
            except (IndexError, ValueError):
                continue


def _cell(data: bytes, at: int) -> tuple[int, Row]:
    size, at = _varint(data, at)
    number, at = _varint(data, at)
    if size > len(data):
        raise ValueError("a row longer than the file")
    return number, _record(_payload(data, at, size))


def _payload(data: bytes, at: int, size: int) -> bytes:
    """The bytes of a row: those in its cell, then those of its chain of overflow pages."""
    most, least = PAGE_SIZE - 35, (PAGE_SIZE - 12) * 32 // 255 - 23
    if size <= most:
        return _exactly(data, at, size)
    local = least + (size - least) % (PAGE_SIZE - 4)
    local = local if local <= most else least
    parts = [_exactly(data, at, local)]
    missing = size - local
    following = int.from_bytes(_exactly(data, at + local, 4), "big")
    while missing > 0:
        start = (following - 1) * PAGE_SIZE
        if start < 0:
            raise ValueError("a chain that ends early")
        length = min(missing, PAGE_SIZE - 4)
        parts.append(_exactly(data, start + 4, length))
        following = int.from_bytes(_exactly(data, start, 4), "big")
        missing -= length
    return b"".join(parts)


def _record(payload: bytes) -> Row:
    length, at = _varint(payload, 0)
    kinds = []
    while at < length:
        kind, at = _varint(payload, at)
        kinds.append(kind)
    values: list[object] = []
    at = length
    for kind in kinds:
        if kind == 0:
            values.append(None)
        elif kind in INTEGER_BYTES:
            part = _exactly(payload, at, INTEGER_BYTES[kind])
            values.append(int.from_bytes(part, "big", signed=True))
            at += len(part)
        elif kind in (8, 9):
            values.append(kind - 8)
        elif kind >= 13 and kind % 2:
            part = _exactly(payload, at, (kind - 13) // 2)
            values.append(part.decode("utf-8"))
            at += len(part)
        else:
            raise ValueError("a kind of value that a record does not hold")
    return tuple(values)


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """A number of one to nine bytes, seven bits each but for the ninth, and where it ends."""
    value = 0
    for index in range(9):
        byte = data[at + index]
        if index == 8:
            return (value << 8) | byte, at + 9
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            break
    return value, at + index + 1


def _exactly(data: bytes, at: int, length: int) -> bytes:
    part = data[at : at + length]
    if len(part) != length:
        raise ValueError("the file ends within a row")
    return part

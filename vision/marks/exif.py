"""What a picture file notes of how it was taken: when, and which way up it is to be shown.

Read from the bytes alone, before anything is decoded. Format: CIPA DC-008 (Exif 2.32), 4.5 and 4.6,
in a JPEG's APP1 segment, a PNG's chunk eXIf or a WebP's EXIF, or a TIFF as a whole. Nobody needs to
note anything, and what is damaged counts as not noted. Places where pictures were taken stand there
as well; no code looks at them, and so they reach no report, record or result.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from vision.marks.picture_header import PNG_SIGNATURE
from vision.marks.sources.origin import TURNED, Turned

HEAD_BYTES = 262_144
"""As much of a file as the notes stand in: an APP1 segment has at most 64 kB, and comes first."""

ORIENTATION, CHANGED, SUB_IFD, TAKEN, SCANNED = 0x0112, 0x0132, 0x8769, 0x9003, 0x9004
HUNDREDTHS = {CHANGED: 0x9290, TAKEN: 0x9291, SCANNED: 0x9292}
"""The tag that holds the digits behind the second of each time."""
OFFSETS = {TAKEN: 0x9011, SCANNED: 0x9012, CHANGED: 0x9010}
"""The tag that holds how far its clock is from universal time."""
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 7: 1}
_MOST_ENTRIES = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """When a picture was taken, by its camera's own clock; and its orientation, 1 to 8.

    None and 1 where nothing is noted. 1 is upright, 3 upside down, 6 and 8 a quarter turn. `offset`
    is the clock's from universal time, such as `+02:00`, empty where it is not noted.
    """

    taken: datetime | None = None
    offset: str = ""
    orientation: int = 1

    @property
    def turned(self) -> Turned:
        """What showing it upright does to the pixels as stored."""
        return TURNED[self.orientation - 1]

    @property
    def time(self) -> str | None:
        """When it was taken, in ISO 8601 to the second, with the offset where that is noted."""
        if self.taken is None:
            return None
        return self.taken.isoformat(timespec="seconds") + self.offset


def noted_in(data: bytes) -> Noted:
    """What the file notes whose first bytes are `data`; never raises."""
    try:
        tiff = _tiff(data)
        return Noted() if tiff is None else _noted(tiff)
    except (struct.error, IndexError, ValueError, OverflowError):
        return Noted()


def _tiff(data: bytes) -> bytes | None:
    if data.startswith(PNG_SIGNATURE):
        return next((body for name, body in _chunks(data) if name == b"eXIf"), None)
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        found = next((body for name, body in _riff_chunks(data) if name == b"EXIF"), None)
        return None if found is None else found.removeprefix(b"Exif\0\0")
    if data[:4] in (b"II*\0", b"MM\0*"):
        return data
    at = 2 if data.startswith(b"\xff\xd8") else len(data)
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] != 0xDA:
        (length,) = struct.unpack_from(">H", data, at + 2)
        body = data[at + 4 : at + 2 + length]
        if data[at + 1] == 0xE1 and body.startswith(b"Exif\0"):
            return body[6:]
        at += 2 + length
    return None


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = len(PNG_SIGNATURE)
    while at + 8 <= len(data):
        length, name = struct.unpack_from(">I4s", data, at)
        yield name, data[at + 8 : at + 8 + length]
        at += 12 + length


def _riff_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 12
    while at + 8 <= len(data):
        name, length = struct.unpack_from("<4sI", data, at)
        yield name, data[at + 8 : at + 8 + length]
        at += 8 + length + length % 2


def _noted(tiff: bytes) -> Noted:
    order = {b"II": "<", b"MM": ">"}[tiff[:2]] if tiff[:2] in (b"II", b"MM") else None
    if order is None:
        return Noted()
    (first,) = struct.unpack_from(order + "I", tiff, 4)
    entries = dict(_entries(tiff, order, first))
    below = entries.get(SUB_IFD)
    if below is not None:
        entries |= dict(_entries(tiff, order, *struct.unpack_from(order + "I", below)))
    times = {tag: _time(entries, tag) for tag in (TAKEN, SCANNED, CHANGED)}
    by = next((tag for tag, time in times.items() if time is not None), None)
    turned = struct.unpack_from(order + "H", entries.get(ORIENTATION, b"\0\0"))[0]
    return Noted(
        taken=None if by is None else times[by],
        offset="" if by is None else _offset(entries, by),
        orientation=turned if 1 <= turned <= 8 else 1,
    )


def _entries(tiff: bytes, order: str, at: int) -> Iterator[tuple[int, bytes]]:
    """Tags of one directory with the bytes of their values."""
    (count,) = struct.unpack_from(order + "H", tiff, at)
    for start in range(at + 2, at + 2 + 12 * min(count, _MOST_ENTRIES), 12):
        if start + 12 > len(tiff):
            return
        tag, kind, number = struct.unpack_from(order + "HHI", tiff, start)
        size = _SIZES.get(kind, 0) * number
        place = start + 8
        if size > 4:
            (place,) = struct.unpack_from(order + "I", tiff, place)
        yield tag, tiff[place : place + size]


def _time(entries: dict[int, bytes], tag: int) -> datetime | None:
    text = entries.get(tag, b"").split(b"\0")[0].decode("ascii", "replace").strip()
    try:
        taken = datetime.strptime(text, "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    digits = entries.get(HUNDREDTHS[tag], b"").split(b"\0")[0].strip()
    return taken + timedelta(seconds=float(b"0." + digits)) if digits.isdigit() else taken


def _offset(entries: dict[int, bytes], tag: int) -> str:
    text = entries.get(OFFSETS[tag], b"").split(b"\0")[0].decode("ascii", "replace").strip()
    return text if re.fullmatch(r"[+-](0\d|1[0-4]):[0-5]\d", text) else ""

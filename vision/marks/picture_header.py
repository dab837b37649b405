"""What a picture file says of itself before anything is decoded: format, size, and whether it ends.

A few bytes of header can declare a picture that fills the memory, and decoders answer a truncated
file with grey bars and a warning; both are told apart here, from the bytes alone.

Headers are read of JPEG (ITU-T T.81, annex B), PNG (ISO/IEC 15948) and BMP (the BITMAPINFOHEADER
family); the others are known by their first bytes, and read where they are decoded.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, replace

FORMATS = "a JPEG, PNG, BMP, TIFF, WebP, AVIF or HEIC picture"
PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_BRANDS = {
    "AVIF": {b"avif", b"avis"},
    "HEIC": {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"},
}
"""Brands of a still in an ISO base media file (ISO/IEC 23008-12, annex B; the AVIF specification);
what both share, `mif1`, is an AVIF where a brand of AVIF stands beside it."""
_NO_FRAME = (0xC4, 0xC8, 0xCC)
"""Markers among C0 to CF that start no frame: tables, an extension, arithmetic conditioning."""
_ALONE = (0x01, *range(0xD0, 0xD9))
"""Markers without a segment: TEM, the restarts and the start of the image."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """Size in pixels as declared, and whether the file reaches its own end.

    `scans` is how often a decoder goes over the whole picture: a progressive JPEG may ask for
    thousands in a few kilobytes.
    """

    format: str
    width: int
    height: int
    complete: bool
    scans: int = 1


def read_header(data: bytes) -> Header | None:
    """Read the header of a picture file; None when it is broken or of no known format."""
    try:
        if data.startswith(b"\xff\xd8\xff"):
            return _jpeg(data)
        if data.startswith(PNG_SIGNATURE):
            return _png(data)
        if data.startswith(b"BM"):
            return _bmp(data)
    except (struct.error, IndexError):
        return None
    return None


def format_apart(data: bytes) -> str | None:
    """The format of a picture that is decoded in a process of its own; None for any other file.

    TIFF (revision 6.0), WebP (RFC 9649), AVIF and HEIC, by their first bytes.
    """
    if data[:4] in (b"II*\0", b"MM\0*"):
        return "TIFF"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data[4:8] == b"ftyp":
        size = min(int.from_bytes(data[:4], "big"), 256)
        brands = {data[8:12], *(data[at : at + 4] for at in range(16, size, 4))}
        return next((name for name, those in _BRANDS.items() if brands & those), None)
    return None


def _jpeg(data: bytes) -> Header | None:
    at, size = 2, None
    while at < len(data):
        if data[at] != 0xFF:
            return None
        while data[at] == 0xFF:
            at += 1
        marker = data[at]
        at += 1
        if marker in _ALONE:
            continue
        if marker == 0xD9:
            break
        (length,) = struct.unpack_from(">H", data, at)
        if 0xC0 <= marker <= 0xCF and marker not in _NO_FRAME:
            height, width = struct.unpack_from(">HH", data, at + 3)
            size = (width, height)
        at += length
        if marker == 0xDA:
            # Within a scan FF stands before 00 or a restart only, so the first FF D9 is the end.
            # A preview's own end lies in a segment before it and has been stepped over.
            complete = data.find(b"\xff\xd9", at) >= 0
            scans = 1 + data.count(b"\xff\xda", at)
            header = _header("JPEG", size, complete=complete)
            return None if header is None else replace(header, scans=scans)
    return _header("JPEG", size, complete=False)


def _header(name: str, size: tuple[int, int] | None, *, complete: bool) -> Header | None:
    if size is None or size[0] <= 0 or size[1] <= 0:
        return None
    return Header(format=name, width=size[0], height=size[1], complete=complete)


def _png(data: bytes) -> Header | None:
    at = len(PNG_SIGNATURE)
    if data[at + 4 : at + 8] != b"IHDR":
        return None
    size = struct.unpack_from(">II", data, at + 8)
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        end = at + 12 + length
        if end > len(data):
            break
        (check,) = struct.unpack_from(">I", data, end - 4)
        if zlib.crc32(data[at + 4 : end - 4]) != check:
            break
        if data[at + 4 : at + 8] == b"IEND":
            return _header("PNG", size, complete=True)
        at = end
    return _header("PNG", size, complete=False)


def _bmp(data: bytes) -> Header | None:
    (offset, kind) = struct.unpack_from("<II", data, 10)
    if kind == 12:
        width, height, _, bits = struct.unpack_from("<HHHH", data, 18)
        compression = 0
    else:
        width, height, _, bits, compression = struct.unpack_from("<iiHHI", data, 18)
    # Rows are padded to four bytes; a negative height means that the top row comes first.
    needed = offset + (width * bits + 31) // 32 * 4 * abs(height) if compression in (0, 3) else 0
    (stated,) = struct.unpack_from("<I", data, 2)
    complete = len(data) >= (needed or stated)
    return _header("BMP", (width, abs(height)), complete=complete)

"""A request with pictures, taken in within limits and held in memory: nothing goes to the disk."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import FormData, UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import ClientDisconnect, Request

from cli.lot.limits import LIMITS

Fields = dict[str, str]


class TooMuchError(Exception):
    """A request beyond a limit; the text says which, for a person."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """One file of a request: its name as it came, and its bytes."""

    name: str
    data: bytes

    @property
    def shown(self) -> str:
        """Its name for a person: the end of a path, no longer than a line."""
        last = self.name.replace("\\", "/").rpartition("/")[2]
        plain = "".join(each if each.isprintable() else "?" for each in last) or "a picture"
        most = LIMITS.name_characters
        return plain if len(plain) <= most else f"{plain[: most - 12]}…{plain[-10:]}"


class _InMemory(MultiPartParser):
    """Keeps every file in memory: temporary files would lie outside the job's folder."""

    spool_max_size = LIMITS.request_bytes + 1


async def form_of(request: Request) -> tuple[Fields, list[Upload]]:
    """The fields and files of a form; TooMuchError where it is beyond a limit or broken."""
    body = _within(request)
    kind = request.headers.get("content-type", "")
    if not kind.startswith("multipart/form-data"):
        raise TooMuchError("a form of another kind than this page sends")
    parser = _InMemory(
        request.headers,
        body,
        max_files=LIMITS.pictures,
        max_fields=8,
        max_part_size=LIMITS.note_characters * 4,
    )
    try:
        async with asyncio.timeout(LIMITS.request_s):
            form = await parser.parse()
    except TimeoutError:
        most = f"{LIMITS.request_s:.0f} s"
        raise TooMuchError(f"a request that took more than {most} to come in") from None
    except MultiPartException as error:
        raise TooMuchError(
            f"a form that cannot be read ({error.message.rstrip('.').lower()}); at most"
            f" {LIMITS.pictures} pictures at once"
        ) from None
    except ClientDisconnect:
        raise TooMuchError("a request that broke off; nothing of it was kept") from None
    try:
        return await _sorted(form)
    finally:
        await form.close()


async def _sorted(form: FormData) -> tuple[Fields, list[Upload]]:
    fields: Fields = {}
    files: list[Upload] = []
    for key, value in form.multi_items():
        if isinstance(value, UploadFile):
            data = await value.read()
            # A field for files that was left empty comes as one without a name.
            if data or value.filename:
                files.append(Upload(name=value.filename or "", data=data))
        else:
            fields[key] = str(value)
    return fields, files


async def _within(request: Request) -> AsyncGenerator[bytes, None]:
    """The body of a request, as far as it is not too large.

    The rest is read to its end, so that the browser comes to see the answer.
    """
    size = 0
    async for chunk in request.stream():
        size += len(chunk)
        if size > LIMITS.refused_bytes:
            break
        if size <= LIMITS.request_bytes:
            yield chunk
    if size > LIMITS.request_bytes:
        most = LIMITS.request_bytes // 10**6
        raise TooMuchError(f"more than {most} MB at once; send the pictures one by one")


def too_large(upload: Upload) -> dict[str, Any] | None:
    """What to say of a picture beyond the limits before it is decoded; None for one within."""
    from vision.marks.picture_header import read_header

    if len(upload.data) > LIMITS.picture_bytes:
        found = f"{len(upload.data) / 1e6:.0f} MB"
        return {"found": found, "expected": f"at most {LIMITS.picture_bytes // 10**6} MB"}
    header = read_header(upload.data)
    if header is not None and header.width * header.height > LIMITS.picture_px:
        found = f"{header.width} x {header.height} px"
        return {"found": found, "expected": f"at most {LIMITS.picture_px // 10**6} megapixels"}
    return None

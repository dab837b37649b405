"""On which line of a TOML file a key stands: what its parser does not tell.

The text is taken to be TOML already; what this scanner does not understand has no line. A key is
written as messages give it: `camera.front.position[2]`, `reading[0].value`, counted from 0.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from vision.units.errors import Fault

_PART = r"(?:[A-Za-z0-9_-]+|\"[^\"\n]*\"|'[^'\n]*')"
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]\]?")
_KEY = re.compile(rf"\s*({_DOTTED})\s*=")
_STRINGS = re.compile(r"\"\"\"|'''|\"(?:\\.|[^\"\\\n])*\"|'[^'\n]*'|#[^\n]*|[\[\]{}]")


def placed(faults: Iterable[Fault], texts: Mapping[str, str | bytes]) -> tuple[Fault, ...]:
    """The faults, each with the line of its key where its file is one of `texts`."""
    lines = {file: key_lines(_decoded(text)) for file, text in texts.items()}
    return tuple(
        fault
        if fault.line is not None or fault.file not in lines
        else replace(fault, line=_nearest(lines[fault.file], fault.key))
        for fault in faults
    )


def key_lines(text: str) -> dict[str, int]:
    """Lines, from 1, of every table's head and every key."""
    found: dict[str, int] = {}
    counts: dict[str, int] = {}
    table, depth, closing = "", 0, ""
    for number, line in enumerate(text.split("\n"), start=1):
        if not depth and not closing:
            if header := _HEADER.match(line):
                table = _path(header[2])
                for end in (at for at, each in enumerate(table) if each == "."):
                    found.setdefault(table[:end], number)
                if header[1] == "[[":
                    counts[table] = counts.get(table, -1) + 1
                    found.setdefault(table, number)
                    table = f"{table}[{counts[table]}]"
                found.setdefault(table, number)
                continue
            if key := _KEY.match(line):
                found.setdefault(f"{table}.{_path(key[1])}" if table else _path(key[1]), number)
                line = line[key.end() :]
        depth, closing = _after(line, depth, closing)
    return found


def _after(line: str, depth: int, closing: str) -> tuple[int, str]:
    """Brackets that are open after a line, and what ends a text of several lines."""
    at = 0
    while at < len(line):
        if closing:
            end = line.find(closing, at)
            if end < 0:
                return depth, closing
            at, closing = end + 3, ""
            continue
        token = _STRINGS.search(line, at)
        if token is None:
            break
        at = token.end()
        if token[0] in ('"""', "'''"):
            closing = token[0]
        elif token[0] in "[{":
            depth += 1
        elif token[0] in "]}":
            depth = max(depth - 1, 0)
    return depth, closing


def _path(dotted: str) -> str:
    return ".".join(each.strip().strip("\"'") for each in re.findall(_PART, dotted))


def _nearest(lines: Mapping[str, int], key: str) -> int | None:
    """The line of a key, or of what it would stand in."""
    while key:
        if key in lines:
            return lines[key]
        key = re.sub(r"(?:\[\d+\]|\.?[^.\[]*)$", "", key)
    return None


def _decoded(text: str | bytes) -> str:
    return text if isinstance(text, str) else text.decode("utf-8-sig", "replace")

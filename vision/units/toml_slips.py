"""The usual slip behind text that is not TOML, and the line as it was probably meant.

Each rule rewrites the line; one that makes the text TOML up to there is the cure that is told. So a
cure is never one that would not do.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass

_AT_LINE = re.compile(r" ?\(at line (\d+), column \d+\)| ?\(at end of document\)")
_SET = re.compile(r"(?P<key>[\w.\" -]+?)\s*=\s*(?P<value>.*?)\s*(?P<comment>#.*)?$")
_NUMBER = r"[-+]?[0-9]+(?:\.[0-9]+)?"
_UPRIGHT = str.maketrans(dict.fromkeys("\u201c\u201d\u201e\u2018\u2019", '"'))
"""Quotes as phones and word processors set them."""
_UNITED = re.compile(rf"{_NUMBER}(?: [0-9]+/[0-9]+)? *(?:mm|cm|m|in|ft|feet|['\"])[^\[\],]*")
_LONGEST, _LARGEST, _MOST = 300, 50_000, 20
"""Characters of a line and of a text that a cure is looked for in: what is longer was not typed.
Slips that are told at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """What is wrong with a text: the line, from 1, what the parser says, and what to do about it.

    `meant` is the line as it would be TOML; None where nothing that was tried is.
    """

    line: int
    complaint: str
    step: str
    meant: str | None = None


def slips_in(text: str) -> tuple[Slip, ...]:
    """Every slip that makes `text` no TOML, up to one without a cure; none where it is TOML."""
    lines = text.replace("\r\n", "\n").removesuffix("\n").split("\n")
    found: list[Slip] = []
    while len(found) < _MOST:
        try:
            tomllib.loads("\n".join(lines) + "\n")
        except ValueError as error:
            found.append(_slip(lines, error))
            meant = found[-1].meant
            if meant is None:
                break
            lines[found[-1].line - 1] = meant
        else:
            break
    return tuple(found)


def _slip(lines: list[str], error: ValueError) -> Slip:
    place = _AT_LINE.search(str(error))
    said = min(int(place[1]) if place and place[1] else len(lines), max(len(lines), 1))
    complaint = _AT_LINE.sub("", str(error))
    if sum(map(len, lines)) > _LARGEST:
        return Slip(line=said, complaint=complaint, step="correct it at that place")
    number = _first_bad(lines, said)
    line, before = lines[number - 1].strip() if lines else "", lines[: number - 1]
    if again := _said_twice(before, line, complaint):
        return Slip(line=number, complaint=complaint, step=again)
    for meant, why in _meant(line) if len(line) <= _LONGEST else ():
        if meant != line and _is_toml([*before, meant]):
            step = f"write `{meant}`: {why}"
            return Slip(line=number, complaint=complaint, step=step, meant=meant)
    if (empty := _SET.match(line)) and not empty["value"]:
        step = "write what it is behind `=`, or remove the line"
        return Slip(line=number, complaint=complaint, step=step, meant=f"# {line}")
    return Slip(line=said, complaint=complaint, step="correct it at that place")


def _first_bad(lines: list[str], said: int) -> int:
    """The line with which the text ceases to be TOML: before the one the parser stumbled over.

    What is opened and not closed makes it stumble far below.
    """
    number = said
    while number > max(said - _LONGEST, 0) and not _is_toml(lines[: number - 1]):
        number -= 1
    while number < len(lines) and not lines[number - 1].split("#")[0].strip():
        number += 1
    return max(number, 1)


def _is_toml(lines: list[str]) -> bool:
    try:
        tomllib.loads("\n".join(lines) + "\n")
    except (ValueError, RecursionError):
        return False
    return True


def _said_twice(before: list[str], line: str, complaint: str) -> str | None:
    """What to do about a table or a key that stands there a second time."""
    head = line.split("#")[0].strip()
    if "twice" in complaint or "overwrite" in complaint:
        if head.startswith("["):
            first = [n for n, each in enumerate(before, 1) if each.split("#")[0].strip() == head]
            return f"{head} stands in line {first[-1]} too: rename one of them" if first else None
        key = head.partition("=")[0].strip()
        inside = [n for n, each in enumerate(before, 1) if each.partition("=")[0].strip() == key]
        return f"`{key}` stands in line {inside[-1]} too: keep one of them" if inside else None
    return None


# ------------------------------------------------------------------------- the line as it was meant


def _meant(line: str) -> Iterator[tuple[str, str]]:
    """The line as it may have been meant, and why; the likeliest first."""
    if upright := line.translate(_UPRIGHT):
        yield upright, "quotes stand upright"
    if re.match(r"(?://|--|;|%|/\*)", line):
        yield "# " + re.sub(r"^(?://|--|;|%|/\*)\s*", "", line), "a remark begins with #"
    if line.startswith("[") and "=" not in line:
        yield from _heads(line)
    if line.endswith("]") and not line.startswith("[") and "=" not in line:
        yield f"[{line}", "a table's name stands in brackets"
    if ":" in line.partition("=")[0]:
        yield line.replace(":", " =", 1), "= stands between a key and its value"
    if "==" in line:
        yield line.replace("==", "=", 1), "one = is enough"
    if set_anew := _SET.match(line):
        yield from _values(set_anew["key"], set_anew["value"])
    elif words := re.match(r"(\w+)\s+(\S.*)", line):
        meant = f"{words[1]} = {words[2]}"
        yield meant, "= stands between a key and its value"
        yield from _values(words[1], words[2])


def _heads(line: str) -> Iterator[tuple[str, str]]:
    inner = line.strip("[] ")
    yield f"[{inner}]", "a table's name stands in brackets"
    yield f"[[{inner}]]", "a reading's name stands in two pairs of brackets"
    yield f"[{re.sub(r'[ /:]+', '.', inner)}]", "a point stands between the two parts of a name"


def _values(key: str, value: str) -> Iterator[tuple[str, str]]:
    """The same key with its value as it may have been meant."""
    if not value:
        return
    name = re.sub(r"\s+", "_", key.strip())
    for rule, why in _RULES:
        for meant in rule(value):
            yield f"{name} = {meant}", why
    if name != key.strip():
        yield f"{name} = {value}", "no blanks within a key"


def _flags(value: str) -> Iterator[str]:
    words = {"true": "true", "yes": "true", "on": "true", "false": "false", "no": "false"}
    yield from filter(None, [words.get(value.strip("\"'").lower())])


def _decimal_comma(value: str) -> Iterator[str]:
    if re.fullmatch(r"[-+]?[0-9]+,[0-9]+", value):
        yield value.replace(",", ".")


def _united(value: str) -> Iterator[str]:
    if _UNITED.fullmatch(value):
        yield _quoted(value)


def _degrees(value: str) -> Iterator[str]:
    if found := re.fullmatch(rf"({_NUMBER}) *(?:°|º|deg|degrees)", value):
        yield found[1]


def _tail(value: str) -> Iterator[str]:
    yield value.rstrip(";,. ")


def _zeros(value: str) -> Iterator[str]:
    if re.fullmatch(r"0+[0-9]+(?:\.[0-9]+)?", value):
        yield re.sub(r"^0+(?=[0-9])", "", value)


def _lists(value: str) -> Iterator[str]:
    inner = value.strip("[]() ")
    if value[:1] in "[(" or ("," in inner and '"' not in inner):
        yield f"[{inner}]"
        parts = [each.strip() for each in inner.split(",")]
        if len(parts) == 1:
            parts = inner.split()
            yield f"[{', '.join(parts)}]"
            parts = [inner]
        yield f"[{', '.join(_quoted(p) if _UNITED.fullmatch(p) else p for p in parts)}]"


def _backslashes(value: str) -> Iterator[str]:
    if "\\" in value and value[:1] == '"':
        yield re.sub(r"\\+", "/", value)


def _open_quotes(value: str) -> Iterator[str]:
    if value[:1] in "\"'":
        inner = value.strip("\"'")
        if value[-1:] not in "\"'" or value[-1:] != value[:1]:
            yield _quoted(inner)
        elif len(value) > 2:
            yield _quoted(value[1:-1])


def _words(value: str) -> Iterator[str]:
    if value[:1].isalpha():
        yield _quoted(value)


def _quoted(text: str) -> str:
    inner = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{inner}"'


_RULES: tuple[tuple[Callable[[str], Iterator[str]], str], ...] = (
    (_flags, "true and false, in small letters and without quotes"),
    (_decimal_comma, "a point, not a comma, before the decimals"),
    (_united, "a length with its unit stands in quotes"),
    (_degrees, "degrees are a plain number"),
    (_tail, "nothing stands behind the value"),
    (_zeros, "no zeros before the number"),
    (_lists, "a list stands in brackets, commas between, each length with its unit in quotes"),
    (_backslashes, "folders are parted by /"),
    (_open_quotes, 'text stands between two quotes alike, and a " within it as \\"'),
    (_words, "words stand in quotes"),
)
"""Each gives a value as it may have been meant, and why; the likeliest first."""

"""TOML that a person typed: to plain values, or the fault and the usual slip behind it."""

from __future__ import annotations

import re
import tomllib

from vision.units.errors import BadInputError, bad_input

LARGEST_BYTES = 1_000_000
"""No file a person writes is a megabyte; a larger one is the wrong one."""

_LINE = re.compile(r"at line (\d+)")
_SET = re.compile(r"\s*([\w.-]+)\s*=\s*(?P<value>[^#]*[^#\s])\s*(?:#.*)?$")
_COMMA = re.compile(r"(-?\d+),(\d+)$")
_BARE_UNIT = re.compile(r"-?[\d.]+ *(?:mm|cm|m|in|ft|feet|['\"])[^\[\]]*$")


def toml_values(text: str | bytes, file: str, kind: str) -> dict[str, object]:
    """Values of a TOML file; `kind` names what it ought to be, such as `job file`.

    Raises BadInputError for what is no TOML in UTF-8, or more than `LARGEST_BYTES` of it.
    """
    expected = f"a {kind} in TOML"

    def refused(code: str, found: str, next_step: str, more: str = "") -> BadInputError:
        return bad_input(code, file, found, expected + more, next_step)

    if len(text) > LARGEST_BYTES:
        below = f" below {LARGEST_BYTES // 10**6} MB"
        raise refused("file-too-large", f"{len(text) / 1e6:.1f} MB", f"name the {kind}", below)
    if isinstance(text, bytes):
        if b"\0" in text:
            raise refused("not-text", "binary data", f"name the {kind}, not a picture")
        try:
            text = text.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = error.object.count(b"\n", 0, error.start) + 1
            where = f"bytes that are not UTF-8 in line {line}"
            raise refused("not-text", where, "save it again as UTF-8 text", ", in UTF-8") from None
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except RecursionError:
        raise refused(
            "nested-too-deep", "brackets nested too deeply", "remove the surplus brackets"
        ) from None
    except ValueError as error:
        step = _step(text, str(error))
        raise refused("not-toml", f"text that is not TOML ({error})", step) from None


def _step(text: str, error: str) -> str:
    """What to do about text that is not TOML: two usual slips are told, else the place alone."""
    place = _LINE.search(error)
    lines = text.splitlines()
    number = int(place[1]) if place else 0
    line = _SET.match(lines[number - 1][:200]) if 0 < number <= len(lines) else None
    if line is None:
        return "correct it at that place"
    key, value = line[1], line["value"]
    if comma := _COMMA.match(value):
        point = f"{key} = {comma[1]}.{comma[2]}"
        return f"write `{point}`: a point, not a comma, before the decimals"
    if _BARE_UNIT.match(value):
        quoted = value.replace('"', '\\"')
        return f'write `{key} = "{quoted}"`: a length with its unit stands in quotes'
    return "correct it at that place"

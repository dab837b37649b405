"""TOML that a person typed: to plain values, or the fault and the usual slip behind it."""

from __future__ import annotations

import tomllib

from vision.units.errors import BadInputError, Fault, bad_input
from vision.units.toml_slips import slips_in

LARGEST_BYTES = 1_000_000
"""No file a person writes is a megabyte; a larger one is the wrong one."""


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
    except ValueError:
        raise BadInputError(
            Fault(
                code="not-toml",
                file=file,
                key="",
                found=f"text that is not TOML ({slip.complaint})",
                expected=expected,
                next_step=slip.step,
                line=slip.line,
            )
            for slip in slips_in(text.removeprefix("\ufeff"))
        ) from None

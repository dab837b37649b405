"""Whether a job was checked before as it would be checked now, by a small file in its report.

Done means: the same content of every file that is read, the same program, the same options, and a
result that is still as it was written.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

DONE_NAME = "done.json"
SCHEMA_NAME = "seamtrue.done/1"
RESULT_NAME = "inspection.json"


def done_text(made_of: Mapping[str, Any], files: Mapping[str, bytes | str]) -> str:
    """The text of the small file: what a report was `made_of`, and its `files`."""
    entry = {"schema": SCHEMA_NAME, **made_of, "files": {n: _digest(f) for n, f in files.items()}}
    return json.dumps(entry, indent=1, sort_keys=True) + "\n"


def result_as_before(folder: Path | str, made_of: Mapping[str, Any]) -> dict[str, Any] | None:
    """The result that a folder holds of just that; None where it has to be made again."""
    folder = Path(folder)
    try:
        entry = json.loads((folder / DONE_NAME).read_text("utf-8"))
        names = entry.pop("files")
        if entry != {"schema": SCHEMA_NAME, **made_of} or not _there(folder, names):
            return None
        text = (folder / RESULT_NAME).read_bytes()
        result = json.loads(text) if names[RESULT_NAME] == _digest(text) else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return result if isinstance(result, dict) else None


def _there(folder: Path, names: Iterable[str]) -> bool:
    return all((folder / name).is_file() for name in names)


def _digest(contents: bytes | str) -> str:
    data = contents.encode("utf-8") if isinstance(contents, str) else contents
    return hashlib.sha256(data).hexdigest()

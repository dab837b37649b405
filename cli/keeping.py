"""A check as it is kept, the edges of the vehicle's own body with it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cli.report_files import now

if TYPE_CHECKING:
    from vision.comparison.record import KeptCheck
    from vision.inspection.inspected import Inspection


def as_kept(
    job_file: Path,
    texts: tuple[bytes, Mapping[str, bytes]],
    inspection: Inspection,
    result: Mapping[str, Any],
) -> KeptCheck:
    """What the record is to keep of an inspection and its result, taken now.

    `texts` are those of the job and its lens files.
    """
    from vision.comparison.body.keeping import kept_edges
    from vision.comparison.body.stored import plain_edges
    from vision.comparison.record import kept_check

    pictures = [each.picture for each in inspection.cameras]
    edges = plain_edges(kept_edges(inspection))
    return kept_check(job_file.name, texts, pictures, result, taken=now(), body=edges)

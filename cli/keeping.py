"""A check as it is kept, the edges of the vehicle's own body with it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cli.report_files import now

if TYPE_CHECKING:
    from vision.comparison.record import KeptCheck
    from vision.documents.report.pictures import Shown
    from vision.inspection.inspected import Inspection


def as_kept(
    job_file: Path,
    texts: tuple[bytes, Mapping[str, bytes]],
    inspection: Inspection,
    result: Mapping[str, Any],
    shown: Shown = "whole",
) -> tuple[KeptCheck, dict[str, str]]:
    """What the record is to keep of an inspection and its result, taken now, and a page of it.

    `texts` are those of the job and its lens files. The page, by its file's name, shows the edges
    of the body that were kept, on the pictures as far as `shown` allows.
    """
    from vision.comparison.body.keeping import kept_edges
    from vision.comparison.body.stored import plain_edges
    from vision.comparison.record import kept_check
    from vision.documents.body_page import BODY_PAGE, body_page

    pictures = [each.picture for each in inspection.cameras]
    edges = kept_edges(inspection)
    check = kept_check(job_file.name, texts, pictures, result, taken=now(), body=plain_edges(edges))
    return check, {BODY_PAGE: body_page(inspection, edges, shown=shown)}

"""The files of a report, and what a person asked of them."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from cli.trouble import FAIL, KEEP, NOT_JUDGED

if TYPE_CHECKING:
    from vision.documents.report.pictures import Shown
    from vision.inspection.inspected import Inspection

_EXIT_CODES = {"keep": KEEP, "not-judged": NOT_JUDGED}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """How much of the pictures a report shows, how views meet, the finest fraction of an inch."""

    shown: Shown = "whole"
    blended: bool = True
    fraction: int = 16

    def as_data(self) -> dict[str, Any]:
        """For a file."""
        return asdict(self)


def exit_code(verdict: str) -> int:
    """Of a check with this verdict."""
    return _EXIT_CODES.get(verdict, FAIL)


def report_files(
    inspection: Inspection, result: dict[str, Any], wanted: Wanted
) -> dict[str, bytes | str]:
    """The files of a report by their names."""
    # Imported here: a verdict is printed before anybody needs a page.
    from vision.documents.report.report import report_html
    from vision.documents.top_view import top_view
    from vision.units.plain import json_text

    from_above = top_view(inspection, blended=wanted.blended)
    page = report_html(
        inspection,
        result,
        from_above,
        shown=wanted.shown,
        blended=wanted.blended,
        made_on=f"{date.today():%d %B %Y}".lstrip("0"),
    )
    return {
        "report.html": page,
        "inspection.json": json_text(result),
        "top-view.png": from_above,
    }


def now() -> str:
    """The time here, with its offset from UTC, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")

"""What `seamtrue picks` does with an inspection: write the list, or judge a table of picks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from vision.documents.pick_judging import judge_picks
from vision.documents.picks import Screen, pick_lists
from vision.documents.picks_text import picks_csv, picks_from_text
from vision.documents.report.pick_page import picks_html
from vision.files import disk
from vision.job.layout import planned_layout

if TYPE_CHECKING:
    from vision.inspection.inspected import Inspection

STRETCH = 0.01
Said = tuple[list[str], set[str]]


def write_list(inspection: Inspection, screen: Screen, out: Path) -> Said:
    """Write picks.html and picks.csv; the lines to print, and verdicts for the exit code."""
    lists = pick_lists(inspection, screen)
    size = (screen.width, screen.height) if screen.width and screen.height else None
    contents = {
        "picks.html": picks_html(inspection, lists, size).encode("utf-8"),
        "picks.csv": picks_csv(lists).encode("utf-8"),
    }
    disk.write_all(out, contents)
    lines = [
        f"{name}: {len(picks)} marks" if picks else f"{name}: its marks were not found"
        for name, picks in lists.items()
    ]
    for found in inspection.cameras:
        across, down = screen.scale(found)
        if abs(across / down - 1) > STRETCH:
            lines.append(
                f"note: the {found.camera.name} camera's picture has another shape than that "
                "screen; the list takes it as stretched to fill it"
            )
    verdicts = set() if all(lists.values()) else {"not-judged"}
    return [*lines, f"list: {out / 'picks.html'}"], verdicts


def judge_file(inspection: Inspection, screen: Screen, text: bytes, file: str) -> Said:
    """Judge a table of picks; a line each, and the verdicts."""
    lists = pick_lists(inspection, screen)
    ids = [mark.id for mark in planned_layout(inspection.job).points]
    names = {name: [*ids, *(str(pick.number) for pick in picks)] for name, picks in lists.items()}
    judged = judge_picks(inspection, screen, picks_from_text(text, file, names))
    lines = []
    for each in judged:
        mark = each.picked.mark
        name = mark if mark == each.mark else f"{mark} ({each.mark})"
        lines.append(f"{each.picked.camera} {name}: {each.text}")
    good = sum(each.verdict == "good" for each in judged)
    return [*lines, f"{good} of {len(judged)} picks are good"], {each.verdict for each in judged}

"""The table that `seamtrue check` prints: drawn on a terminal, plain text when piped."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import typer

from cli.trouble import printable
from vision.units.length_words import METRIC, NO_FIGURE, LengthWords

if TYPE_CHECKING:
    from vision.inspection.inspected import Inspection

STYLES = {"keep": "green", "within": "green", "not-judged": "cyan"}
FAILED_STYLE = "bold yellow"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """A table as text: `heads` over `rows`; in every row the name, the verdict and figures."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def show(inspection: Inspection, result: dict[str, Any]) -> None:
    """Print verdicts, what is to be done, what is open and why, and warnings."""
    from vision.documents.open_points import open_points

    for table in tables(result, inspection.job.lengths):
        draw(table)
        typer.echo()
    typer.echo(f"verdict: {result['verdict']}")
    for number, action in enumerate(_actions(result), start=1):
        typer.echo(f"{number}. {printable(action)}")
    for point in open_points(inspection):
        typer.echo(f"open: {printable(point)}")
    for warning in result["warnings"]:
        typer.echo(f"note: {printable(warning)}")


def tables(result: dict[str, Any], write: LengthWords = METRIC) -> list[Lines]:
    """Cameras, strips with raised marks, and seams; what the job has none of is left out."""
    cameras = tuple(_camera(entry) for entry in result["cameras"])
    laid = tuple(_laid(entry, write) for entry in [*result["strips"], *result["raised_marks"]])
    seams = tuple(_seam(entry, write) for entry in result["seams"])
    gaps = (write.head("gap", "cm"), write.head("rms", "cm"), write.roughly.head("overlap", "m"))
    heads: tuple[tuple[str, ...], ...] = (
        (
            *("camera", "verdict", "marks", "blur px", "rms px"),
            *("pan off", "tilt off", "roll off", "sigma deg"),
        ),
        (
            *("strip, mark", "verdict"),
            *(write.head("ahead", "cm"), write.head("left", "cm"), "turn deg"),
        ),
        ("seam", "verdict", *gaps),
    )
    every = zip(heads, (cameras, laid, seams), strict=True)
    return [Lines(heads=head, rows=rows) for head, rows in every if rows]


def plain(table: Lines, words: int = 2) -> str:
    """Columns of text two spaces apart; the first `words` to the left, figures to the right."""
    lines = [table.heads, *table.rows]
    widths = [max(len(line[index]) for line in lines) for index in range(len(table.heads))]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if index < words else cell.rjust(width)
            for index, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    )


def draw(table: Lines) -> None:
    """Print a table: drawn on a terminal, plain when piped."""
    if not sys.stdout.isatty():
        typer.echo(plain(table))
        return
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    drawn = Table(box=box.SIMPLE_HEAD)
    for index, head in enumerate(table.heads):
        drawn.add_column(head, justify="left" if index < 2 else "right")
    for row in table.rows:
        style = STYLES.get(row[1], FAILED_STYLE)
        # Text, not markup: a name may hold square brackets.
        drawn.add_row(*(Text(cell, style if at == 1 else "") for at, cell in enumerate(row)))
    Console().print(drawn)


def _actions(result: dict[str, Any]) -> list[str]:
    if result["actions"]:
        return [action["text"] for action in result["actions"]]
    judged = [*result["cameras"], *result["strips"], *result["raised_marks"]]
    return [f"{entry['name']}: {step['text']}" for entry in judged for step in entry["actions"]]


def _number(value: float | None, digits: int, sign: str = "") -> str:
    return NO_FIGURE if value is None else f"{value:{sign}.{digits}f}"


def _camera(entry: dict[str, Any]) -> tuple[str, ...]:
    fit, joint = entry["plan_fit"], entry["joint"]
    off = [NO_FIGURE] * 3
    worst_sigma = None
    if joint:
        intended = entry["intended_aim_deg"]
        differences = {
            name: (found - intended[name] + 180) % 360 - 180
            for name, found in joint["aim_deg"].items()
        }
        off = [_number(differences[name], 2, sign="+") for name in ("pan", "tilt", "roll")]
        sigmas = [sigma for sigma in joint["aim_sigma_deg"].values() if sigma is not None]
        worst_sigma = max(sigmas, default=None)
    return (
        printable(entry["name"]),
        entry["verdict"],
        f"{entry['marks_used']}/{entry['marks_expected']}",
        _number(_blur_px(entry), 1),
        _number(fit["reprojection_px"]["rms"] if fit else None, 2),
        *off,
        _number(worst_sigma, 2),
    )


def _blur_px(entry: dict[str, Any]) -> float | None:
    """Blur at 1280 px width: at the marks, or without marks at the picture's own edges."""
    picture, sharpness = entry["picture"], entry.get("sharpness")
    at_marks: float | None = picture["blur_px"]
    if at_marks is not None or sharpness is None or sharpness["blur"] is None:
        return at_marks
    return float(sharpness["blur"]["px"]) * 1280 / float(picture["width"])


def _laid(entry: dict[str, Any], write: LengthWords) -> tuple[str, ...]:
    shift = entry["shift_m"] or (None, None)
    return (
        printable(entry["name"]),
        entry["verdict"],
        write.cell(shift[0], "cm", signed=True),
        write.cell(shift[1], "cm", signed=True),
        _number(entry.get("turn_deg"), 2, sign="+"),
    )


def _seam(entry: dict[str, Any], write: LengthWords) -> tuple[str, ...]:
    worst = entry["worst_gap_m"]
    length = (worst[0] ** 2 + worst[1] ** 2) ** 0.5 if worst else None
    return (
        printable(" - ".join(entry["between"])),
        entry["verdict"],
        write.cell(length, "cm"),
        write.cell(entry["rms_gap_m"], "cm"),
        write.roughly.cell(entry["overlap_m"], "m"),
    )

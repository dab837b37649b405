"""`seamtrue fleet`: one page and one table over many vehicles and dates."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import Debug
from cli.printing import Lines, reader_may_leave, say, show_table
from cli.trouble import BAD_INPUT, reported

if TYPE_CHECKING:
    from vision.files.fleet_files import ReadChecks

CHUNK = 500
"""Files that are read by one process at a time; for fewer none is started."""

SHOWN = 50
"""Rows that a terminal shows, those to see to first; the page and the CSV have all."""

Chunk = tuple[tuple[Path, ...], Path]


def fleet(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Results and records.", show_default=False)
    ],
    out: Annotated[
        Path | None,
        typer.Option(help="Page to write; by default seamtrue-fleet.html in the folder."),
    ] = None,
    csv: Annotated[Path | None, typer.Option(help="Write the table as CSV as well.")] = None,
    due: Annotated[bool, typer.Option("--due", help="List only what is to check again.")] = False,
    debug: Debug = False,
) -> None:
    """Show many vehicles by their checks: verdicts, what drifts, where cameras fail, what is due.

    Reads every inspection.json and every record in the folder and below. Exit code: 0, 5 bad input,
    of which the rest is still shown.
    """
    with reported(debug):
        # Imported here: --help needs none of it.
        from vision.comparison.fleet import fleet_of
        from vision.documents.fleet_page import fleet_csv, fleet_lines, fleet_page, fleet_rows
        from vision.files import disk
        from vision.files.fleet_files import check_files
        from vision.units.errors import bad_input

        page = out or folder / "seamtrue-fleet.html"
        for path in (page, *([csv] if csv else [])):
            disk.folder_ready(path.parent)
        files = check_files(folder)
        if not files:
            step = "name the folder that reports or records were written to, or one above it"
            wanted = "results (inspection.json) or records in it or below"
            raise bad_input("no-checks", str(folder), "none", wanted, step)
        read = _read(files, folder)
        found = fleet_of((check for each in read for check in each.checks), date.today())
        faults = [fault for each in read for fault in each.faults]
        disk.write_all(
            page.parent, {page.name: fleet_page(found, f"{date.today():%d %B %Y}".lstrip("0"))}
        )
        if csv is not None:
            disk.write_all(csv.parent, {csv.name: fleet_csv(found)})
        with reader_may_leave():
            late = {each.last.vehicle for each in found.due}
            rows = tuple(row for row in fleet_rows(found) if not due or row[0] in late)
            heads = ("vehicle", "verdict", "checked", "due", "drifts", "first to do")
            show_table(Lines(heads=heads, rows=rows[:SHOWN], words=len(heads)), gap=False)
            more = len(rows) - SHOWN
            say(*([f"and {more} more, on the page"] if more > 0 else []), "")
            say(*fleet_lines(found), f"page: {page}")
        say(*faults, err=True)
        if faults:
            raise typer.Exit(BAD_INPUT)


def read_chunk(chunk: Chunk) -> list[ReadChecks]:
    """What some files hold."""
    from vision.files.fleet_files import read_checks

    return list(read_checks(*chunk))


def _read(files: Sequence[Path], folder: Path) -> list[ReadChecks]:
    """What every file holds, in their order; on all cores where there are many."""
    if len(files) <= CHUNK:
        return read_chunk((tuple(files), folder))
    from cli.workers import cores, each_done

    chunks = [(tuple(files[i : i + CHUNK]), folder) for i in range(0, len(files), CHUNK)]
    found: dict[int, list[ReadChecks]] = {}
    for index, answer in each_done(read_chunk, chunks, cores()):
        # A process that dies twice has told nothing: then it is done here, and dies here.
        found[index] = read_chunk(chunks[index]) if answer is None else answer
    return [each for index in sorted(found) for each in found[index]]

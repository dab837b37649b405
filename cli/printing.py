"""What commands print: lines that steer no terminal, and tables, drawn or in plain columns."""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import StringIO
from typing import Literal

import typer

GOOD = ("keep", "within", "no change", "no turn seen", "good")
STYLES = dict.fromkeys(GOOD, "green") | {"not-judged": "cyan"}
FAILED_STYLE = "bold yellow"
_DOUBT = re.compile(r"\+-(?=[ \d])")
ENDLESS = 100_000
"""Characters in a line that nobody looks at: nothing is folded for a script."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """A table as text: `heads` over `rows`; the first `words` columns are words, then figures.

    The second column is a verdict, where `verdicts` says so.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: int = 2
    verdicts: bool = True


def printable(text: str) -> str:
    """Replace what could steer a terminal, line ends apart; write ± where the terminal has it."""
    shown = "".join(each if each.isprintable() or each == "\n" else "?" for each in text)
    return _DOUBT.sub("±", shown) if _has("±") else shown


def _has(character: str) -> bool:
    """Whether what is printed to can show a character."""
    try:
        character.encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def say(*lines: str, err: bool = False, hanging: str = "") -> None:
    """Print lines; those too wide for a terminal are folded under `hanging`, for a script none."""
    stream = sys.stderr if err else sys.stdout
    width = shutil.get_terminal_size().columns if stream.isatty() else ENDLESS
    for line in lines:
        text = printable(line)
        folded = textwrap.wrap(text, width, subsequent_indent=hanging, break_on_hyphens=False)
        typer.echo("\n".join(folded) if len(text) > width else text, err=err)


def say_numbered(steps: Iterable[str | tuple[str, ...]]) -> None:
    """Print steps in their order, what belongs to each under it."""
    for number, step in enumerate(steps, start=1):
        head, *more = (step,) if isinstance(step, str) else step
        say(f"{number}. {head}", *(f"   {line}" for line in more), hanging="   ")


def show_table(table: Lines, *, gap: bool = True) -> None:
    """Print a table, drawn on a terminal, and an empty line; nothing where it has no row."""
    if table.rows:
        text = _text(table, terminal=sys.stdout.isatty())
        typer.echo((_DOUBT.sub("±", text) if _has("±") else text) + "\n" * gap)


def plain(table: Lines) -> str:
    """Columns of text two spaces apart; words to the left, figures to the right."""
    return _text(table, terminal=False)


def _text(table: Lines, *, terminal: bool) -> str:
    # Imported here: --help needs none of it.
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    drawn = Table(
        box=box.SIMPLE_HEAD if terminal else None,
        padding=(0, 1) if terminal else (0, 2, 0, 0),
        collapse_padding=terminal,
        pad_edge=False,
    )
    for index, head in enumerate(table.heads):
        side: Literal["left", "right"] = "left" if index < table.words else "right"
        # A verdict is never cut; a long name is folded.
        whole = table.verdicts and index == 1
        drawn.add_column(Text(printable(head)), justify=side, no_wrap=whole)
    for row in table.rows:
        # Text, not markup: a name may hold square brackets.
        cells = [Text(printable(cell)) for cell in row]
        if table.verdicts:
            cells[1].stylize(STYLES.get(row[1], FAILED_STYLE))
        drawn.add_row(*cells)
    if terminal:
        console = Console()
        with console.capture() as captured:
            console.print(drawn)
        return captured.get().rstrip("\n")
    into = StringIO()
    Console(file=into, width=ENDLESS, color_system=None).print(drawn)
    return "\n".join(line.rstrip() for line in into.getvalue().splitlines())


@contextmanager
def reader_may_leave() -> Iterator[None]:
    """Let whoever reads our output stop early (`| head`): no trouble of ours, same exit code."""
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:
        # Python flushes once more on its way out; that must not fail either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def steady_output() -> None:
    """Never fail on a character that the terminal's encoding lacks."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")

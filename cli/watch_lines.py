"""The lines of `seamtrue watch`: rewritten on a terminal, added one by one where that is none."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from cli.printing import FAILED_STYLE, STYLES, printable, say

WAITING = "waiting for its picture"
LOOKING = "looking"
"""In the place of a verdict while only the aim is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One camera's line."""

    verdict: str = ""
    left: str = WAITING
    changed: str = ""

    def text(self, name: str) -> str:
        """The line where nothing can be rewritten."""
        parts = (name, self.verdict, self.left, f"({self.changed})" if self.changed else "")
        return "  ".join(part for part in parts if part)


@dataclass(slots=True, kw_only=True)
class Lines:
    """Holds a line for each camera, and adds what changed to the output."""

    held: dict[str, Line] = field(default_factory=dict)
    troubles: tuple[str, ...] = ()
    at_work: str = ""

    def begin(self, cameras: Sequence[str], troubles: Sequence[str]) -> None:
        """Of these cameras a new state is looked at; what is the matter with some pictures."""
        self.held = {name: self.held.get(name, Line()) for name in cameras}
        self.trouble(*troubles)

    def trouble(self, *troubles: str) -> None:
        """Say what cannot be used, once."""
        new = [each for each in troubles if each not in self.troubles]
        self.troubles = troubles
        self.added(*new)

    def busy(self, step: str) -> None:
        """What is being done."""
        self.at_work = step
        self.redrawn()

    def camera(self, name: str, verdict: str, left: str, changed: str) -> None:
        """Rewrite a camera's line."""
        line = Line(verdict=verdict, left=left, changed=changed)
        if self.held.get(name) != line:
            self.held[name] = line
            self.added(line.text(name))

    def done(self, verdict: str | None, missing: int) -> None:
        """All of it is looked at."""
        self.at_work = f"{missing} to come" if verdict is None else f"verdict: {verdict}"
        self.added(self.at_work)

    def added(self, *lines: str) -> None:
        """Print lines."""
        say(*lines)

    def redrawn(self) -> None:
        """Nothing is redrawn where there is no terminal."""


@dataclass(slots=True, kw_only=True)
class DrawnLines(Lines):
    """Rewrites the lines on a terminal."""

    live: Any

    def added(self, *lines: str) -> None:
        """They are among what is drawn."""
        self.redrawn()

    def redrawn(self) -> None:
        """Draw all lines again."""
        from rich.table import Table
        from rich.text import Text

        table = Table(box=None, padding=(0, 2, 0, 0))
        for head in ("camera", "verdict", "left to do", "since the picture before"):
            table.add_column(head)
        for name, line in self.held.items():
            style = STYLES.get(line.verdict, FAILED_STYLE)
            style = "dim" if line.verdict in ("", LOOKING) else style
            cells = (name, line.verdict, line.left or "nothing", line.changed)
            texts = [Text(printable(cell)) for cell in cells]
            texts[1].stylize(style)
            table.add_row(*texts)
        for text in (*self.troubles, self.at_work):
            table.add_row("", "", Text(printable(text), style="dim"))
        self.live.update(table, refresh=True)


@contextmanager
def lines_on() -> Iterator[Lines]:
    """Lines for this output: drawn on a terminal."""
    if not sys.stdout.isatty():
        yield Lines()
        return
    from rich.live import Live

    with Live(auto_refresh=False) as live:
        yield DrawnLines(live=live)

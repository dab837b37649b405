"""A line on a terminal that says what long work is at, and for how long; nothing when piped."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from cli.printing import printable

if TYPE_CHECKING:
    from vision.units.progress import Progress


@contextmanager
def shown_progress() -> Iterator[Progress]:
    """What tells a person at stderr the step that begins, with the time since the first."""
    if not sys.stderr.isatty():
        yield lambda step: None
        return
    from rich.console import Console
    from rich.progress import Progress as Shown
    from rich.progress import SpinnerColumn, TextColumn, TimeElapsedColumn

    # markup=False: a name may hold square brackets.
    columns = SpinnerColumn(), TextColumn("{task.description}", markup=False), TimeElapsedColumn()
    with Shown(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("starting")
        yield lambda step: shown.update(task, description=printable(step))

"""Where long work says what it is about to do, for whoever waits at a terminal."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str], None]
"""Is told the step that begins, in words, with a count where there are several alike."""


def silent(_step: str) -> None:
    """Tell nobody."""

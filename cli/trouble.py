"""Exit codes, and the one place where trouble becomes a message and a code."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import typer

from cli.printing import say
from vision.units.errors import BadInputError

KEEP, CRASH, FAIL, NOT_JUDGED, BAD_INPUT, INTERRUPTED = 0, 1, 3, 4, 5, 130


@contextmanager
def reported(debug: bool) -> Iterator[None]:
    """Turn bad input, a slip of ours and an interruption into a message and an exit code.

    `debug` lets what is unexpected through, traceback and all.
    """
    try:
        yield
    except BadInputError as error:
        say(*map(str, error.faults), err=True)
        raise typer.Exit(BAD_INPUT) from None
    except KeyboardInterrupt:
        say("interrupted: what was written before is as it was", err=True)
        raise typer.Exit(INTERRUPTED) from None
    except (typer.Exit, typer.Abort):
        raise
    except Exception as error:
        # Usage errors are exceptions too, and Typer's own to tell.
        if debug or hasattr(error, "exit_code"):
            raise
        if isinstance(error, ImportError) and ".so" in str(error):
            remedy = "on a slim machine: apt-get install libgl1 libglib2.0-0"
            say(f"OpenCV cannot start ({error}); {remedy}", err=True)
        else:
            bug(error)
        raise typer.Exit(CRASH) from None


def bug(error: Exception) -> None:
    """Say in one line that this is our fault, and how to report it."""
    what = f"{type(error).__name__}: {error}".split("\n", 1)[0]
    say(
        f"this is a bug in seamtrue ({what}): please report it with what the same command prints "
        "when --debug is added",
        err=True,
    )

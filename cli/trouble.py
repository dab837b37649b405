"""Exit codes, and the one place where trouble becomes a message and a code."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import typer

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
        for fault in error.faults:
            typer.echo(printable(str(fault)), err=True)
        raise typer.Exit(BAD_INPUT) from None
    except KeyboardInterrupt:
        typer.echo("interrupted: what was written before is as it was", err=True)
        raise typer.Exit(INTERRUPTED) from None
    except (typer.Exit, typer.Abort):
        raise
    except Exception as error:
        # Usage errors are exceptions too, and Typer's own to tell.
        if debug or hasattr(error, "exit_code"):
            raise
        if isinstance(error, ImportError) and ".so" in str(error):
            typer.echo(
                f"OpenCV cannot start ({error}); on a slim machine: "
                "apt-get install libgl1 libglib2.0-0",
                err=True,
            )
        else:
            bug(error)
        raise typer.Exit(CRASH) from None


@contextmanager
def reader_may_leave() -> Iterator[None]:
    """Let whoever reads our output stop early (`| head`): no trouble of ours, same exit code."""
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:
        # Python flushes once more on its way out; that must not fail either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def bug(error: Exception) -> None:
    """Say in one line that this is our fault, and how to report it."""
    what = printable(f"{type(error).__name__}: {error}".split("\n", 1)[0])
    typer.echo(
        f"this is a bug in seamtrue ({what}): please report it with what the same command prints "
        "when --debug is added",
        err=True,
    )


def printable(text: str) -> str:
    """Replace what could steer a terminal, line ends apart."""
    return "".join(each if each.isprintable() or each == "\n" else "?" for each in text)


def steady_output() -> None:
    """Never fail on a character that the terminal's encoding lacks."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")

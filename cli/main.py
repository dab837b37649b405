"""The command `seamtrue`: one plain verb per task."""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from cli.check import check
from cli.compare import compare
from cli.fleet import fleet
from cli.init import init
from cli.length import length
from cli.lens import lens
from cli.lot.command import lot
from cli.marks import marks
from cli.measure import measure
from cli.picks import picks
from cli.plan import plan
from cli.printing import steady_output
from cli.record import record
from cli.scene import scene
from cli.sheet import sheet
from cli.trouble import CRASH, INTERRUPTED, bug
from cli.walk import walk
from cli.watch import watch
from cli.whatif import whatif
from vision import __version__
from vision.documents.cautions import CAUTION

app = typer.Typer(
    name="seamtrue",
    help=f"Check the cameras, marks and seams of a surround-view fitting. {CAUTION}",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
_BEFORE = init, plan, sheet, marks, measure
_ON_THE_DAY = lot, watch, check, walk, whatif, record, compare, fleet, picks
for command in (*_BEFORE, *_ON_THE_DAY, lens, scene, length):
    app.command()(command)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"seamtrue {__version__}")
        raise typer.Exit


@app.callback()
def seamtrue(
    version: Annotated[
        bool,
        typer.Option("--version", help="Show the version.", callback=_version, is_eager=True),
    ] = False,
) -> None:
    """Take options that belong to no command."""


def main() -> None:
    """Run the command line; the exit codes are those of `cli.trouble`, and 2 for usage."""
    # The matrices here are small: waking threads for each costs several times what they save. It
    # has to be said before NumPy is imported, which the commands do.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    steady_output()
    try:
        app()
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    except Exception as error:
        if "--debug" in sys.argv:
            raise
        bug(error)
        sys.exit(CRASH)


if __name__ == "__main__":
    main()

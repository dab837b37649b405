"""`seamtrue lens`: fit a lens to pictures of a checkerboard."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug
from cli.printing import reader_may_leave, say
from cli.trouble import NOT_JUDGED, reported


def lens(
    pictures: Annotated[
        list[Path], typer.Argument(metavar="PICTURE...", help="Each shows the whole board.")
    ],
    board: Annotated[str, typer.Option(help="Inner corners along and across, such as 9x6.")],
    square: Annotated[str, typer.Option(help="Side of one square, such as 25mm.")],
    out: Annotated[Path, typer.Option(help="The lens file to write.")],
    form: Annotated[
        str, typer.Option("--format", help="seamtrue (JSON), opencv or ros (YAML).")
    ] = "seamtrue",
    debug: Debug = False,
) -> None:
    """Fit a lens to pictures of a checkerboard, from no guess, and say how well it is known.

    Exit code: 0 written, 4 too few boards for a lens, 5 bad input, 2 usage, 1 a bug.
    """
    if form not in ("seamtrue", "opencv", "ros"):
        raise typer.BadParameter(f"{form!r} is none of seamtrue, opencv, ros", param_hint="format")
    with reported(debug):
        # Imported here, since they bring OpenCV and SciPy and --help needs neither.
        from cli.lens_input import read_lens_input
        from vision.calibration.board_corners.find import find_board
        from vision.calibration.lens_quality import lens_report
        from vision.camera.lens_formats import lens_json, lens_opencv, lens_ros
        from vision.camera.solver import NoFit
        from vision.documents.check_words.words import say_check
        from vision.documents.lens_words import counted, lens_words
        from vision.files import disk

        shown, stills = read_lens_input(board, square, pictures)
        found = [find_board(still.grey, shown, still.file) for still in stills]
        views = [each for each in found if not isinstance(each, NoFit)]
        for still, each in zip(stills, found, strict=True):
            if isinstance(each, NoFit):
                say(f"{still.file}: {say_check()(each.reason)}")
        report = lens_report(views, stills[0].width, stills[0].height)
        if isinstance(report, NoFit):
            say(f"no lens: {say_check()(report.reason)}", err=True)
            if not views:
                say(counted(shown), err=True)
            raise typer.Exit(NOT_JUDGED)
        fit = report.fit
        text = {
            "seamtrue": lambda: lens_json(fit.lens, fit.covariance),
            "opencv": lambda: lens_opencv(fit.lens),
            "ros": lambda: lens_ros(fit.lens, out.stem),
        }[form]()
        disk.write_all(out.parent, {out.name: text})
        with reader_may_leave():
            say(*lens_words(report), f"lens: {out}")

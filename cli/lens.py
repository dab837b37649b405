"""`seamtrue lens`: fit a lens to pictures of a checkerboard."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import Debug
from cli.printing import reader_may_leave, say
from cli.trouble import NOT_JUDGED, reported

if TYPE_CHECKING:
    from cli.lens_input import Look
    from vision.calibration.board import Board

MOST_OF_THEM = 0.5
"""Share of the pictures without the board that must show one of another count, to say so."""


def lens(
    pictures: Annotated[
        list[Path],
        typer.Argument(metavar="PICTURE...", help="Each shows the board; or a folder of them."),
    ],
    board: Annotated[str, typer.Option(help="Inner corners along and across, such as 9x6.")],
    square: Annotated[str, typer.Option(help="Side of one square, such as 25mm.")],
    out: Annotated[Path, typer.Option(help="The lens file to write.")],
    form: Annotated[
        str, typer.Option("--format", help="seamtrue (JSON), opencv or ros (YAML).")
    ] = "seamtrue",
    pixel_aspect: Annotated[
        str | None,
        typer.Option(
            help="Width over height of a pixel, such as 1.0667, or a standard such as '625 lines,"
            " 4:3'; without it square, or at a recorder's size what suits the boards."
        ),
    ] = None,
    report: Annotated[
        Path | None, typer.Option(help="An HTML page to write: what the pictures tell, drawn.")
    ] = None,
    debug: Debug = False,
) -> None:
    """Fit a lens to pictures of a checkerboard, from no guess, and say how well it is known.

    Exit code: 0 written, 4 too few boards for a lens or boards of two, 5 bad input, 2 usage, 1 a
    bug.
    """
    if form not in ("seamtrue", "opencv", "ros"):
        raise typer.BadParameter(f"{form!r} is none of seamtrue, opencv, ros", param_hint="format")
    with reported(debug):
        # Imported here, since they bring OpenCV and SciPy and --help needs neither.
        from cli.lens_input import look_at_pictures
        from vision.calibration.lens_quality import lens_report
        from vision.camera.lens_formats import lens_json, lens_opencv, lens_ros
        from vision.camera.solver import NoFit
        from vision.documents.check_words.words import say_check
        from vision.documents.lens_page import lens_page
        from vision.documents.lens_words import lens_words, no_lens_words
        from vision.files import disk

        shown, shapes, looks = look_at_pictures(board, square, pixel_aspect, pictures)
        views = [view for look in looks for view in look.views]
        for look in looks:
            if look.reason is not None:
                say(f"{look.name}: {say_check()(look.reason)}")
        _say_count(shown, looks)
        found = lens_report(views, looks[0].width, looks[0].height, shapes)
        if isinstance(found, NoFit):
            names = [view.name for view in views]
            say(*no_lens_words(found.reason, names, say_check()(found.reason)), err=True)
            raise typer.Exit(NOT_JUDGED)
        fit = found.fit
        text = {
            "seamtrue": lambda: lens_json(fit.lens, fit.covariance),
            "opencv": lambda: lens_opencv(fit.lens),
            "ros": lambda: lens_ros(fit.lens, out.stem),
        }[form]()
        disk.write_all(out.parent, {out.name: text})
        if report is not None:
            disk.write_all(report.parent, {report.name: lens_page(found, shown)})
        with reader_may_leave():
            say(*lens_words(found), f"lens: {out}")
            if report is not None:
                say(f"report: {report}")


def _say_count(shown: Board, looks: list[Look]) -> None:
    """Say where pictures show a board of another count, or none shows any."""
    from vision.documents.lens_words import counted

    without = [look for look in looks if not look.views]
    seen = Counter(look.counts for look in without if look.counts is not None)
    told = seen.most_common(1)
    if told and told[0][1] > MOST_OF_THEM * len(without):
        say(counted(shown, told[0][0]), err=True)
    elif len(without) == len(looks):
        say(counted(shown), err=True)

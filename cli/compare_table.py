"""The tables that `seamtrue compare` prints, and its sentences below them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from cli.table import Lines, plain
from cli.trouble import printable

if TYPE_CHECKING:
    from vision.comparison.change import Comparison, SeamChange


def show_comparison(result: Comparison, lines: list[str]) -> None:
    """Print what changed of each camera and seam, then the sentences."""
    import numpy as np

    write = result.lengths
    places = (write.head(each, "cm") for each in ("ahead", "left", "up"))
    heads = "camera", "finding", "pan deg", "tilt deg", "roll deg", *places
    rows = []
    for camera in result.cameras:
        angles = zip(np.degrees(camera.aim_rad), np.degrees(camera.aim_sigma_rad), strict=True)
        moves = zip(camera.place_m.tolist(), camera.place_sigma_m.tolist(), strict=True)
        rows.append(
            (
                printable(camera.name),
                "changed" if camera.changed else "no change",
                *(f"{d:+.2f} +-{s:.2f}" for d, s in angles),
                *(write.cell(d, "cm", s, signed=True) for d, s in moves),
                f"{np.degrees(camera.detectable_rad):.2f}",
            )
        )
    typer.echo(plain(Lines(heads=(*heads, "seen from deg"), rows=tuple(rows))))
    if result.seams:
        seams = tuple(
            (
                printable(" - ".join(seam.between)),
                "breaks" if seam.breaks else seam.after,
                *(write.cell(d, "cm", s) for d, s in _seam_figures(seam)),
            )
            for seam in result.seams
        )
        gaps = (write.head(each, "cm") for each in ("then", "now", "moved"))
        typer.echo("\n" + plain(Lines(heads=("seam", "finding", *gaps), rows=seams)))
    typer.echo()
    for line in lines:
        typer.echo(printable(line))


def _seam_figures(seam: SeamChange) -> tuple[tuple[float, float], ...]:
    return (
        (seam.before_m, seam.before_sigma_m),
        (seam.after_m, seam.after_sigma_m),
        (seam.moved_m, seam.moved_sigma_m),
    )

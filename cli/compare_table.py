"""The tables that `seamtrue compare` prints, and its sentences below them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cli.printing import Lines, say, say_numbered, show_table
from vision.documents.cautions import DOUBT

if TYPE_CHECKING:
    from vision.comparison.change import CameraChange, Comparison, SeamChange
    from vision.units.length_words import LengthWords


def show_comparison(result: Comparison, steps: list[str], lines: list[str]) -> None:
    """Print what to do, what changed of each camera and seam, then the sentences."""
    say_numbered(steps)
    say(*([f"({DOUBT})", ""] if steps else []))
    write = result.lengths
    angles = "pan deg", "tilt deg", "roll deg"
    heads = ("camera", "finding", *angles, write.head("moved", "cm"))
    rows = tuple(_camera(each, write) for each in result.cameras)
    rows += tuple((each.name, "other lens", *"----") for each in result.exchanged)
    show_table(Lines(heads=heads, rows=rows))
    gaps = (write.head(each, "cm") for each in ("then", "now", "moved"))
    seams = tuple(_seam(each, write) for each in result.seams)
    show_table(Lines(heads=("seam", "finding", *gaps), rows=seams))
    say(*lines)


def _camera(camera: CameraChange, write: LengthWords) -> tuple[str, ...]:
    import numpy as np

    from vision.inspection.verdict.rule import length_and_sigma

    angles = zip(np.degrees(camera.aim_rad), np.degrees(camera.aim_sigma_rad), strict=True)
    moved = length_and_sigma(camera.place_m, np.diag(camera.place_sigma_m**2))
    return (
        camera.name,
        "changed" if camera.changed else "no change",
        *(f"{turn:+z.2f} +-{sigma:.2f}" for turn, sigma in angles),
        write.cell(moved[0], "cm", moved[1]),
    )


def _seam(seam: SeamChange, write: LengthWords) -> tuple[str, ...]:
    gaps = (seam.before, seam.after, seam.moved)
    return (
        " - ".join(seam.between),
        "breaks" if seam.breaks else seam.after.verdict,
        *(write.cell(each.length_m, "cm", each.sigma_m) for each in gaps),
    )

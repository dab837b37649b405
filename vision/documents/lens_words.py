"""What is said of a fitted lens: pictures, lens with sigmas, the map of uncertainty, advice."""

from __future__ import annotations

import numpy as np

from vision.calibration.board import Board
from vision.calibration.lens_quality import LensReport, ViewTest
from vision.camera.lens import PARAMETERS

FINDINGS = {
    "": "fits",
    "corners": "outlier: some corners are off and were left out; the rest fits",
    "picture": "outlier: left out; look for a bent board, a moved camera or a wrong board",
}


def lens_words(report: LensReport) -> list[str]:
    """All there is to say of a fitted lens, line by line."""
    wide = max(len(each.name) for each in report.tests)
    pictures = [_picture(each, wide) for each in report.tests]
    return [*pictures, *_lens(report), *_map(report), f"next: {report.advice}"]


def counted(board: Board) -> str:
    """What is usually wrong where no picture shows the board."""
    columns, rows = board.columns, board.rows
    return (
        f"--board counts inner corners, where four squares meet: {columns}x{rows} is a board of"
        f" {columns + 1} x {rows + 1} squares; is yours?"
    )


def _picture(test: ViewTest, wide: int) -> str:
    rms = f"{test.rms_px:.3f}" if np.isfinite(test.rms_px) else "  -  "
    corners = f"{test.used}/{test.corners} corners"
    return f"{test.name:{wide}}  {corners}  held out {rms} px  {FINDINGS[test.finding]}"


def _lens(report: LensReport) -> list[str]:
    fit = report.fit
    lines = [
        f"{len(fit.views)} pictures, RMS {fit.rms_px:.3f} px, held-out RMS "
        f"{report.held_out_px:.3f} px",
        f"added to each corner's own sigma: {fit.extra_sigma_px:.3f} px; variance factor "
        f"{fit.variance_factor:.2f}; variance between pictures {report.view_factor:.1f} times "
        "what corners alone would say",
    ]
    for name, value, sigma in zip(PARAMETERS, fit.lens.as_vector(), fit.sigma, strict=True):
        digits = 2 if name[0] in "fc" else 5
        lines.append(f"{name}  {value:12.{digits}f} +- {sigma:.{digits}f}")
    return lines


def _map(report: LensReport) -> list[str]:
    lines = ["sigma over the picture, px (after the turn that a pose would absorb):"]
    for row in report.map.sigma_px:
        cells = (f"{each:6.2f}" if np.isfinite(each) else "     -" for each in row)
        lines.append(" ".join(cells))
    return lines

"""What is said of a fitted lens: pictures, lens with sigmas, the map of uncertainty, advice."""

from __future__ import annotations

import numpy as np

from vision.calibration.board import Board
from vision.calibration.lens_quality import LensReport
from vision.camera.lens import PARAMETERS
from vision.documents.templates import written_text


def lens_words(report: LensReport) -> list[str]:
    """All there is to say of a fitted lens, line by line."""
    fit = report.fit
    return written_text(
        "lens.txt.j2",
        report=report,
        fit=fit,
        wide=max(len(each.name) for each in report.tests),
        parameters=zip(PARAMETERS, fit.lens.as_vector(), fit.sigma, strict=True),
        isfinite=np.isfinite,
    ).splitlines()


def counted(board: Board) -> str:
    """What is usually wrong where no picture shows the board."""
    columns, rows = board.columns, board.rows
    return (
        f"--board counts inner corners, where four squares meet: {columns}x{rows} is a board of"
        f" {columns + 1} x {rows + 1} squares; is yours?"
    )

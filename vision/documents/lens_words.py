"""What is said of a fitted lens: pictures, lens with sigmas, the map of uncertainty, advice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.calibration.board import Board
from vision.calibration.known import MAP_COLUMNS, MAP_ROWS
from vision.calibration.lens_quality import LensReport
from vision.camera.lens import PARAMETERS
from vision.documents.templates import written_text
from vision.units.reason import Reason

FINDINGS = {
    "": "fits",
    "corners": "some corners are off and were left out; the rest fits",
    "picture": "left out: fits worse than the others; look for a bent board or a moved camera",
    "foreign": "left out: does not belong; another camera or zoom, or no such board",
}


def lens_words(report: LensReport) -> list[str]:
    """All there is to say of a fitted lens, line by line."""
    fit = report.fit
    return written_text(
        "lens.txt.j2",
        report=report,
        fit=fit,
        findings=FINDINGS,
        wide=max(len(each.name) for each in report.tests),
        parameters=list(zip(PARAMETERS, fit.lens.as_vector(), fit.sigma, strict=True)),
        cells=np.where(report.map.reached, report.map.sigma_px, np.nan),
        advice=advice_words(report),
        isfinite=np.isfinite,
        degrees=np.degrees,
    ).splitlines()


def advice_words(report: LensReport) -> str:
    """One sentence: where to hold the board in the next picture, and why."""
    place = report.next_place
    if place is None:
        return "the lens is known to 0.2 px or better all over the picture: no more is needed"
    how = "leaning another way than before" if place.leant else "leaning some 30 degrees"
    zone = _zone(place.row / (MAP_ROWS - 1), place.column / (MAP_COLUMNS - 1))
    why = f"there the lens is known to {place.sigma_px:.2f} px only"
    if not place.reached:
        why = "no corner reaches there yet"
    return f"hold the board {zone}, filling a quarter of the picture and {how}: {why}"


def _zone(down: float, across: float) -> str:
    height = "top" if down < 0.3 else "bottom" if down > 0.7 else ""
    side = "left" if across < 0.3 else "right" if across > 0.7 else ""
    if height and side:
        return f"in the picture's {height} {side} corner"
    return f"at the picture's {height or side} edge" if height or side else "in mid-picture"


def no_lens_words(reason: Reason, names: Sequence[str], said: str) -> list[str]:
    """Why there is no lens, and where there are two which pictures show which."""
    if reason.code != "two-lenses":
        return [f"no lens: {said}"]
    groups = [reason.arguments["first"], reason.arguments["second"]]
    assert all(isinstance(group, tuple) for group in groups)
    runs = [_runs(sorted(names.index(each) + 1 for each in group)) for group in groups]  # type: ignore[attr-defined]
    lists = [" ".join(group) for group in groups]  # type: ignore[arg-type]
    return [
        f"no lens: {said}: pictures {runs[0]}, and {runs[1]}. Fit each group by itself",
        *(f"  pictures {run}: {each}" for run, each in zip(runs, lists, strict=True)),
    ]


def _runs(numbers: Sequence[int]) -> str:
    """Numbers in order as runs: '1 to 5, 7'."""
    parts: list[list[int]] = []
    for each in numbers:
        if parts and each == parts[-1][-1] + 1:
            parts[-1].append(each)
        else:
            parts.append([each])
    return ", ".join(str(p[0]) if len(p) == 1 else f"{p[0]} to {p[-1]}" for p in parts)


def counted(board: Board, shown: tuple[int, int] | None = None) -> str:
    """What is usually wrong where no picture shows the board; `shown` is what pictures do show."""
    columns, rows = board.columns, board.rows
    if shown is not None and shown != (max(columns, rows), min(columns, rows)):
        return (
            f"the pictures show boards of {shown[0]}x{shown[1]} inner corners, not"
            f" {columns}x{rows}: say --board {shown[0]}x{shown[1]} if that is yours"
        )
    return (
        f"--board counts inner corners, where four squares meet: {columns}x{rows} is a board of"
        f" {columns + 1} x {rows + 1} squares; is yours?"
    )

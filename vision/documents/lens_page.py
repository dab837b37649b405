"""What board pictures tell of a lens, as one page: no network, no script."""

from __future__ import annotations

import math

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from vision.calibration.board import Board, BoardView
from vision.calibration.known import MAP_COLUMNS, MAP_ROWS
from vision.calibration.lens_quality import LensReport
from vision.camera.lens import PARAMETERS
from vision.documents.cautions import CAUTION
from vision.documents.lens_words import FINDINGS, advice_words
from vision.documents.templates import written_page
from vision.units.arrays import Array, Flags

ARROW_SHARE = 0.02
"""Of the picture's width, the length that an arrow of RMS length is drawn with."""

SCATTER = (600.0, 220.0)
"""Size of the plot of residuals over the angle."""

WELL, ILL = 0.1, 10.0
"""Sigmas in px between which the map's cells go from bare to full ink."""


def lens_page(report: LensReport, board: Board) -> str:
    """Write the page: what to do next, where boards were, what is known where, what is left."""
    fit = report.fit
    lens = fit.lens
    return written_page(
        "lens_page.html.j2",
        report=report,
        board=board,
        lens=lens,
        fit=fit,
        caution=CAUTION,
        advice=advice_words(report),
        findings=FINDINGS,
        parameters=list(zip(PARAMETERS, lens.as_vector(), fit.sigma, strict=True)),
        outlines=[_outline(view.pixels_px) for view in fit.views],
        dots=_dots(np.concatenate([v.pixels_px[u] for v, u in _pairs(report)])),
        off=_dots(np.concatenate([v.pixels_px[~u] for v, u in _pairs(report)])),
        cells=_cells(report),
        next_board=_next_board(report, board),
        arrows=_arrows(report),
        scatter=_scatter(report),
        degrees=math.degrees,
        isfinite=math.isfinite,
    )


def _pairs(report: LensReport) -> list[tuple[BoardView, Flags]]:
    return list(zip(report.fit.views, report.fit.used, strict=True))


def _dots(pixels: Array) -> str:
    """Points as one SVG path of strokes of no length."""
    return "".join(f"M{x:.1f} {y:.1f}h0" for x, y in pixels)


def _outline(pixels: Array) -> str:
    """Hull of a board's corners as the points of an SVG polygon."""
    try:
        hull = pixels[ConvexHull(pixels).vertices]
    except QhullError:
        hull = pixels
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in hull)


def _cells(report: LensReport) -> list[dict[str, object]]:
    """Cells of the map with their ink, from none where the lens is known to a tenth of a pixel."""
    lens, known = report.fit.lens, report.map
    wide, high = lens.width / MAP_COLUMNS, lens.height / MAP_ROWS
    cells: list[dict[str, object]] = []
    for row in range(MAP_ROWS):
        for column in range(MAP_COLUMNS):
            sigma = float(known.sigma_px[row, column])
            reached = bool(known.reached[row, column]) and math.isfinite(sigma)
            share = math.log(max(sigma, WELL) / WELL) / math.log(ILL / WELL) if reached else 0.0
            cells.append(
                {
                    "x": column * wide - 0.5,
                    "y": row * high - 0.5,
                    "wide": wide,
                    "high": high,
                    "reached": reached,
                    "ink": min(1.0, share),
                    "sigma": sigma,
                }
            )
    return cells


def _next_board(report: LensReport, board: Board) -> list[str] | None:
    """Dark squares of a small leaning board where the next one should be held, as polygons."""
    place = report.next_place
    if place is None:
        return None
    lens = report.fit.lens
    middle = report.map.pixels_px[place.row, place.column]
    columns, rows = board.columns + 1, board.rows + 1
    size = 0.3 * min(lens.width, lens.height * columns / rows) / columns
    # Kept within the picture, its far side a third shorter: leaning.
    half = 0.5 * size * np.array([columns, rows])
    middle = np.clip(middle, half, np.array([lens.width, lens.height]) - 1 - half)
    squares = []
    for row in range(rows):
        for column in range(columns):
            if (row + column) % 2:
                continue
            corners = np.add([(0, 0), (1, 0), (1, 1), (0, 1)], (column, row))
            flat = (corners - 0.5 * np.array([columns, rows])) * size
            lean = 1 - 0.35 * (flat[:, 1] + half[1]) / (2 * half[1])
            at = middle + np.stack([flat[:, 0] * lean, flat[:, 1]], axis=-1)
            squares.append(" ".join(f"{x:.1f},{y:.1f}" for x, y in at))
    return squares


def _arrows(report: LensReport) -> dict[str, object]:
    """Residuals drawn large from each used corner, as one path, and how many times."""
    fit = report.fit
    times = ARROW_SHARE * fit.lens.width / max(fit.rms_px, 1e-6)
    power = 10.0 ** math.floor(math.log10(times))
    times = 5 * power if times >= 5 * power else power
    lines = []
    for view, used, residual in zip(fit.views, fit.used, fit.residual_px, strict=True):
        for (x, y), (dx, dy) in zip(view.pixels_px[used], residual[used] * times, strict=True):
            lines.append(f"M{x:.1f} {y:.1f}l{dx:.1f} {dy:.1f}")
    return {"path": "".join(lines), "times": times}


def _scatter(report: LensReport) -> dict[str, object]:
    """Residuals away from the axis over the angle from it: a curve here is the lens's own."""
    fit = report.fit
    wide, high = SCATTER
    pixels = np.concatenate([v.pixels_px[u] for v, u in _pairs(report)])
    residual = np.concatenate([r[u] for r, u in zip(fit.residual_px, fit.used, strict=True)])
    away = pixels - [fit.lens.cx, fit.lens.cy]
    unit = away / np.maximum(np.linalg.norm(away, axis=-1, keepdims=True), 1e-9)
    radial = (residual * unit).sum(axis=-1)
    theta = np.arccos(np.clip(fit.lens.unproject(pixels)[:, 2], -1, 1))
    most_px = max(float(np.abs(radial).max()), 1e-3)
    most_deg = max(10.0, 10 * math.ceil(math.degrees(report.reach_rad) / 10))
    x = np.degrees(theta) / most_deg * wide
    y = 0.5 * high * (1 - radial / most_px)
    ticks = [(each / most_deg * wide, each) for each in range(0, int(most_deg) + 1, 10)]
    return {
        "dots": _dots(np.stack([x, y], axis=-1)),
        "wide": wide,
        "high": high,
        "most_px": most_px,
        "ticks": ticks,
    }

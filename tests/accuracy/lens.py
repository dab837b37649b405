"""Prints how well lenses are fitted: `python -m tests.accuracy.lens [FOLDER OF PHOTOGRAPHS]`.

Rendered pictures of a 190-degree lens, 30 lenses from no guess with three pictures and with one
each, found, measured and fitted; and, where a folder is named, the photographs left01.jpg to
left14.jpg that OpenCV's documentation package ships (9 x 6 inner corners, 25 mm), against the
pinhole result published for them: focal length 535.916, centre 342.283, 235.571, RMS 0.3926.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.board_pictures import BOARD, drawn
from tests.board_scenes import random_lens, random_pose
from vision.calibration.board import Board, BoardView
from vision.calibration.board_corners.find import find_board
from vision.calibration.lens_quality import lens_report
from vision.camera.lens import Lens
from vision.camera.lens_prior import resized
from vision.camera.solver import NoFit
from vision.files import disk
from vision.units.arrays import Array

LENSES = 30
PUBLISHED = {"fx": 535.916, "fy": 535.916, "cx": 342.283, "cy": 235.571}


def rendered(count: int) -> None:
    """Fit 30 lenses to `count` rendered pictures each, and print how many sigmas each is off."""
    within, asked, found, furthest, worst = 0, 0, 0, [], []
    for seed in range(LENSES):
        rng = np.random.default_rng(seed)
        lens = resized(random_lens(rng), 640, 360)
        views: list[BoardView] = []
        while len(views) < count:
            pixels, view = _picture(lens, rng)
            asked += 1
            found += view is not None
            if view is not None:
                views.append(replace(view, name=str(len(views))))
                furthest.append(np.degrees(np.arccos(lens.unproject(pixels)[:, 2].min())))
        report = lens_report(views, lens.width, lens.height)
        if isinstance(report, NoFit):
            print(f"lens {seed}: {report.reason}")
            continue
        score = np.abs(report.fit.lens.as_vector() - lens.as_vector()) / report.fit.sigma
        worst.append(float(score.max()))
        within += bool((score < 3).all())
    print(
        f"{count} pictures: {within} of {LENSES} lenses with all eight parameters within three "
        f"sigma; worst {max(worst):.1f}; boards found {found} of {asked}; corners out to "
        f"{max(furthest):.0f} degrees"
    )


def _picture(lens: Lens, rng: np.random.Generator) -> tuple[Array, BoardView | None]:
    while True:
        pose = random_pose(rng, 1.35, 0.2)
        pixels = lens.project(pose.transform(BOARD.points_m))
        if np.isfinite(pixels).all() and _well_inside(lens, pixels):
            view = find_board(drawn(lens, BOARD, pose, rng), BOARD, "p")
            return pixels, view if isinstance(view, BoardView) else None


def _well_inside(lens: Lens, pixels: Array) -> bool:
    margin = 8
    size = np.array([lens.width, lens.height])
    return bool(((pixels > margin) & (pixels < size - 1 - margin)).all())


def photographs(folder: Path) -> None:
    """Fit the lens of the documentation's photographs and compare it with what is published."""
    names = sorted(each.name for each in folder.glob("left??.jpg"))
    stills = [disk.read_picture(folder, name, name) for name in names]
    board = Board(columns=9, rows=6, square_m=0.025)
    found = [find_board(still.grey, board, still.file) for still in stills]
    views = [each for each in found if isinstance(each, BoardView)]
    report = lens_report(views, stills[0].width, stills[0].height)
    if isinstance(report, NoFit):
        print(report.reason)
        return
    fit = report.fit
    print(f"photographs: boards in {len(views)} of {len(stills)}, RMS {fit.rms_px:.3f} px")
    for row, (name, value) in enumerate(PUBLISHED.items()):
        mine, sigma = fit.lens.as_vector()[row], fit.sigma[row]
        print(f"{name} {mine:.2f} +- {sigma:.2f}, published {value}: {(mine - value) / sigma:+.1f}")
    named = [each.name for each in report.tests if each.finding]
    print("named: " + (", ".join(named) or "none"))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?", help="of OpenCV's board photographs")
    folder = parser.parse_args().folder
    if folder is not None:
        photographs(folder)
    for pictures in (3, 1):
        rendered(pictures)

"""Print what a lens costs: `python -m tests.speed.lens [--pictures 8] [--fits 50 200]`.

Drawn pictures of 1280 x 1024 of a board of 7 x 5 corners: processor time of finding it, beside
OpenCV's findChessboardCornersSB on the same pictures; and of the whole report (fit, every picture
left out in turn, map) on corners of so many simulated pictures. Nothing is asserted.
"""

from __future__ import annotations

import argparse
import os
import statistics
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np

from tests.board_pictures import BOARD, drawn
from tests.board_scenes import HEIGHT, WIDTH, board_views, random_lens, random_pose
from vision.calibration.board_corners.find import find_board
from vision.calibration.lens_quality import lens_report
from vision.camera.lens import Lens
from vision.camera.solver import NoFit

SIZE_PX = (1280, 1024)
LENS = Lens(width=1280, height=1024, fx=400, fy=400, cx=650, cy=505, k=np.array([0.01, 0, 0, 0]))


def pictures(count: int) -> None:
    """Time both finders on drawn pictures."""
    rng = np.random.default_rng(5)
    ours, other, found = [], [], 0
    while len(ours) < count:
        pose = random_pose(rng, 1.1, rng.uniform(0.2, 0.4))
        pixels = LENS.project(pose.transform(BOARD.points_m))
        if not ((pixels > 10) & (pixels < np.array(SIZE_PX) - 10)).all():
            continue
        grey = drawn(LENS, BOARD, pose, rng)
        start = time.process_time()
        found += not isinstance(find_board(grey, BOARD, "p"), NoFit)
        ours.append(time.process_time() - start)
        start = time.process_time()
        cv2.findChessboardCornersSB(grey.astype(np.uint8), (BOARD.columns, BOARD.rows))
        other.append(time.process_time() - start)
    print(
        f"{found} of {count} pictures, processor time each: {statistics.mean(ours):.3f} s, most "
        f"{max(ours):.3f}; sector-based finder {statistics.mean(other):.3f} s"
    )


def report(count: int) -> None:
    """Time the report of simulated corners."""
    rng = np.random.default_rng(6)
    views = board_views(rng, random_lens(rng), count)
    start = time.process_time()
    made = lens_report(views, WIDTH, HEIGHT)
    seconds = time.process_time() - start
    assert not isinstance(made, NoFit)
    print(f"report of {count} pictures of {len(views[0])} corners: {seconds:.2f} s")


def main() -> None:
    """Print both."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=int, default=8)
    parser.add_argument("--fits", type=int, nargs="*", default=[50, 200])
    given = parser.parse_args()
    cv2.setNumThreads(1)
    pictures(given.pictures)
    for count in given.fits:
        report(count)


if __name__ == "__main__":
    main()
